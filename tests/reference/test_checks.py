"""Every published check of the registry, as a test; see tests/reference/checks."""

from __future__ import annotations

import math

import pytest

from tests.reference.checks import Check, collect, run_check


@pytest.mark.parametrize("check", collect(), ids=lambda check: check.id)
def test_published_check(check: Check) -> None:
    outcome = run_check(check)
    assert outcome.within, (
        f"{check.id} {check.quantity}: computed {outcome.computed:.6g}, published "
        f"{check.expected:.6g}, difference {outcome.difference:.3g}, tolerance "
        f"{check.tolerance:.3g} ({check.source})"
    )


def test_registry_refuses_nan_and_wrong_values() -> None:
    def make(value: float) -> Check:
        return Check("x", "q", "i", 1.0, 0.01, "r", "s", lambda: value)

    assert run_check(make(1.005)).within
    assert not run_check(make(1.02)).within
    assert not run_check(make(math.nan)).within
