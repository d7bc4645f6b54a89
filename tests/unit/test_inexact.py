"""What is computed again: on a machine over a limit only what could not be judged at all."""

from types import SimpleNamespace
from typing import Any

import pytest

from simkit.judge.limits import machine_limits
from simkit.rehearsal.discretisation import ErrorByCause
from simkit.rehearsal.error_budget import Assessed
from tests.machines import demo

BOUNDS = {limit.quantity: limit.bound for limit in machine_limits(demo())}


def assessed(**figures: tuple[float, float]) -> Assessed:
    """Figures as shares of their limits, with their errors."""
    series: Any = [
        SimpleNamespace(quantity=q, part="x", worst=(v * BOUNDS[q], 0.0))
        for q, (v, _) in figures.items()
    ]
    errors = {q: ErrorByCause(e * BOUNDS[q], 0.0, 0.0, 0.0, 0.0) for q, (_, e) in figures.items()}
    refined: Any = None
    return Assessed(refined, tuple(series), errors, 0.0, 0.0, {})


@pytest.mark.parametrize(("share", "error"), [(0.5, 0.04), (1.0, 0.02), (0.9, 0.8)])
def test_within_the_limits_every_large_error_is_mended(share: float, error: float) -> None:
    found = assessed(drain_voltage_peak=(0.7, 0.001), supply_current=(share, error))
    assert set(found.inexact(demo())) == {"supply_current"}


def test_what_is_over_whatever_its_error_is_not_mended() -> None:
    found = assessed(drain_voltage_peak=(0.99, 0.02), supply_current=(2.0, 0.2))
    assert found.is_over(demo())
    assert found.inexact(demo()) == {}


@pytest.mark.parametrize(("share", "error"), [(2.0, 0.2), (0.5, 0.04), (1.0, 0.02)])
def test_over_a_limit_what_can_be_judged_or_is_near_stays(share: float, error: float) -> None:
    found = assessed(drain_voltage_peak=(1.4, 0.001), supply_current=(share, error))
    assert found.inexact(demo()) == {}


def test_over_a_limit_what_cannot_be_judged_is_mended() -> None:
    found = assessed(drain_voltage_peak=(1.4, 0.001), supply_current=(0.9, 0.8))
    assert set(found.inexact(demo())) == {"supply_current"}
