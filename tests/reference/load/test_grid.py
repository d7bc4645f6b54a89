"""The grid of finite elements: every row of `table.csv` against the rings.

5 % on the reflected R and on what the piece takes, 3 % on the change of L (of it, or of a tenth of
L where it is near zero), or the stated doubt where a range is left: that is what is asked. The
table is made by `make`; a few cases are solved anew where the mesh generator is installed.
"""

from __future__ import annotations

from functools import cache

import pytest

from simkit.parts.bodies import Piece
from simkit.parts.coil import Coil, CoilGeometry, coil_from_geometry
from simkit.parts.materials import Magnetism, Material, Table
from simkit.parts.workpiece import workpiece_in_coil
from tests.reference.load.cases import CASES, COPPER, FREQUENCY, Case
from tests.reference.load.make import rows

GEOMETRY = {
    "helix": CoilGeometry(5, 44e-3, 6e-3, 3e-3, 9e-3, 0.0, 0.0),
    "uneven": CoilGeometry(
        5, 44e-3, 6e-3, 3e-3, 9.5e-3, 0.0, 0.0, steps=(7e-3, 7e-3, 10e-3, 14e-3)
    ),
    "two layers": CoilGeometry(
        8, 44e-3, 5e-3, 2.5e-3, 7e-3, 0.0, 0.0, layers=2, layer_pitch=6.5e-3
    ),
    "flat": CoilGeometry(5, 20e-3, 5e-3, 2.5e-3, 7e-3, 0.0, 0.0, form="flat"),
    "inner": CoilGeometry(6, 20e-3, 5e-3, 2.5e-3, 7e-3, 0.0, 0.0),
}
TABLE = rows()
KNOWN = [case for case in CASES if case.name in TABLE]


@cache
def coil(name: str) -> Coil:
    return coil_from_geometry(GEOMETRY[name], FREQUENCY, COPPER)


def linear(resistivity: float, mu_r: float) -> Material:
    """A material of constant permeability: saturation is out of reach."""

    def constant(value: float) -> Table:
        return Table((20.0,), (value,), "", "test", "estimated")

    one = constant(1.0)
    magnetism = Magnetism(mu_r, 0.0, 1e12, 770.0, 0.35, 4.0, "test", "estimated")
    return Material(
        "linear", "", constant(resistivity), one, one, one, one, one, one, one,
        magnetism if mu_r > 1.0 else None,
    )  # fmt: skip


@pytest.mark.parametrize("name", GEOMETRY)
def test_empty_coil(name: str) -> None:
    """L within 0.4 %, R within 2 %: 20 segments around the tube, flat where it bends."""
    row, found = TABLE[f"{name}: empty"], coil(name)
    assert found.computed_inductance == pytest.approx(float(row["inductance"]), rel=0.004)
    assert found.resistance == pytest.approx(float(row["resistance"]), rel=0.02)


@pytest.mark.parametrize("case", KNOWN, ids=lambda case: case.name)
def test_case(case: Case) -> None:
    row, empty = TABLE[case.name], TABLE[f"{case.coil}: empty"]
    assert float(row["moved"]) < 0.005
    piece, made = Piece(case.diameter, case.length, case.wall), linear(case.resistivity, case.mu_r)
    found = workpiece_in_coil(coil(case.coil), piece, made, 20.0, 1.0, FREQUENCY, case.at)
    reflected = float(row["resistance"]) - float(empty["resistance"])
    change = float(row["change"])
    if found.doubt.beyond:
        assert found.warnings
        off = found.resistance / float(row["resistance"]) - 1.0
        assert abs(off) <= found.doubt.resistance
        return
    floor = 0.1 * float(empty["inductance"])
    assert found.reflected == pytest.approx(reflected, rel=0.05)
    assert found.piece_resistance == pytest.approx(float(row["piece"]), rel=0.05)
    assert found.inductance_change == pytest.approx(change, abs=0.03 * max(abs(change), floor))
