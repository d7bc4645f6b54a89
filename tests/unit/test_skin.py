"""Limits of the skin-effect formulae; published figures are in tests/reference/checks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simkit.parts.skin import (
    bore_flux_depth,
    rod_flux_depth,
    skin_depth,
    thin_wall_resistance,
    tube_impedance,
    wire_internal_inductance,
    wire_ratio,
    wire_resistance,
)

COPPER = 1.72e-8


def test_tube_at_low_frequency_is_its_dc_resistance() -> None:
    area = math.pi * (3e-3**2 - 2e-3**2)
    # 1 % of the wall's skin effect is left at 100 Hz, where the skin is six walls deep.
    assert tube_impedance(3e-3, 1e-3, COPPER, 100.0).real == pytest.approx(COPPER / area, rel=1e-3)


def test_solid_tube_is_a_wire() -> None:
    solid = tube_impedance(3e-3, 3e-3, COPPER, 80e3)
    assert solid.real == pytest.approx(wire_resistance(3e-3, COPPER, 80e3), rel=1e-9)
    # A bore of a micrometre changes nothing that floats can show.
    assert tube_impedance(3e-3, 2.999e-3, COPPER, 80e3) == pytest.approx(solid, rel=1e-9)


def test_wall_of_half_a_turn_of_phase_beats_a_solid_wire() -> None:
    """A wall of pi/2 skin depths has the least resistance, 8 % below the half space.

    Source: the flat layer's coth(k w); Dowell 1966 shows the same minimum.
    """
    wall = math.pi / 2 * skin_depth(COPPER, 80e3)
    ratio = tube_impedance(30e-3, wall, COPPER, 80e3).real / wire_resistance(30e-3, COPPER, 80e3)
    assert ratio == pytest.approx(1 / math.tanh(math.pi / 2) * 0.8411, abs=0.01)


def test_no_overflow_for_a_bar_of_a_thousand_skins() -> None:
    assert wire_ratio(1.0, COPPER, 1e6).real == pytest.approx(
        0.5 / skin_depth(COPPER, 1e6) + 0.25, rel=1e-4
    )
    assert math.isfinite(tube_impedance(1.0, 0.5, COPPER, 1e6).real)


def test_wire_internal_inductance_is_mu0_over_8_pi_at_low_frequency() -> None:
    assert wire_internal_inductance(1e-3, COPPER, 1.0) == pytest.approx(50e-9, rel=1e-6)


def test_rod_that_does_not_conduct_carries_the_flux_of_its_area() -> None:
    """A = B a/2, so tau = mu_r a/2."""
    assert rod_flux_depth(8e-3, 1e3, 50.0, np.array([30.0]))[0] == pytest.approx(
        30 * 4e-3, rel=1e-6
    )


def test_thick_bore_and_rod_are_flat_when_the_skin_is_thin() -> None:
    flat = 1 / ((1 + 1j) / skin_depth(COPPER, 1e6))
    for round_one in (rod_flux_depth, bore_flux_depth):
        assert round_one(0.1, COPPER, 1e6, np.ones(1))[0] == pytest.approx(flat, rel=1e-3)


def test_thin_wall_estimate_says_when_it_is_out_of_range() -> None:
    inside = thin_wall_resistance(6e-3, 1e-3, COPPER, 80e3)
    assert inside.outside == ()
    # The estimate's own bound: 2 % for a wall of three skin depths or more.
    assert inside.value == pytest.approx(tube_impedance(3e-3, 1e-3, COPPER, 80e3).real, rel=0.02)
    outside = thin_wall_resistance(1e-3, 0.5e-3, COPPER, 20e3)
    assert outside.outside[0].startswith("outside the formula's range: diameter/skin depth")


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_impossible_values_are_refused_by_name(bad: float) -> None:
    with pytest.raises(ValueError, match="frequency"):
        skin_depth(COPPER, bad)
    with pytest.raises(ValueError, match="resistivity"):
        skin_depth(bad, 80e3)


def test_wall_thicker_than_the_tube_is_refused() -> None:
    with pytest.raises(ValueError, match="wall"):
        tube_impedance(3e-3, 4e-3, COPPER, 80e3)
