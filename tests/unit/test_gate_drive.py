"""Gate drive, against the series circuit integrated in time by scipy.

Tolerance 1e-5 unless said: the integrator's own.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.parts.gate_drive import (
    GateLoop,
    drive_power,
    droop,
    loop_damping,
    overshoot,
    peak_driver_current,
    ring_frequency,
    suggested_resistor,
)
from tests.oracles.gate_drive import (
    coupling_ring,
    coupling_ripple,
    induced_gate_voltage,
    magnetising_peak,
    turn_off_delays,
    turn_on_delays,
)

LOOP = GateLoop(60e-9, 2.5e-9, 1.0, 1.5, 6.8)


def step(loop: GateLoop, volts: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, gate voltage and current after a step of the driver."""

    def slope(_t: float, state: list[float]) -> list[float]:
        voltage, current = state
        rest = volts - voltage - loop.resistance * current
        return [current / loop.input_capacitance, rest / loop.inductance]

    times = np.linspace(0, 2e-7, 20001)
    done = solve_ivp(slope, (0, 2e-7), [0.0, 0.0], t_eval=times, rtol=1e-9, atol=1e-9)
    return done.t, done.y[0], done.y[1]


@pytest.mark.parametrize("resistor", [0.0, 3.0, 20.0])
def test_overshoot_and_peak_current_are_the_integrated_ones(resistor: float) -> None:
    loop = replace(LOOP, resistor=resistor)
    _, voltage, current = step(loop, 15.0)
    assert max(voltage.max() / 15.0 - 1.0, 0.0) == pytest.approx(overshoot(loop), abs=1e-5)
    assert current.max() == pytest.approx(peak_driver_current(loop, 15.0), rel=1e-5)


def test_peak_current_at_and_far_above_critical_damping() -> None:
    critical = replace(LOOP, driver_resistance=0.0, internal_resistance=0.0)
    critical = replace(critical, resistor=suggested_resistor(critical))
    assert step(critical, 15.0)[2].max() == pytest.approx(
        peak_driver_current(critical, 15.0), rel=1e-5
    )
    slow = replace(LOOP, resistor=1000.0)
    assert peak_driver_current(slow, 15.0) == pytest.approx(15.0 / slow.resistance, rel=1e-3)


def test_ring_frequency_from_the_crossings() -> None:
    loop = replace(LOOP, resistor=0.0)
    t, voltage, _ = step(loop, 15.0)
    crossings = t[1:][np.diff(np.sign(voltage - 15.0)) != 0]
    period = 2 * np.mean(np.diff(crossings))
    # crossings on a grid of 10 ps
    assert ring_frequency(loop) == pytest.approx(1 / period, rel=1e-3)


def test_suggested_resistor_just_stops_the_overshoot() -> None:
    loop = replace(LOOP, resistor=suggested_resistor(LOOP))
    assert loop_damping(loop) == pytest.approx(1.0)
    assert overshoot(loop) == 0.0
    assert ring_frequency(loop) == pytest.approx(0.0, abs=1e3)
    assert overshoot(replace(loop, resistor=0.9 * loop.resistor)) > 0.0
    assert suggested_resistor(replace(LOOP, driver_resistance=100.0)) == 0.0


def test_delays_are_the_integrated_ones_of_a_damped_loop() -> None:
    # loop so slow that its inductance does not count: 1e-4 of the delay
    loop = replace(LOOP, inductance=1e-13)
    t, voltage, _ = step(replace(LOOP, inductance=1e-10, resistor=20.0), 15.0)
    reached = t[np.argmax(voltage >= 4.0)]
    got = turn_on_delays(replace(loop, resistor=20.0), (0.0, 15.0), 4.0, 6.0, 30e-9)
    # grid of 10 ps on 7 ns, and L/R of 4 ps
    assert got.delay == pytest.approx(reached, rel=5e-3)
    assert got.plateau == pytest.approx(30e-9 / (9.0 / (20.0 + 2.5)))
    assert got.outside == ()


def test_turn_off_mirrors_turn_on() -> None:
    on = turn_on_delays(LOOP, (-5.0, 15.0), 6.0, 6.0, 30e-9)
    off = turn_off_delays(LOOP, (-15.0, 5.0), -6.0, 30e-9)
    assert (off.delay, off.plateau) == pytest.approx((on.delay, on.plateau))


def test_ringing_loop_is_outside_the_delays_range() -> None:
    loop = replace(LOOP, resistor=0.0)
    assert "damping" in turn_on_delays(loop, (0, 15), 4, 6, 30e-9).outside[0]
    assert "damping" in turn_off_delays(loop, (0, 15), 6, 30e-9).outside[0]


def test_induced_voltage_between_divider_and_resistor() -> None:
    # short rise: capacitive divider C_rss dV/C_iss; long rise: R C_rss dv/dt
    fast = induced_gate_voltage(50e-12, 1e12, LOOP, 0.3e-9)
    assert fast == pytest.approx(50e-12 * 300 / 2.5e-9, rel=0.01)
    slow = induced_gate_voltage(50e-12, 1e9, LOOP, 3e-7)
    assert slow == pytest.approx(LOOP.resistance * 0.05, rel=1e-4)
    none = GateLoop(1e-9, 1e-9, 0.0, 0.0, 0.0)
    assert induced_gate_voltage(1e-12, 1e9, none, 1e-7) == 0.0


def test_power_is_the_energy_of_a_capacitor_twice() -> None:
    # C V^2 f: half into the gate's heat on, half off
    assert drive_power(2.5e-9 * 20.0, 20.0, 1e5) == pytest.approx(2.5e-9 * 400 * 1e5)


def test_transformer_droop_and_its_straight_part() -> None:
    assert droop(1e-3, 2.0, 5e-6) == pytest.approx(2.0 * 5e-6 / 1e-3, rel=0.01)
    assert droop(1e-3, 2.0, 5e-4) == pytest.approx(1 - math.exp(-1))


def test_coupling_ripple_by_summing_the_triangle() -> None:
    steps = 100000
    phase = (np.arange(steps) + 0.5) / steps
    peak = magnetising_peak(15.0, 1e5, 1e-3)
    triangle = peak * np.where(phase < 0.5, 4 * phase - 1, 3 - 4 * phase)
    volts = np.cumsum(triangle) * 1e-5 / steps / 220e-9
    got = coupling_ripple(15.0, 1e5, 1e-3, 220e-9)
    assert got.value == pytest.approx(np.ptp(volts), rel=1e-4)
    assert got.outside == ()
    assert "ripple" in coupling_ripple(15.0, 1e5, 1e-3, 0.1e-9).outside[0]


def test_coupling_ring_has_equal_reactances() -> None:
    omega = 2 * math.pi * coupling_ring(1e-3, 220e-9)
    assert omega * 1e-3 == pytest.approx(1 / (omega * 220e-9))


def test_refusals() -> None:
    with pytest.raises(ValueError, match="inductance"):
        replace(LOOP, inductance=0.0)
    with pytest.raises(ValueError, match="enclose"):
        turn_on_delays(LOOP, (0.0, 5.0), 4.0, 6.0, 1e-9)
    with pytest.raises(ValueError, match="enclose"):
        turn_off_delays(LOOP, (6.0, 15.0), 6.0, 1e-9)
    with pytest.raises(ValueError, match="damping"):
        suggested_resistor(LOOP, 0.0)
