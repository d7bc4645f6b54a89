"""Output charge and dead time, against numerical integration.

scipy's quad and solve_ivp are the independent reference: tolerances are theirs.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from scipy.integrate import quad, solve_ivp

from simkit.parts.charge import (
    Junction,
    dead_time_window,
    needed_time_sine,
    output_charge,
    sine_charge,
)
from tests.oracles.charge import (
    charge_equivalent,
    hard_leg_energy,
    junction_capacitance,
    junction_from_point,
    leg_charge,
    needed_time_constant,
    output_energy,
    reversal_time,
)


def integral(function: Callable[[float], float], end: float) -> float:
    return float(quad(function, 0, end, epsabs=0, epsrel=1e-10)[0])


@pytest.mark.parametrize("grading", [0.33, 0.5, 0.8])
@pytest.mark.parametrize("voltage", [0.1, 25.0, 400.0])
def test_charge_and_energy_are_integrals(grading: float, voltage: float) -> None:
    junction = Junction(2e-9, 0.7, grading)
    charge = integral(lambda v: junction_capacitance(junction, v), voltage)
    energy = integral(lambda v: v * junction_capacitance(junction, v), voltage)
    assert output_charge(junction, voltage) == pytest.approx(charge, rel=1e-8)
    assert output_energy(junction, voltage) == pytest.approx(energy, rel=1e-8)


def test_point_is_given_back() -> None:
    junction = junction_from_point(150e-12, 100.0)
    assert junction_capacitance(junction, 100.0) == pytest.approx(150e-12)


def test_edge_with_falling_current_is_the_integrated_one() -> None:
    """Two non-linear capacitances of a leg, driven by a sine current, integrated."""
    junction, link, peak, turn_off, frequency = Junction(3e-9, 0.7), 320.0, 12.0, 4.0, 150e3
    omega, start = 2 * math.pi * frequency, math.asin(turn_off / peak)

    def slope(t: float, v: list[float]) -> list[float]:
        both = junction_capacitance(junction, max(v[0], 0.0)) + junction_capacitance(
            junction, max(link - v[0], 0.0)
        )
        return [peak * math.sin(start - omega * t) / both]

    def across(t: float, v: list[float]) -> float:
        return v[0] - link

    across.terminal = True  # type: ignore[attr-defined]  # scipy reads it from the function
    done = solve_ivp(slope, (0, 1e-6), [0.0], events=across, rtol=1e-9, atol=1e-9)
    charge = leg_charge(output_charge(junction, link), link)
    needed = needed_time_sine(charge, peak, turn_off, frequency)
    assert needed == pytest.approx(done.t_events[0][0], rel=1e-5)
    # a falling current takes longer than a constant one
    assert needed > needed_time_constant(charge, turn_off).value


def test_sine_charge_is_the_area_to_the_reversal() -> None:
    omega, angle = 2 * math.pi * 1e5, math.asin(0.3)
    area = quad(lambda t: 10 * math.sin(angle - omega * t), 0, angle / omega)[0]
    assert sine_charge(10.0, 3.0, 1e5) == pytest.approx(area, rel=1e-9)


def test_lagging_is_necessary_but_not_sufficient() -> None:
    # The statement of Erickson and Maksimovic's note to theorem 22.2.
    charge = 50e-9
    leading = dead_time_window(charge, 10.0, -2.0, 1e5, 0.3e-6)
    weak = dead_time_window(charge, 10.0, 0.5, 1e5, 0.3e-6)
    strong = dead_time_window(charge, 10.0, 4.0, 1e5, 0.3e-6)
    assert (leading.zero_voltage, weak.zero_voltage, strong.zero_voltage) == (False, False, True)
    assert leading.available == 0.0
    assert weak.available > 0.0
    assert weak.needed == math.inf


@pytest.mark.parametrize(("dead", "good"), [(0.005e-6, False), (0.1e-6, True), (5e-6, False)])
def test_window_has_two_sides(dead: float, good: bool) -> None:
    window = dead_time_window(50e-9, 10.0, 4.0, 1e5, dead)
    assert window.zero_voltage is good
    assert window.needed < window.available


def test_small_charge_with_the_sine_is_the_constant_current() -> None:
    constant = needed_time_constant(1e-12, 5.0)
    assert constant.outside == ()
    assert needed_time_sine(1e-12, 10.0, 5.0, 1e5) == pytest.approx(constant.value, rel=1e-3)


def test_no_current_no_edge() -> None:
    assert needed_time_constant(1e-9, 0.0).value == math.inf
    assert "turn-off current" in needed_time_constant(1e-9, -1.0).outside[0]


def test_hard_edge_of_a_leg_loses_charge_times_link() -> None:
    """The upper switch, a resistor, pulls the midpoint up: its heat, integrated."""
    junction, link, ohms = Junction(2e-9, 0.7), 320.0, 1.0

    def slope(_t: float, state: list[float]) -> list[float]:
        v = min(max(state[0], 0.0), link)
        both = junction_capacitance(junction, v) + junction_capacitance(junction, link - v)
        return [(link - v) / ohms / both, (link - v) ** 2 / ohms]

    done = solve_ivp(slope, (0, 5e-7), [0.0, 0.0], method="LSODA", rtol=1e-8, atol=1e-14)
    assert done.y[0, -1] == pytest.approx(link, rel=1e-6)
    lost = hard_leg_energy(output_charge(junction, link), link)
    assert done.y[1, -1] == pytest.approx(lost, rel=1e-4)


def test_reversal_by_integration_of_the_inductor() -> None:
    assert 10.0 - 320.0 / 5e-6 * reversal_time(5e-6, 10.0, 320.0) == pytest.approx(-10.0)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="grading"):
        Junction(1e-9, 0.7, 1.0)
    with pytest.raises(ValueError, match="peak"):
        sine_charge(1.0, 2.0, 1e5)
    with pytest.raises(ValueError, match="voltage"):
        charge_equivalent(Junction(1e-9, 0.7), 0.0)
    with pytest.raises(ValueError, match="inductance"):
        reversal_time(0.0, 1.0, 1.0)
