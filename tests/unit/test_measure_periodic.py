"""Cycles, harmonics, averages and peaks of waveforms whose answers follow by hand."""

import numpy as np
import pytest

from simkit.measure.periodic import (
    Cycle,
    cycle_average,
    cycle_averages,
    cycle_middles,
    cycle_peaks,
    distortion,
    harmonic,
    phase_lag,
    whole_cycles,
)
from tests.machines import demo
from tests.waves import waves

TIME = np.linspace(0.0, 1.0, 20_001)


def test_cycles_take_boundaries_on_the_ends() -> None:
    found = whole_cycles(np.arange(6.0), 1.0, 5.0)
    assert [(c.start, c.end, c.length) for c in found] == [(1.0, 3.0, 2.0), (3.0, 5.0, 2.0)]
    assert whole_cycles(np.arange(2.0), 0.0, 5.0) == ()
    assert len(whole_cycles(np.arange(3.0), 0.0, 5.0)) == 1
    assert len(whole_cycles(np.arange(4.0), 0.0, 5.0)) == 1


def test_a_harmonics_size_and_phase() -> None:
    # 3 cos(2 pi 4 t + 0.5) + 0.2 cos(2 pi 8 t - 1): amplitude and angle as written.
    values = 3.0 * np.cos(8 * np.pi * TIME + 0.5) + 0.2 * np.cos(16 * np.pi * TIME - 1.0)
    one, two = harmonic(TIME, values, 4.0), harmonic(TIME, values, 4.0, 2)
    assert (abs(one), np.angle(one)) == pytest.approx((3.0, 0.5), rel=1e-6)
    assert (abs(two), np.angle(two)) == pytest.approx((0.2, -1.0), rel=1e-6)
    # The axis' length, not its end, is the period: 2/T over two cycles from 0.5 on.
    late = TIME >= 0.5
    assert abs(harmonic(TIME[late], values[late], 4.0)) == pytest.approx(3.0, rel=1e-6)


def test_distortion_counts_from_the_second_to_the_last_order() -> None:
    # 0.3 and 0.4 of the fundamental: 0.5 by Pythagoras; order 16 is outside.
    values = sum(
        a * np.cos(2 * np.pi * n * TIME) for a, n in ((2, 1), (0.6, 2), (0.8, 15), (9, 16))
    )
    assert distortion(TIME, np.asarray(values), 1.0) == pytest.approx(0.5, rel=1e-6)
    assert distortion(TIME, np.asarray(values), 1.0, 14) == pytest.approx(0.3, rel=1e-6)


@pytest.mark.parametrize("lag", [35.0, -20.0])
def test_a_current_that_comes_later_lags_by_a_positive_angle(lag: float) -> None:
    turn = 2 * np.pi * 10.0 * TIME
    made = waves(demo(), TIME, a=300.0 * np.sin(turn), pa=np.sin(turn - np.radians(lag)))
    # One sample of the last cycle is left out of the part: 1/2000 of a turn at most.
    assert phase_lag(made, Cycle(0.1, 0.5), 10.0) == pytest.approx(lag, abs=0.2)


@pytest.mark.parametrize("node", ["a", "pa"])
def test_no_angle_without_current_or_voltage(node: str) -> None:
    assert np.isnan(phase_lag(waves(demo(), TIME, **{node: np.sin(20 * np.pi * TIME)}),
                              Cycle(0.0, 0.5), 10.0))  # fmt: skip


def test_averages_are_taken_to_the_cycles_ends_between_samples() -> None:
    # y = t on samples at whole numbers: the mean from 0.5 to 2.25 is 1.375, though no sample
    # lies on either end; y is straight, so that trapezia are exact.
    time = np.arange(6.0)
    made = waves(demo(), time)
    assert cycle_average(made, time, Cycle(0.5, 2.25)) == pytest.approx(1.375)
    assert cycle_average(made, time, Cycle(1.0, 3.0)) == pytest.approx(2.0)


def test_the_running_integral_gives_the_same_over_many_cycles() -> None:
    # A triangle from -1 to 3 and back in each cycle has the mean 1, a constant 2 the mean 2.
    time = np.linspace(0.0, 3.0, 3001)
    triangle = -1.0 + 4.0 * (1.0 - np.abs(2.0 * (time % 1.0) - 1.0))
    cycles = (Cycle(0.0, 1.0), Cycle(1.0, 2.0), Cycle(1.0, 3.0))
    made = waves(demo(), time)
    assert cycle_averages(made, triangle, cycles) == pytest.approx([1.0, 1.0, 1.0], abs=1e-9)
    assert cycle_averages(made, triangle + time, cycles) == pytest.approx([1.5, 2.5, 3.0], abs=1e-9)


def test_peaks_by_magnitude_and_middles_by_both_extremes() -> None:
    time = np.arange(8.0)
    values = np.array([0.0, 4.0, -6.0, 0.0, 9.0, 1.0, 2.0, 50.0])
    cycles = (Cycle(0.0, 4.0), Cycle(4.0, 7.0))
    made = waves(demo(), time)
    # The sample on a cycle's end belongs to the next.
    assert cycle_peaks(made, values, cycles).tolist() == [6.0, 9.0]
    assert cycle_middles(made, values, cycles).tolist() == [-1.0, 5.0]
