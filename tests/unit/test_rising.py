"""Whether a course still rises where it ends: against courses whose end is known in closed form."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
import pytest

from simkit.circuit.profile import Profile
from simkit.circuit.timeline import NamedEvent, Timeline
from simkit.judge.limits import Limit
from simkit.rehearsal import rising

TIMES = np.arange(0.0, 3e-4, 1e-5)
LIMIT = Limit("flux_peak", "T", 1.0, "test")


def found(values: np.ndarray, since: float = 0.0) -> rising.Rising | None:
    return rising.rising("flux_peak", TIMES, values, since, 0.02)


@pytest.mark.parametrize("memory", [1e-4, 2e-4, 4e-4])
def test_an_exponential_s_rise_to_come_is_what_is_left_of_it(memory: float) -> None:
    """1 - exp(-t/T): from the middle of the last part on, exp(-t/T) is left."""
    told = found(1.0 - np.exp(-TIMES / memory))
    assert told is not None
    assert told.last + told.to_come == pytest.approx(1.0, abs=0.02)  # a part's mean for its middle


def test_a_straight_line_says_nothing_of_its_end() -> None:
    told = found(1e3 * TIMES)
    assert told is not None
    assert told.to_come > 1.0
    assert told.slope == pytest.approx(1e3)
    assert told.reaches(3.0)


def test_what_has_settled_falls_or_was_higher_before_does_not_rise() -> None:
    assert found(np.ones_like(TIMES)) is None
    assert found(1.0 - 1e3 * TIMES) is None
    assert found(1.0 - exp(1.0) ** (-TIMES / 2e-5)) is None
    assert found(np.where(TIMES < 5e-5, 5.0, 1.0 - np.exp(-TIMES / 1e-4))) is None


def test_scatter_is_no_rise() -> None:
    rough = np.random.default_rng(1).normal(1.0, 0.01, (200, len(TIMES)))
    assert sum(found(row) is not None for row in rough) < 10


def test_a_run_is_followed_to_the_limit_or_to_rest_and_no_further_than_allowed() -> None:
    line = Timeline(*(Profile(v) for v in (1e5, 300.0, 1e-6, 0.02)), stop=3e-4, end=3e-4)
    climbing = found(1e3 * TIMES)
    assert climbing is not None
    limits = {"flux_peak": LIMIT}
    longer = rising.carried_on(line, {"flux_peak": climbing}, limits, 1.0)
    assert longer is not None
    # From about 0.28 at 1,000 per second to 1 takes 0.7 ms more: at first as long again as it was.
    assert longer.end == pytest.approx(6e-4)
    near = {"flux_peak": replace(LIMIT, bound=0.38)}
    sooner = rising.carried_on(line, {"flux_peak": climbing}, near, 1.0)
    assert sooner is not None
    assert 1e-4 < sooner.end - line.end < 1.5e-4  # 0.1 ms more, and the margin
    assert longer.end == longer.stop
    assert rising.carried_on(line, {"flux_peak": climbing}, limits, line.end) is None


def test_what_ends_with_its_event_is_followed_for_some_cycles() -> None:
    line = Timeline(*(Profile(v) for v in (1e5, 300.0, 1e-6, 0.02)), stop=3e-4, end=3e-4)
    assert rising.seen_after(line) is None
    short = replace(line, events=(NamedEvent("trip", 2.8e-4, 2.9e-4),))
    longer = rising.seen_after(short)
    assert longer is not None
    assert longer.end == longer.stop == pytest.approx(2.9e-4 + 6 / 1e5)
    assert rising.seen_after(longer) is None
