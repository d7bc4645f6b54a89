"""The coil from a ruler: what it must do at its limits and with measured values."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simkit.parts.coil import CoilGeometry, Measured, coil_from_geometry
from simkit.parts.inductance import (
    axial_return_inductance,
    medhurst_proximity,
    pair_inductance,
    round_wire_inductance,
    self_capacitance,
)

COPPER = 1.72e-8
GEOMETRY = CoilGeometry(5, 44e-3, 6e-3, 1e-3, 9e-3, 100e-3, 20e-3)


def test_parts_add_up() -> None:
    coil = coil_from_geometry(GEOMETRY, 80e3, COPPER)
    assert coil.inductance == pytest.approx(
        coil.computed_inductance + coil.lead_inductance + coil.return_inductance
    )
    assert coil.q == pytest.approx(2 * math.pi * 80e3 * coil.inductance / coil.resistance)
    assert coil.channel_area == pytest.approx(math.pi / 4 * 4e-3**2)
    assert coil.scale == pytest.approx(1.0)
    assert coil.notes == ()


def test_thin_wire_meets_the_handbook() -> None:
    """With thin wire there is no room for the current to move: ring method = Rosa's tables.

    2 %: Rosa's wire carries its current evenly, ours on its skin, which takes the internal
    inductance away (1 % here).
    """
    thin = CoilGeometry(10, 49.5e-3, 0.5e-3, 0.25e-3, 5e-3, 0.0, 0.0)
    coil = coil_from_geometry(thin, 5e6, COPPER)
    handbook = round_wire_inductance(10, 50e-3, 5e-3, 0.5e-3).value
    assert coil.computed_inductance == pytest.approx(handbook, rel=0.02)


def test_thick_tube_is_below_the_handbook() -> None:
    coil = coil_from_geometry(GEOMETRY, 80e3, COPPER)
    assert 0.85 < coil.computed_inductance / coil.sheet_inductance < 0.93


def test_half_a_turn_lies_between_its_neighbours() -> None:
    coils = [
        coil_from_geometry(replace(GEOMETRY, turns=turns), 80e3, COPPER)
        for turns in (4.0, 4.5, 5.0)
    ]
    for name in ("computed_inductance", "resistance"):
        low, middle, high = (getattr(coil, name) for coil in coils)
        assert low < middle < high


def test_resistance_rises_with_the_root_of_frequency() -> None:
    low, high = (coil_from_geometry(GEOMETRY, f, COPPER).resistance for f in (80e3, 320e3))
    # 2 %: the share of the tube's curvature, delta/2a, is not the same at both.
    assert high / low == pytest.approx(2.0, rel=0.02)


def test_measured_values_take_the_place_of_computed_ones() -> None:
    measured = Measured(inductance=0.9e-6, q=60.0)
    coil = coil_from_geometry(GEOMETRY, 80e3, COPPER, measured)
    assert coil.inductance == 0.9e-6
    assert coil.resistance == pytest.approx(2 * math.pi * 80e3 * 0.9e-6 / 60.0)
    assert coil.scale != 1.0


def test_contradicting_measurements_are_named() -> None:
    measured = Measured(inductance=0.9e-6, resistance=5e-3, q=20.0)
    with pytest.raises(ValueError, match="Q = 20 contradicts"):
        coil_from_geometry(GEOMETRY, 80e3, COPPER, measured)


@pytest.mark.parametrize(
    ("field", "value"),
    [("turns", 0.5), ("pitch", 5e-3), ("wall", 4e-3), ("bore", -1.0), ("lead_spacing", 5e-3)],
)
def test_impossible_geometry_is_refused_by_name(field: str, value: float) -> None:
    with pytest.raises(ValueError, match=field):
        replace(GEOMETRY, **{field: value})


def test_formulae_say_when_their_range_is_left() -> None:
    assert "length/diameter" in self_capacitance(1e-3, 0.1).outside[0]
    assert any("turns" in note for note in medhurst_proximity(45e-3, 50e-3, 9e-3, 6e-3).outside)
    assert "lead length/spacing" in pair_inductance(20e-3, 20e-3, 6e-3).outside[0]
    assert "tube/skin depth" in coil_from_geometry(GEOMETRY, 2e3, COPPER).notes[0]


def test_way_back_along_the_coil_is_a_small_positive_part() -> None:
    back = axial_return_inductance(45e-3, 50e-3, 6e-3).value
    # The wire's own field over 45 mm, mu0 l/2 pi ln(D/d), bounds it from above.
    assert 0.0 < back < 2e-7 * 45e-3 * math.log(2 * 50 / 6)
