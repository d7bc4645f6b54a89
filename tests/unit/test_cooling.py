"""Cooling water, against the IAPWS-97 formulation and the fluids library."""

from __future__ import annotations

import math

import pytest
from fluids.friction import Blasius
from iapws import IAPWS97

from simkit.parts.cooling import (
    Channel,
    boiling_point,
    coolant_rise,
    film_coefficient,
    friction_factor,
    gnielinski,
    pressure_drop,
    reynolds,
    water_conductivity,
    water_density,
    water_heat_capacity,
    water_side,
    water_viscosity,
)
from tests.oracles.cooling import needed_flow

LITRE_PER_MINUTE, LITRE_PER_HOUR = 1e-3 / 60, 1e-3 / 3600
TUBE = Channel(4e-3, 1.5)


@pytest.mark.parametrize("celsius", [5.0, 20.0, 45.0, 70.0, 95.0])
def test_water_is_that_of_iapws(celsius: float) -> None:
    water = IAPWS97(T=celsius + 273.15, P=0.101325)
    # each formula's own stated accuracy
    assert water_density(celsius).value == pytest.approx(water.rho, rel=1e-4)
    assert water_heat_capacity(celsius).value == pytest.approx(1e3 * water.cp, rel=1e-3)
    assert water_viscosity(celsius).value == pytest.approx(water.mu, rel=0.025)
    assert water_conductivity(celsius).value == pytest.approx(water.k, rel=0.01)


@pytest.mark.parametrize("bar", [0.05, 0.5, 1.01325, 2.0, 5.0, 10.0])
def test_boiling_point_is_that_of_iapws(bar: float) -> None:
    steam = IAPWS97(P=bar / 10, x=0.0)
    # the formula's own stated accuracy
    assert boiling_point(bar * 1e5).value == pytest.approx(steam.T - 273.15, abs=0.3)


def test_rise_and_flow_are_each_others_inverse() -> None:
    flow = needed_flow(800.0, 15.0, 20.0)
    assert coolant_rise(800.0, flow, 20.0).value == pytest.approx(15.0)


@pytest.mark.parametrize("number", [4e3, 1e4, 1e5])
def test_turbulent_friction_is_that_of_the_library(number: float) -> None:
    # one formula, the constant given to four digits
    got = friction_factor(number)
    assert got.value == pytest.approx(Blasius(number), rel=1e-4)
    assert got.outside == ()


def test_laminar_drop_is_hagen_and_poiseuille() -> None:
    flow = 0.1 * LITRE_PER_MINUTE
    expected = 128 * water_viscosity(20.0).value * 1.5 * flow / (math.pi * 4e-3**4)
    assert reynolds(TUBE, flow, 20.0) < 2300
    assert pressure_drop(TUBE, flow, 20.0).value == pytest.approx(expected, rel=1e-9)


def test_the_unsettled_range_says_so() -> None:
    flow = 3000 / reynolds(TUBE, 1.0, 20.0)
    assert "Reynolds" in pressure_drop(TUBE, flow, 20.0).outside[0]
    assert "Reynolds" in film_coefficient(TUBE, flow, 20.0).outside[0]
    assert friction_factor(2000.0).outside == ()


def test_turbulent_film_agrees_with_the_older_correlation() -> None:
    # Dittus and Boelter, Nu = 0.023 Re^0.8 Pr^0.4 (recalled from memory): the two are known to
    # differ by up to 20 % in this range
    assert gnielinski(2e4, 6.0) == pytest.approx(0.023 * 2e4**0.8 * 6.0**0.4, rel=0.2)


def test_film_has_no_step_between_its_two_laws() -> None:
    scale = reynolds(TUBE, 1.0, 20.0)
    for number in (2300.0, 4000.0):
        below, above = (
            film_coefficient(TUBE, f * number / scale, 20.0).value for f in (0.9999, 1.0001)
        )
        assert below == pytest.approx(above, rel=2e-3)


@pytest.mark.parametrize("loss", [200.0, 300.0, 600.0])
def test_two_litres_an_hour_cannot_carry_a_coil(loss: float) -> None:
    """Common practice, no source: 2 litres of water per hour cannot carry the loss of the
    coil in a kilowatt-class heater (20 to 60 % of a kilowatt); it boils."""
    # Worked without the project: 2 kg an hour from 20 to 100 degC take 186 W.
    assert loss > 4186.0 * 2.0 * 80.0 / 3600.0
    trickle = water_side(TUBE, loss, 2 * LITRE_PER_HOUR, 20.0)
    plenty = water_side(TUBE, loss, 1 * LITRE_PER_MINUTE, 20.0)
    assert trickle.boils
    assert trickle.outlet > 100.0
    assert trickle.margin < 0.0
    assert "outlet" in trickle.outside[0]
    assert not plenty.boils
    assert plenty.rise < 10.0


def test_wall_boils_before_the_water_does() -> None:
    """A short narrow tube: the water stays below 100 degC, the film does not carry the heat."""
    got = water_side(Channel(3e-3, 0.05), 1500.0, 0.5 * LITRE_PER_MINUTE, 20.0)
    assert got.outlet < 100.0
    assert got.boils


def test_pressure_raises_the_margin() -> None:
    low = water_side(TUBE, 800.0, 0.5 * LITRE_PER_MINUTE, 20.0)
    high = water_side(TUBE, 800.0, 0.5 * LITRE_PER_MINUTE, 20.0, 3e5)
    # 3 bar absolute: 133.5 degC in the steam tables
    assert high.margin - low.margin == pytest.approx(33.5, abs=0.3)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="flow"):
        water_side(TUBE, 100.0, 0.0, 20.0)
    with pytest.raises(ValueError, match="bore"):
        Channel(0.0, 1.0)
