"""Windings in a window against plane finite elements: gmsh meshes, scikit-fem solves.

Tolerances: the promise is 10 %. Rows of round conductors are exact in two dimensions: 1 % is what
the mesh leaves. A bundle's strands see the window's field in the mean only: 10 %.
"""

from __future__ import annotations

import pytest

from simkit.parts.transformer import layer_ratio
from simkit.parts.windings import bundle_ratio, foil_ratio, round_as_foil, row_ratio
from tests.reference.fem_planar import Conductor, resistance_ratio

pytest.importorskip("skfem")
pytest.importorskip("gmsh")

WARM, FREQUENCY = 2.13e-8, 80e3  # ohm m at 80 degC: a skin depth of 0.26 mm


def rounds(diameter: float, pitch: float, layers: int, wall: float = 0.0) -> float:
    """One period of layers of round wire or tube, air to either side."""
    inner = diameter / 2 - wall if wall else 0.0
    wires = [Conductor("round", (k + 1.0) * pitch, 0.0, diameter / 2, inner) for k in range(layers)]
    return resistance_ratio(wires, (layers + 1.5) * pitch, pitch, WARM, FREQUENCY)


@pytest.mark.parametrize(("diameter", "pitch", "layers", "wall"), [
    (1.5e-3, 1.7e-3, 1, None), (1.5e-3, 1.7e-3, 2, None), (0.6e-3, 0.8e-3, 2, None),
    (6e-3, 9e-3, 1, 1e-3), (3e-3, 4e-3, 2, 0.2e-3),
    (5e-3, 30e-3, 1, None),
], ids=["solid", "two layers", "thin wire", "tube", "thin wall", "single turn"])  # fmt: skip
def test_round_conductors(diameter: float, pitch: float, layers: int, wall: float | None) -> None:
    found = row_ratio(diameter, pitch, layers, WARM, FREQUENCY, wall).value
    assert found == pytest.approx(rounds(diameter, pitch, layers, wall or 0.0), rel=0.01)


def test_foil() -> None:
    """Three layers that fill the height, 0.3 mm at 1 mm: Dowell's case."""
    foils = [Conductor("box", (k + 1) * 1e-3, 0.0, 0.3e-3, 2e-3) for k in range(3)]
    wanted = resistance_ratio(foils, 4.5e-3, 2e-3, WARM, FREQUENCY)
    assert foil_ratio(0.3e-3, 3, WARM, FREQUENCY).value == pytest.approx(wanted, rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize(("strand", "at"), [(0.2e-3, FREQUENCY), (0.2e-3, 300e3)])
def test_bundle(strand: float, at: float) -> None:
    """49 strands a turn, seven by seven in nine tenths of the pitch, two layers of turns."""
    side, pitch = 7, 2.0e-3
    step = 0.9 * pitch / side
    places = [(j - (side - 1) / 2) * step for j in range(side)]
    wires = [
        Conductor("round", (turn + 1.0) * pitch + x, y, strand / 2, 0.0)
        for turn in range(2) for x in places for y in places
    ]  # fmt: skip
    wanted = resistance_ratio(wires, 3.5 * pitch, pitch, WARM, at)
    found = bundle_ratio(strand, side**2, 2, pitch, WARM, at).value
    assert wanted > 1.2, "the test would see a bundle without proximity"
    assert found == pytest.approx(wanted, rel=0.10)


def test_dowell_is_near_where_wires_nearly_touch_and_not_where_they_do_not() -> None:
    """What is said of the method's range, against the field."""
    dense, spaced = rounds(1.5e-3, 1.65e-3, 2), rounds(1.5e-3, 2.2e-3, 2)
    foil = [layer_ratio(round_as_foil(1.5e-3, p), WARM, FREQUENCY, 2).value
            for p in (1.65e-3, 2.2e-3)]  # fmt: skip
    assert foil[0] == pytest.approx(dense, rel=0.05)
    assert foil[1] > 1.08 * spaced
