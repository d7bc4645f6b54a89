"""How strongly figures follow an error of the tank's state, against small differences by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.circuit.analysis import Analysis
from simkit.measure.series import Series
from simkit.rehearsal.sensitivity import LEAST, gain, resolution, worst_place
from tests.machines import demo


def event(turn_on: list[float], peak: float = 40.0) -> Any:
    time = np.arange(len(turn_on)) * 1e-5
    return SimpleNamespace(cycles=SimpleNamespace(
        time=time, turn_on_current=np.array(turn_on),
        primary_current_peak=np.full(len(turn_on), peak)))  # fmt: skip


def test_a_loss_goes_with_the_square() -> None:
    """R (1.001 I)^2 is 0.2 % more than R I^2; a peak itself 0.1 %. 0.1 %: the second order."""
    more = (1.001**2 - 1.0) / 0.001
    assert gain("loss", event([-10.0]), 0.0) == pytest.approx(more, rel=1e-3)
    assert gain("supply_current", event([-10.0]), 0.0) == pytest.approx(more, rel=1e-3)
    assert gain("can_voltage_rms", event([-10.0]), 0.0) == 1.0


def test_a_recovery_goes_with_the_root_of_what_is_left_of_the_current() -> None:
    """Swing 40 A, 8 A at turn-on: a state off by 0.1 % of the swing moves the 8 A by 0.04 A, and
    s sqrt(2 K i), the channel's slope when it carries i, by half of 0.5 %: 2.5 times the 0.1 %."""
    share, swing, left = 1e-3, 40.0, 8.0
    slope = np.sqrt([left, left + share * swing])
    more = (slope[1] / slope[0] - 1.0) / share
    assert gain("recovery_di_dt", event([-8.0, -20.0]), 0.5e-5) == pytest.approx(more, rel=2e-3)
    # In the second cycle half the swing is left: what little it gains is never less than the share.
    assert gain("recovery_di_dt", event([-8.0, -20.0]), 1.5e-5) == 1.0


def test_a_current_that_vanishes_does_not_blow_the_error_up_without_end() -> None:
    assert gain("recovery_dv_dt", event([0.0]), 0.0) == pytest.approx(0.5 / LEAST)
    assert gain("recovery_dv_dt", event([0.0], peak=0.0), 0.0) == 1.0


def test_the_worst_place_is_over_all_parts_and_skips_what_is_no_number() -> None:
    times = np.array([1e-5, 2e-5])
    series = (
        Series("Q1", "loss", "W", times, np.array([5.0, 7.0])),
        Series("Q2", "loss", "W", times, np.array([9.0, 8.0])),
        Series("Q3", "loss", "W", times, np.array([np.nan, np.nan])),
        Series("Q3", "gate_lift", "V", times, np.array([50.0, 60.0])),
    )
    assert worst_place(series, "loss") == (9.0, 1e-5)
    assert worst_place(series, "flux_peak") == (0.0, 0.0)


def test_what_the_engine_cannot_tell_apart() -> None:
    """12 V and 3e-5: 0.36 mV of a solved equation and, trtol being 1, as much of a step."""
    told = resolution(demo(), Analysis(step=5e-9, reltol=3e-5))
    drive = max(demo().drive.voltage_on, -demo().drive.voltage_off)
    assert told["gate_lift"] == pytest.approx(drive * 6e-5)
    assert told["drain_voltage_peak"] == pytest.approx(demo().supply.voltage * 6e-5)
    tighter = resolution(demo(), replace(Analysis(step=5e-9), reltol=1e-5))
    assert tighter["gate_lift"] == pytest.approx(told["gate_lift"] / 3.0)
