"""Coil and workpiece against an independent axisymmetric finite-element solution.

Tolerances: 2 % on L and 5 % on reflected R. The project's own bounds are 5 % and 15 %; what
the ring method reaches is tighter, and the tests hold it there. The rest is the ring
method's polygon around the tube (0.3 % on L) and its flat ends with square corners, where
the skin is not thin against the corner (up to 4 % on R of short pieces).
"""

from __future__ import annotations

from functools import cache

import pytest

from simkit.parts.bodies import Charge, Piece
from simkit.parts.coil import CoilGeometry, coil_from_geometry
from simkit.parts.materials import Magnetism, Material, Table
from simkit.parts.workpiece import Loaded, workpiece_in_coil
from tests.reference.fem import Answer, Region, impedance
from tests.slowly import first_quick, rest_studied

pytest.importorskip("skfem")
pytest.importorskip("gmsh")

COPPER = 1.72e-8
# Coil of 44 mm bore, five turns of 6 mm tube over 45 mm; no leads.
GEOMETRY = CoilGeometry(5, 44e-3, 6e-3, 3e-3, 9e-3, 0.0, 0.0)
COIL = [
    Region(("disk", 25e-3, (turn - 2) * 9e-3, 3e-3), 1 / COPPER, turn=True) for turn in range(5)
]


def linear(resistivity: float, mu_r: float) -> Material:
    """A material of constant permeability: the saturation is out of reach."""

    def constant(value: float) -> Table:
        return Table((20.0,), (value,), "", "test", "estimated")

    one = constant(1.0)
    magnetism = Magnetism(mu_r, 0.0, 1e12, 770.0, 0.35, 4.0, "test", "estimated")
    return Material(
        "linear", "", constant(resistivity), one, one, one, one, one, one, one,
        magnetism if mu_r > 1.0 else None,
    )  # fmt: skip


def box(piece: Piece, resistivity: float, mu_r: float, at: float) -> Region:
    wall = piece.wall or piece.diameter / 2
    shape = ("box", piece.diameter / 2 - wall, at - piece.length / 2, wall, piece.length)
    return Region(shape, 1 / resistivity, mu_r)


@cache
def empty(frequency: float) -> Answer:
    return impedance(list(COIL), frequency)


def rings(
    frequency: float,
    piece: Piece,
    resistivity: float,
    mu_r: float,
    at: float,
    charge: Charge | None,
) -> tuple[Loaded, float]:
    """The ring method, and L without the way back along the coil, which is not in the mesh."""
    coil = coil_from_geometry(GEOMETRY, frequency, COPPER)
    loaded = workpiece_in_coil(
        coil, piece, linear(resistivity, mu_r), 20.0, 1.0, frequency, at, charge
    )
    return loaded, loaded.inductance - coil.return_inductance


def compare(
    frequency: float, piece: Piece, resistivity: float, mu_r: float, at: float = 0.0
) -> tuple[Loaded, float]:
    answer = impedance([*COIL, box(piece, resistivity, mu_r, at)], frequency)
    loaded, inductance = rings(frequency, piece, resistivity, mu_r, at, None)
    reflected = answer.resistance - empty(frequency).resistance
    assert inductance == pytest.approx(answer.inductance, rel=0.02)
    assert loaded.reflected == pytest.approx(reflected, rel=0.05)
    return loaded, answer.inductance - empty(frequency).inductance


@pytest.mark.parametrize("frequency", first_quick([20e3, 80e3]))
def test_empty_coil(frequency: float) -> None:
    coil = coil_from_geometry(GEOMETRY, frequency, COPPER)
    assert coil.computed_inductance == pytest.approx(empty(frequency).inductance, rel=0.01)
    assert coil.resistance == pytest.approx(empty(frequency).resistance, rel=0.06)
    # The handbook's current sheet spreads the current over the tube: more than a tenth above.
    assert coil.sheet_inductance > 1.1 * empty(frequency).inductance


def test_finite_elements_keep_their_energy() -> None:
    """The power into the coil's ends is the loss of the regions: the reference checks itself."""
    answer = empty(20e3)
    assert 2 * sum(answer.loss) == pytest.approx(answer.resistance, rel=1e-6)


FAST = {
    "graphite 32 x 40 mm, 20 kHz": (20e3, Piece(32e-3, 40e-3, None), 1.7e-5, 1.0),
    "graphite 16 x 80 mm, 80 kHz": (80e3, Piece(16e-3, 80e-3, None), 1.7e-5, 1.0),
    "hot steel 16 x 80 mm, 20 kHz": (20e3, Piece(16e-3, 80e-3, None), 1.15e-6, 1.0),
    "hot steel 16 x 80 mm, 80 kHz": (80e3, Piece(16e-3, 80e-3, None), 1.15e-6, 1.0),
    "copper 16 x 80 mm, 80 kHz": (80e3, Piece(16e-3, 80e-3, None), 1.7e-8, 1.0),
    "aluminium 24 x 120 mm, 20 kHz": (20e3, Piece(24e-3, 120e-3, None), 2.8e-8, 1.0),
    "steel mu_r 44, 8 x 40 mm, 20 kHz": (20e3, Piece(8e-3, 40e-3, None), 1.6e-7, 44.0),
    "copper tube 32 x 40 mm, 20 kHz": (20e3, Piece(32e-3, 40e-3, 2e-3), 1.7e-8, 1.0),
    "graphite crucible 32 x 40 mm, 80 kHz": (80e3, Piece(32e-3, 40e-3, 4e-3), 1.7e-5, 1.0),
}
SLOW = {
    "steel mu_r 200, 32 x 40 mm, 20 kHz": (20e3, Piece(32e-3, 40e-3, None), 1.6e-7, 200.0),
    "steel mu_r 200, 8 x 40 mm, 200 kHz": (200e3, Piece(8e-3, 40e-3, None), 1.6e-7, 200.0),
    "steel tube mu_r 60, 25 x 40 mm, 20 kHz": (20e3, Piece(25e-3, 40e-3, 2e-3), 2e-7, 60.0),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", FAST.values(), ids=FAST.keys())
def test_piece(case: tuple[float, Piece, float, float]) -> None:
    compare(*case)


@pytest.mark.slow
@pytest.mark.parametrize("case", rest_studied((c,) for c in SLOW.values()), ids=SLOW.keys())
def test_magnetic_piece(case: tuple[float, Piece, float, float]) -> None:
    compare(*case)


def test_one_quick_comparison() -> None:
    """The one that always runs; a few seconds."""
    compare(*FAST["graphite 32 x 40 mm, 20 kHz"])


@pytest.mark.slow
@pytest.mark.parametrize(("mu_r", "raises"), [(200.0, True), (44.0, False)])
def test_both_sides_of_the_sign_change(mu_r: float, raises: bool) -> None:
    """Steel bar of 16 mm, weak and strong field: the sign of the change of L in both methods."""
    loaded, change = compare(80e3, Piece(16e-3, 80e-3, None), 1.6e-7, mu_r)
    assert (change > 0) is raises
    assert (loaded.inductance_change > 0) is raises
    assert loaded.inductance_change == pytest.approx(change, rel=0.05)


@pytest.mark.slow
def test_bar_half_out() -> None:
    compare(80e3, Piece(16e-3, 80e-3, None), 1.6e-7, 44.0, at=30e-3)


@pytest.mark.slow
def test_graphite_crucible_with_molten_copper() -> None:
    """Nested: wall and charge share the field; molten copper at about 2e-7 ohm m."""
    crucible, melt = Piece(32e-3, 40e-3, 4e-3), Piece(23e-3, 30e-3, None)
    regions = [*COIL, box(crucible, 1.7e-5, 1.0, 0.0), box(melt, 2e-7, 1.0, -3e-3)]
    answer = impedance(regions, 80e3)
    charge = Charge(melt, linear(2e-7, 1.0), 20.0, -3e-3)
    loaded, inductance = rings(80e3, crucible, 1.7e-5, 1.0, 0.0, charge)
    assert inductance == pytest.approx(answer.inductance, rel=0.02)
    reflected = answer.resistance - empty(80e3).resistance
    assert loaded.reflected == pytest.approx(reflected, rel=0.05)
