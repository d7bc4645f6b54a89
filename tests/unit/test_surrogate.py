"""Courses between the samples, on fast models and samples made by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from simkit.figures.record import FastEvent
from simkit.measure.series import Series
from simkit.rehearsal.surrogate import Curve, curves, scaled
from tests.machines import demo

TIME = np.arange(11) * 1e-5


def sample(start: float, cycles: int = 2, **values: float) -> Any:
    """A stretch with one value of each quantity."""
    spans = tuple(SimpleNamespace(start=start + k * 1e-5, end=start + (k + 1) * 1e-5)
                  for k in range(cycles))  # fmt: skip
    series = tuple(
        Series("Q1", name, "", np.array([start]), np.array([value]))
        for name, value in values.items()
    )
    return SimpleNamespace(cycles=spans, series=series)


def event(**given: Any) -> Any:
    """A march of eleven cycles in which all stands still but what is given."""
    names = ("switch_current_peak", "primary_current_rms", "recovery_slope", "bank_voltage_peak",
             "coil_current_peak", "magnetising_current_peak", "bridge_loss", "turn_off_current",
             "turn_on_current")  # fmt: skip
    cycles = {name: np.ones(len(TIME)) for name in names} | given
    march = SimpleNamespace(time=TIME, **cycles)
    return FastEvent(demo(), cast(Any, march), np.full(11, 300.0), np.full(11, 325.0))


def test_a_course_is_the_circuits_where_the_ratio_stands_still() -> None:
    fast = 1.0 + np.sin(np.pi * TIME / TIME[-1])
    ends = [sample(0.0, can_voltage_rms=3.0 * fast[1]), sample(8e-5, can_voltage_rms=3.0 * fast[8])]
    found = scaled(TIME, fast, ends, [3.0 * fast[1], 3.0 * fast[8]])
    assert found is not None
    np.testing.assert_allclose(found.values, 3.0 * fast, rtol=1e-12)
    assert found.peak == (pytest.approx(6.0), pytest.approx(5e-5))


def test_nothing_scales_a_course_that_is_nought_in_every_sample() -> None:
    fast = np.where(np.arange(11) == 5, 1.0, 0.0)
    assert scaled(TIME, fast, [sample(0.0), sample(8e-5)], [1.0, 1.0]) is None
    assert scaled(TIME, fast, [sample(4e-5)], [float("nan")]) is None


def test_a_drains_peak_between_samples_is_seen_from_the_current_broken_off() -> None:
    """Link 300 V, 4 V of overshoot per ampere: 10 A at both ends, 25 A in the middle, so 400 V."""
    broken = 10.0 + 15.0 * np.sin(np.pi * TIME / TIME[-1]) ** 8
    ends = [sample(0.0, 1, drain_voltage_peak=340.0), sample(1e-4, 1, drain_voltage_peak=340.0)]
    found = curves(event(turn_off_current=broken), ends)
    value, time = found["drain_voltage_peak"].peak
    assert value == pytest.approx(400.0, rel=1e-6)
    assert time == pytest.approx(5e-5)
    # Out of a recovering diode the current at turn-on is what breaks off, turned around.
    forced = curves(event(turn_off_current=-broken, turn_on_current=-broken), ends)
    assert forced["drain_voltage_peak"].peak[0] == pytest.approx(400.0, rel=1e-6)


def test_when_a_course_passes_a_bound_runs_straight_between_cycles() -> None:
    curve = Curve(TIME, np.linspace(0.0, 10.0, 11))
    assert curve.first_above(2.5) == pytest.approx(2.5e-5)
    assert curve.first_above(-1.0) == 0.0
    assert curve.first_above(10.0) is None
