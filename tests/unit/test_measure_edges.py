"""Measures at the edges: samples on a boundary, ties, what never happens in the watched time.

Figures are worked out by hand beside each.
"""

from dataclasses import replace

import numpy as np
import pytest

from simkit.measure.commutation import AFTER, Transition, crossing, transitions
from simkit.measure.gate import gate_lift
from simkit.measure.periodic import (
    Cycle,
    cycle_average,
    cycle_middles,
    cycle_peaks,
    distortion,
    harmonic,
    phase_lag,
    whole_cycles,
)
from simkit.measure.recovery import last_zero_before_climb, recovery
from simkit.measure.waveforms import Array, Waves
from tests.machines import demo
from tests.waves import waves

US = 1e-6
DEAD = demo().drive.dead_time


def test_a_second_rise_counts_where_the_first_began_before() -> None:
    assert crossing(np.arange(3.0), np.array([2.0, 0.0, 2.0]), 1.0) == 1.5


def watched(time: Array, boundary: float) -> int:
    return len(transitions(waves(demo(), time), np.array([boundary]), True))


def test_a_transition_that_just_fits_is_watched() -> None:
    boundary = 10 * US
    start, end = boundary - DEAD, boundary + 0.5 * DEAD + AFTER
    whole = np.array([start, *np.linspace(9.8, 11.2, 30) * US, end])
    assert watched(whole, boundary) == 2  # one a leg
    assert watched(whole[1:], boundary) == 0
    assert watched(whole[:-1], boundary) == 0


def test_the_switches_take_turns() -> None:
    time = np.arange(0.0, 60.0, 0.05) * US
    found = transitions(waves(demo(), time), np.array([10.0, 20.0, 30.0, 40.0]) * US, True)
    assert isinstance(found, tuple)
    assert [t.outgoing for t in found] == [1, 4, 2, 3, 1, 4, 2, 3]
    assert [t.incoming for t in found] == [2, 3, 1, 4, 2, 3, 1, 4]


def test_a_gate_that_never_comes_is_read_at_the_last_sample() -> None:
    time = np.arange(0.0, 20.0, 0.05) * US
    climb = time / US
    found = transitions(
        waves(demo(), time, xq2__di=climb, pa=0.06 * climb, p=300.0), np.array([10.0 * US]), True
    )[0]
    last = float(time[time < 10 * US + 0.5 * DEAD + AFTER][-1]) / US
    assert found.available == float("inf")
    assert found.incoming_voltage == pytest.approx(last, rel=1e-9)
    assert found.turn_on_current == pytest.approx(last, rel=1e-9)
    assert found.zero_voltage is True  # 11 of 300 V: less than a tenth
    high = transitions(waves(demo(), time, xq2__di=200.0, p=300.0), np.array([10.0 * US]), True)
    assert high[0].zero_voltage is False


def test_a_gate_that_comes_is_read_then_and_not_later() -> None:
    time = np.arange(0.0, 20.0, 0.1) * US
    k = int(np.searchsorted(time, 10.0 * US))
    boundary = float(time[k])
    gate = np.where(np.arange(len(time)) > k, 10.0, 0.0)
    found = transitions(
        waves(demo(), time, xq2__gi=gate, xq2__di=time / US), np.array([boundary]), True
    )[0]
    # 4 of 10 V on the way from the boundary's own sample to the next.
    assert found.available == pytest.approx(0.5 * DEAD + 0.04 * US)
    assert found.incoming_voltage == pytest.approx(boundary / US + 0.04)


def test_only_a_cycle_s_own_samples_count() -> None:
    time = np.arange(8.0)
    made = waves(demo(), time)
    values = np.array([9.0, -20.0, 1.0, 0.0, 3.0, 1.0, 2.0, -50.0])
    cycles = (Cycle(0.0, 3.0), Cycle(4.0, 7.0))
    assert cycle_peaks(made, values, cycles).tolist() == [20.0, 3.0]
    assert cycle_middles(made, values, cycles).tolist() == [-5.5, 2.0]
    # 1 at 2 s, nought at 3 s, 3 at 4 s: areas 0.5 and 1.5 over two seconds.
    assert cycle_average(made, values, Cycle(2.0, 4.0)) == pytest.approx(1.0)
    # Between samples: from 2.5 (a half) over 0 to 3.5 (1.5): 0.125 + 0.375.
    assert cycle_average(made, values, Cycle(2.5, 3.5)) == pytest.approx(0.5)


def test_plain_numbers_come_out() -> None:
    time = np.arange(0.0, 20.0, 0.05) * US
    made = waves(demo(), time, xq1__gi=np.sin(time / US))
    found = transitions(made, np.array([10.0 * US]), True)[0]
    lift = gate_lift(made, found)
    # JSON has no other numbers than Python's own.
    assert type(found.time) is float
    assert {type(v) for v in (lift.time, lift.voltage, lift.margin)} == {float}
    assert type(crossing(time, np.sin(time / US), 0.5)) is float
    (cycle,) = whole_cycles(np.arange(3.0), 0.0, 2.0)
    assert {type(cycle.start), type(cycle.end)} == {float}
    wave = np.sin(2e5 * np.pi * time)
    assert type(harmonic(time, wave, 1e5)) is complex
    assert type(distortion(time, wave, 1e5)) is float
    both = waves(demo(), time, a=wave, pa=wave)
    assert type(phase_lag(both, Cycle(0.0, 10 * US), 1e5)) is float


def test_a_current_that_stays_forward_does_not_recover() -> None:
    time, voltage = np.arange(4.0), np.array([0.0, 0.0, 0.0, 300.0])
    assert last_zero_before_climb(time, np.array([2.0, 0.5, 0.5, 0.5]), voltage, 300.0) is None


def forced_off(at: float, forward: float, back: float, until: float) -> Waves:
    """Switch 1's diode from its forward current through zero to a reverse one [A] by 0.2 us after a
    time [us], and back by 0.3 us, where the switch's voltage has climbed to 300 V."""
    time = np.arange(9.5, until, 0.01) * US
    current = np.interp(time, (at + np.arange(4) / 10.0) * US, [forward, 0.0, -back, 0.0])
    volts = np.interp(time, (at + np.array([0.2, 0.3])) * US, [0.0, 300.0])
    diode = demo().switch.diode.series_resistance
    return waves(demo(), time, p=300.0, xq1__da=-diode * current, xq1__di=volts)


EDGE = Transition(10 * US, 1, 2, -2.0, -2.0, "capacitive", 0.0, 0.0, 0.0, False, 0.0)


def test_a_small_recovery_is_one() -> None:
    found = recovery(forced_off(10.0, forward=2.0, back=0.5, until=12.0), EDGE)
    assert found is not None
    assert found.forward_current == pytest.approx(2.0)
    assert found.peak_current == pytest.approx(0.5, rel=1e-6)
    assert found.time == pytest.approx(10.1 * US, rel=1e-6)
    assert found.overshoot == pytest.approx(0.0, abs=1e-9)


def test_a_recovery_that_comes_late_is_found_until_the_next_command() -> None:
    """Forced off 3 us after the command, as by a reversed gate; the leg's next command comes 4 us
    after it: seen, and not where that comes 2 us after."""
    made = forced_off(13.0, forward=20.0, back=5.0, until=15.0)
    found = recovery(made, replace(EDGE, next_command=4 * US))
    assert found is not None
    assert found.di_dt == pytest.approx(20.0 / (0.1 * US), rel=1e-3)
    assert recovery(made, replace(EDGE, next_command=2 * US)) is None
