"""Statuses and verdicts: what may and what may never count as within the limits."""

import numpy as np
import pytest

from simkit.judge.limits import Limit
from simkit.judge.verdict import Judged, judged, leading, status, verdict
from simkit.measure.series import Series

LIMIT = Limit("drain_voltage_peak", "V", 480.0, "switch.ratings.drain_voltage")


def series(*values: float, part: str = "Q1", quantity: str = "drain_voltage_peak") -> Series:
    times = np.arange(len(values), dtype=float) * 1e-3
    return Series(part, quantity, "V", times, np.array(values))


def row(value: float, error: float = 0.0, quantity: str = "drain_voltage_peak") -> Judged:
    limit = Limit(quantity, "V", 480.0, "somewhere")
    return judged(limit, [(series(value, quantity=quantity), error)])


@pytest.mark.parametrize(
    ("value", "error", "wanted"),
    [(479.0, 0.5, "ok"), (479.8, 0.5, "near"), (480.2, 0.5, "near"), (481.0, 0.5, "over"),
     (480.0, 0.0, "ok"), (480.0, 1e-9, "near")],
)  # fmt: skip
def test_status_counts_the_error_on_both_sides(value: float, error: float, wanted: str) -> None:
    assert status(value, error, 480.0) == wanted


def test_the_worst_part_is_named_with_its_time() -> None:
    found = judged(
        LIMIT, [(series(300.0, 350.0), 1.0), (series(320.0, 500.0, 400.0, part="Q2"), 1.0)]
    )
    assert (found.part, found.value, found.time_s) == ("Q2", 500.0, 1e-3)
    assert found.ratio == pytest.approx(500.0 / 480.0)
    assert found.first_over_s == 1e-3
    assert found.status == "over"


@pytest.mark.parametrize(
    "candidates",
    [[], [(series(), 0.0)], [(series(float("nan")), 0.0)], [(series(1.0, float("inf")), 0.0)],
     [(series(100.0), float("nan"))], [(series(100.0), 0.0), (series(float("nan")), 0.0)]],
)  # fmt: skip
def test_what_was_not_measured_whole_is_not_evaluated(candidates: list) -> None:  # type: ignore[type-arg]
    found = judged(LIMIT, candidates)
    assert found.status == "not_evaluated"
    assert found.value is None
    assert verdict([found, row(100.0)], None).outcome == "no_verdict"


def test_no_rows_give_no_verdict() -> None:
    assert verdict([], None).outcome == "no_verdict"


def test_near_gives_no_verdict_and_over_outweighs_it() -> None:
    near, over, ok = row(480.0, 1.0), row(500.0, 1.0), row(100.0, 1.0)
    assert verdict([near, ok], None).outcome == "no_verdict"
    assert verdict([near, over, ok], None).outcome == "over_limit"
    assert verdict([ok], None).outcome == "within_limits"


def test_over_outweighs_what_was_not_evaluated() -> None:
    missing = judged(LIMIT, [])
    assert verdict([missing, row(500.0)], None).outcome == "over_limit"


def test_the_reason_leads_with_what_destroys_at_once() -> None:
    slow = judged(Limit("can_current_rms", "A", 10.0, "x"),
                  [(series(30.0, 30.0, quantity="can_current_rms"), 0.1)])  # fmt: skip
    fast = judged(LIMIT, [(series(100.0, 600.0), 0.1)])
    found = verdict([slow, fast], 0.0)
    assert found.first_over is slow
    assert leading([slow, fast]) is fast
    assert "drain-source voltage" in found.reason.split(";")[0]
    assert "current, rms (3 times)" in found.reason


def test_the_reason_of_a_good_run_names_the_closest_limit() -> None:
    found = verdict([row(100.0), row(400.0, quantity="channel_current_peak")], None)
    assert "channel current, peak at 83% of its limit" in found.reason
