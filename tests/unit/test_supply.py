"""Rectifier and link, against the circuit integrated in time by scipy."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.parts.supply import (
    Mains,
    Smoothed,
    approximate_mean,
    approximate_ripple,
    bleeder_for,
    discharge_voltage,
    inrush_melting,
    rectifier_power,
    rectifier_resistive,
    residual_voltage,
    settling_time,
    stored_energy,
    surge_current,
    surge_time,
)

SOURCE = 1e-3  # ohm: a source this stiff moves the link by less than 1e-3 of its voltage


def integrated(load: Callable[[float], float], capacitance: float) -> tuple[float, float, float]:
    """Mean, highest and lowest of the link over the last of ten half waves, 325 V, 50 Hz."""

    def slope(t: float, v: list[float]) -> list[float]:
        drive = 325.0 * abs(math.sin(100 * math.pi * t)) - v[0]
        return [(max(drive, 0.0) / SOURCE - load(v[0])) / capacitance]

    grid = np.linspace(0.09, 0.1, 4001)
    done = solve_ivp(
        slope, (0, 0.1), [300.0], "LSODA", t_eval=grid, rtol=1e-8, atol=1e-6, max_step=2e-5
    )
    link = done.y[0]
    return float(link.mean()), float(link.max()), float(link.min())


def same(got: Smoothed, expected: tuple[float, float, float]) -> None:
    # 1e-3: the source's resistance and the grid of 2.5 us
    assert (got.mean, got.highest, got.lowest) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("capacitance", [50e-6, 470e-6, 2e-3])
def test_resistive_load_is_the_integrated_one(capacitance: float) -> None:
    same(
        rectifier_resistive(325.0, 50.0, 100.0, capacitance),
        integrated(lambda v: v / 100.0, capacitance),
    )


@pytest.mark.parametrize("capacitance", [300e-6, 1e-3, 4e-3])
def test_constant_power_is_the_integrated_one(capacitance: float) -> None:
    same(
        rectifier_power(325.0, 50.0, 1000.0, capacitance),
        integrated(lambda v: 1000.0 / v, capacitance),
    )


def test_charge_in_is_charge_out() -> None:
    got = rectifier_resistive(325.0, 50.0, 100.0, 470e-6)
    omega = 100 * math.pi
    angle = np.linspace(got.start, got.end, 200001)
    current = 325.0 * (omega * 470e-6 * np.cos(angle) + np.sin(angle) / 100.0)
    assert np.trapezoid(current, angle) / math.pi == pytest.approx(got.mean / 100.0, rel=1e-8)
    assert current[0] == pytest.approx(got.surge)
    assert current[-1] == pytest.approx(0.0, abs=1e-9)


def test_power_is_no_load_with_a_large_capacitor_and_fails_with_a_small_one() -> None:
    assert rectifier_power(325.0, 50.0, 10.0, 10e-3).mean == pytest.approx(325.0, rel=1e-4)
    with pytest.raises(ValueError, match="cannot carry"):
        rectifier_power(325.0, 50.0, 1000.0, 50e-6)


def test_approximation_lies_on_the_stated_side_and_warns() -> None:
    exact = rectifier_resistive(325.0, 50.0, 100.0, 1e-3)
    assert approximate_ripple(exact.mean / 100.0, 50.0, 1e-3) > exact.ripple
    assert approximate_mean(325.0, 50.0, 100.0, 1e-3).outside == ()
    assert "ripple/peak" in approximate_mean(325.0, 50.0, 100.0, 100e-6).outside[0]


def test_320_v_comes_from_the_outlet() -> None:
    # common practice, no source: "320 V DC" stands for rectified 220 to 230 V mains
    low, high = Mains(220.0, 50.0, 0.5, 1.0).peak, Mains(230.0, 50.0, 0.5, 1.0).peak
    assert 305.0 < low < 320.0 < high < 326.0


def test_surge_by_integration() -> None:
    def slope(_t: float, state: list[float]) -> list[float]:
        return [state[1] / 470e-6, (325.0 - state[0]) / 300e-6]

    end = surge_time(300e-6, 470e-6)
    done = solve_ivp(slope, (0, end), [0.0, 0.0], rtol=1e-9, atol=1e-9, max_step=end / 1000)
    assert done.y[1].max() == pytest.approx(surge_current(325.0, 300e-6, 470e-6), rel=1e-5)
    assert done.y[1, -1] == pytest.approx(0.0, abs=1e-3)
    assert done.y[0, -1] == pytest.approx(650.0, rel=1e-6)


def test_melting_integral_and_energy_in_the_resistor_agree() -> None:
    # R integral i^2 dt = C V^2/2
    assert 47.0 * inrush_melting(325.0, 47.0, 1e-3) == pytest.approx(stored_energy(1e-3, 325.0))


def test_residual_voltage_in_its_three_outcomes() -> None:
    within = residual_voltage(325.0, 1e-3, 2200.0)
    over = residual_voltage(325.0, 1e-3, 10e3)
    small = residual_voltage(325.0, 0.15e-6, 100e6)
    low = residual_voltage(48.0, 1e-3, 1e6)
    statuses = (within.status, over.status, small.status, low.status)
    assert statuses == ("within", "over", "exempt", "within")
    assert discharge_voltage(325.0, 2200.0, 1e-3, within.time) == pytest.approx(60.0)


def test_largest_bleeder_is_just_within() -> None:
    largest = bleeder_for(325.0, 1e-3)
    assert residual_voltage(325.0, 1e-3, 0.999 * largest).status == "within"
    assert residual_voltage(325.0, 1e-3, 1.001 * largest).status == "over"
    assert bleeder_for(50.0, 1e-3) == math.inf


def test_refusals() -> None:
    with pytest.raises(ValueError, match="remaining"):
        settling_time(1.0, 1.0, 2.0)
    with pytest.raises(ValueError, match="capacitance"):
        rectifier_resistive(325.0, 50.0, 100.0, 0.0)
    with pytest.raises(ValueError, match="diode_drop"):
        Mains(230.0, 50.0, 0.1, -1.0)
