"""A figure whose error is large or holds its limit is computed again; where another is over its
own, only what could not be judged at all."""

from __future__ import annotations

from typing import Any, cast

import numpy as np

from simkit.measure.series import Series
from simkit.rehearsal.discretisation import ErrorByCause
from simkit.rehearsal.error_budget import Assessed
from tests.machines import demo

VOLTAGE, CURRENT = "drain_voltage_peak", "channel_current_peak"


def bound(name: str) -> float:
    from simkit.judge.limits import machine_limits

    return next(x.bound for x in machine_limits(demo()) if x.quantity == name)


def found(**shares: tuple[float, float]) -> set[str]:
    """What is computed again, of figures and errors as shares of their bounds [1]."""
    series, errors = [], {}
    for name, (value, error) in shares.items():
        values = np.array([value * bound(name)])
        series.append(Series("Q1", name, "", np.array([0.0]), values))
        errors[name] = ErrorByCause(error * bound(name), 0.0, 0.0, 0.0, 0.0)
    made = Assessed(cast(Any, None), tuple(series), errors, 0.0, np.inf, {})
    return set(made.inexact(demo()))


def test_a_small_error_far_from_the_limit_is_left_alone() -> None:
    assert found(**{VOLTAGE: (0.9, 0.01)}) == set()
    assert found(**{VOLTAGE: (1.1, 0.01)}) == set()


def test_an_error_that_holds_the_limit_is_made_smaller_however_small_it_is() -> None:
    assert found(**{VOLTAGE: (0.995, 0.01)}) == {VOLTAGE}
    assert found(**{VOLTAGE: (1.005, 0.01), CURRENT: (0.5, 0.01)}) == {VOLTAGE}


def test_where_another_is_over_the_verdict_does_not_wait_for_it() -> None:
    assert found(**{VOLTAGE: (0.995, 0.01), CURRENT: (1.2, 0.01)}) == set()


def test_a_large_error_counts_wherever_the_limit_is() -> None:
    assert found(**{VOLTAGE: (0.5, 0.2), CURRENT: (0.8, 0.01)}) == {VOLTAGE}


def test_where_another_is_over_only_what_cannot_be_judged_is_made_smaller() -> None:
    assert found(**{VOLTAGE: (0.5, 0.2), CURRENT: (1.2, 0.01)}) == set()
    assert found(**{VOLTAGE: (0.9, 0.8), CURRENT: (1.2, 0.01)}) == {VOLTAGE}


def test_what_is_over_whatever_its_error_needs_no_smaller_one() -> None:
    assert found(**{VOLTAGE: (2.0, 0.2), CURRENT: (0.99, 0.02)}) == set()
