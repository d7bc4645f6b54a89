"""Junction temperature: networks, the stack, the electro-thermal loop.

Outside: closed forms worked out in the tests, scipy's integrator, and the tangent condition
of a power law: T = T_a + A T^n has no solution once n (T - T_a) > T there.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simkit.parts.thermal import (
    Foster,
    Stack,
    conduction_loss,
    electro_thermal,
    junction_rise,
    on_resistance,
    pad_resistance,
    steady_junction,
    thermal_impedance,
)
from tests.oracles.thermal import foster_fit, heatsink_for, pulsed_rise, time_to_rise

NETWORK = Foster((0.05, 0.15, 0.3), (1e-4, 3e-3, 0.08))
STACK = Stack(0.5, 0.4, 0.5, 40.0, switches=4)


def test_step_response_by_integrating_the_stages() -> None:
    def slope(_t: float, rise: np.ndarray) -> np.ndarray:
        return (30.0 * np.array(NETWORK.resistances) - rise) / np.array(NETWORK.times)

    done = solve_ivp(slope, (0, 0.02), np.zeros(3), rtol=1e-9, atol=1e-9)
    assert junction_rise(NETWORK, 30.0, 0.02).value == pytest.approx(done.y[:, -1].sum(), rel=1e-6)
    assert junction_rise(NETWORK, 1.0, 1e3).value == pytest.approx(NETWORK.resistance)
    assert "time" in junction_rise(NETWORK, 1.0, 1e-8).outside[0]


def test_pulses_by_adding_up_cycles() -> None:
    on, period = 1e-3, 4e-3
    rises = np.zeros(3)
    tau, share = np.array(NETWORK.times), np.array(NETWORK.resistances) * 50.0
    for _ in range(500):
        rises = share + (rises - share) * np.exp(-on / tau)
        top = rises.sum()
        rises = rises * np.exp(-(period - on) / tau)
    # 500 cycles are 25 of the longest time constant
    assert pulsed_rise(NETWORK, 50.0, on, period) == pytest.approx(top, rel=1e-9)
    assert pulsed_rise(NETWORK, 50.0, period, period) == pytest.approx(50 * NETWORK.resistance)


def test_time_to_a_rise_is_the_inverse() -> None:
    time = time_to_rise(NETWORK, 100.0, 40.0)
    assert 100.0 * thermal_impedance(NETWORK, time) == pytest.approx(40.0, rel=1e-9)
    assert time_to_rise(NETWORK, 100.0, 51.0) == math.inf
    assert time_to_rise(NETWORK, 100.0, -1.0) == 0.0


def test_fit_gives_its_points_back() -> None:
    times = np.geomspace(1e-5, 1.0, 11)
    points = [thermal_impedance(NETWORK, t) for t in times]
    fit = foster_fit(list(times), points)
    assert fit.residue < 0.02  # four stages a decade follow any smooth curve to about 1 %
    between = np.sqrt(times[1:] * times[:-1])
    for t in between:
        assert thermal_impedance(fit, t) == pytest.approx(thermal_impedance(NETWORK, t), rel=0.05)


def test_fit_of_a_chip_that_follows_the_root_of_time() -> None:
    # a data-sheet curve of a slab: sqrt(t), then level
    times = np.geomspace(1e-5, 1.0, 16)
    points = 0.5 * np.sqrt(times / (times + 0.05))
    fit = foster_fit(list(times), list(points))
    assert fit.residue < 0.03
    assert fit.resistance == pytest.approx(0.5, rel=0.05)


@pytest.mark.parametrize(("times", "values"), [
    ([1e-3], [0.1]), ([1e-3, 1e-2], [0.2, 0.1]), ([1e-2, 1e-3], [0.1, 0.2]), ([0, 1], [0.1, 0.2]),
])  # fmt: skip
def test_fit_refuses_what_is_no_curve(times: list[float], values: list[float]) -> None:
    with pytest.raises(ValueError, match="rising"):
        foster_fit(times, values)


def test_stack_is_the_sum_of_its_parts() -> None:
    # one of four switches at 20 W: 40 + 20 (0.5 + 0.4) + 80 x 0.5
    assert steady_junction(STACK, 20.0) == pytest.approx(98.0)
    needed = heatsink_for(STACK, 20.0, 98.0)
    assert needed == pytest.approx(0.5)
    assert heatsink_for(STACK, 100.0, 98.0) < 0.0


def test_pad() -> None:
    # 0.2 mm of 1.8 W/(m K) under 15 mm x 20 mm
    assert pad_resistance(0.2e-3, 1.8, 300e-6) == pytest.approx(0.37037, rel=1e-4)


def test_resistance_goes_through_its_two_points() -> None:
    assert on_resistance(0.1, 0.23, 150.0, 25.0).value == pytest.approx(0.1)
    assert on_resistance(0.1, 0.23, 150.0, 150.0).value == pytest.approx(0.23)
    assert "temperature" in on_resistance(0.1, 0.23, 150.0, 300.0).outside[0]


def test_loop_comes_to_rest_where_a_root_finder_says() -> None:
    loss = conduction_loss(0.1, 0.23, 150.0, 9.0, other=6.0)
    got = electro_thermal(loss, STACK)
    root = brentq(lambda t: STACK.ambient + STACK.resistance * loss(t) - t, 40.0, 200.0)
    assert not got.runaway
    assert got.junction == pytest.approx(root, abs=1e-5)
    assert got.loss == pytest.approx(loss(root), rel=1e-6)
    assert 0.0 < got.gain < 1.0


def test_straight_loss_has_the_closed_form() -> None:
    got = electro_thermal(lambda t: 10.0 + 0.1 * (t - 25.0), STACK)
    r = STACK.resistance
    assert got.junction == pytest.approx((40.0 + r * (10.0 - 2.5)) / (1.0 - 0.1 * r), rel=1e-6)
    assert got.gain == pytest.approx(0.1 * r, rel=1e-6)


@pytest.mark.parametrize(("factor", "away"), [(0.98, False), (1.02, True)])
def test_runs_away_at_the_tangent(factor: float, away: bool) -> None:
    """T = T_a + A T^n in kelvin touches its last solution at T = n T_a/(n - 1)."""
    power = math.log(2.3) / math.log(423.15 / 298.15)
    ambient = STACK.ambient + 273.15
    touching = power * ambient / (power - 1.0)
    largest = (touching - ambient) / (STACK.resistance * 0.1 * (touching / 298.15) ** power)
    loss = conduction_loss(0.1, 0.23, 150.0, math.sqrt(factor * largest))
    got = electro_thermal(loss, STACK, ceiling=2000.0)
    assert got.runaway is away
    assert math.isinf(got.junction) is away


def test_ceiling_ends_the_search() -> None:
    loss = conduction_loss(0.1, 0.23, 150.0, 14.0)
    assert electro_thermal(loss, replace(STACK, heatsink=0.7), ceiling=150.0).runaway


def test_refusals() -> None:
    with pytest.raises(ValueError, match="as many"):
        Foster((1.0,), ())
    with pytest.raises(ValueError, match="on_time"):
        pulsed_rise(NETWORK, 1.0, 2.0, 1.0)
    with pytest.raises(ValueError, match="hot"):
        on_resistance(0.1, 0.2, 25.0, 50.0)
    with pytest.raises(ValueError, match="junction_case"):
        replace(STACK, junction_case=0.0)
