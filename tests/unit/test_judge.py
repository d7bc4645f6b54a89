"""Limits by hand from the shipped machine's ratings, and every way to "no verdict"."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from simkit.figures.table import figures, full_name, sudden
from simkit.judge.difference import Difference, Mark, Reading, compare, of_limits
from simkit.judge.limits import Limit, machine_limits
from simkit.judge.verdict import (
    Judged,
    Opinion,
    judged,
    leading,
    status,
    too_uncertain,
    verdict,
    with_opinion,
)
from simkit.judge.words import WORDS
from simkit.measure.series import Series, joined
from tests.machines import demo

NAN, INF = float("nan"), float("inf")
LIMIT = Limit("drain_voltage_peak", "V", 480.0, "the data sheet")


def row(
    quantity: str = "drain_voltage_peak", value: float | None = 400.0, **other: object
) -> Judged:
    fields = {"part": "Q1", "quantity": quantity, "unit": "V", "value": value, "error": 1.0,
              "limit": 480.0, "ratio": None if value is None else value / 480.0,
              "time_s": 1e-3, "first_over_s": None,
              "status": "ok", "source": "x"}  # fmt: skip
    return Judged(**(fields | other))  # type: ignore[arg-type]  # a test's own overrides


def over(quantity: str, ratio: float, first: float | None, part: str = "Q1") -> Judged:
    return row(quantity, 480.0 * ratio, status="over", first_over_s=first, part=part)


def series(*values: float, part: str = "Q1") -> Series:
    times = np.array([k * 1e-3 for k in range(len(values))])
    return Series(part, "drain_voltage_peak", "V", times, np.array(values, dtype=float))


def test_each_limit_is_rating_times_derating() -> None:
    # Ratings and deratings as the shipped file has them, multiplied here by hand.
    found = {x.quantity: x for x in machine_limits(demo())}
    wanted = {
        "drain_voltage_peak": (480.0, "V"),  # 600 V x 0.8
        "channel_current_peak": (128.0, "A"),  # 160 A x 0.8
        "drain_current_rms": (20.0, "A"),  # 25 A x 0.8
        "gate_voltage_peak": (24.0, "V"),  # 30 V x 0.8
        "gate_lift": (3.5, "V"),  # 4 V - 0.5 V
        "recovery_di_dt": (480e6, "A/s"),  # 600 A/us x 0.8
        "recovery_dv_dt": (12e9, "V/s"),  # 15 V/ns x 0.8
        "junction_peak": (126.0, "degC"),  # 30 + 0.8 x (150 - 30)
        "junction_held": (126.0, "degC"),
        "can_voltage_rms": (225.0, "V"),  # 250 V x 0.9
        "can_current_rms": (16.2, "A"),  # 18 A x 0.9
        "flux_peak": (0.24, "T"),  # 0.32 T x 0.75
        "supply_current": (13.0, "A"),
    }
    assert set(found) == set(wanted)
    for quantity, (bound, unit) in wanted.items():
        assert found[quantity].bound == pytest.approx(bound)
        assert found[quantity].unit == unit


def test_every_limit_says_where_it_is_from() -> None:
    # Names of the machine file, as its schema has them, and the demo's deratings.
    rise = "cooling.ambient plus 80% of the rise to switch.ratings.junction_temperature"
    assert {x.quantity: x.source for x in machine_limits(demo())} == {
        "drain_voltage_peak": "switch.ratings.drain_voltage, 80% of it used",
        "channel_current_peak": "switch.ratings.pulsed_current, 80% of it used",
        "drain_current_rms": "switch.ratings.drain_current, 80% of it used",
        "gate_voltage_peak": "switch.ratings.gate_voltage, 80% of it used",
        "gate_lift": "switch.channel.threshold less limits.threshold_margin",
        "recovery_di_dt": "switch.ratings.recovery_di_dt, 80% of it used",
        "recovery_dv_dt": "switch.ratings.recovery_dv_dt, 80% of it used",
        "junction_peak": rise,
        "junction_held": "as junction_peak, last state held for 10 s",
        "can_voltage_rms": "tank.can_voltage, 90% of it used",
        "can_current_rms": "tank.can_current, 90% of it used",
        "flux_peak": "transformer.saturation_flux, 75% of it used",
        "supply_current": "limits.supply_current",
    }


def test_every_limit_has_its_words() -> None:
    for limit in machine_limits(demo()):
        assert figures()[limit.quantity].unit == limit.unit
    names = {x.quantity for x in machine_limits(demo())}
    assert names >= {name for name in sudden() if figures()[name].there(demo())}
    assert full_name("flux_peak") == "matching transformer: flux density"
    assert full_name("gate_lift") == "switch: gate voltage while it should be off"


# --- no way from "could not be told" to "within the limits" -----------------------------------


@pytest.mark.parametrize(
    ("value", "error", "bound"),
    [(NAN, 1.0, 480.0), (INF, 1.0, 480.0), (-INF, 1.0, 480.0), (100.0, NAN, 480.0),
     (100.0, INF, 480.0), (100.0, -1.0, 480.0), (100.0, 1.0, NAN), (100.0, 1.0, INF),
     (100.0, 1.0, -INF)],
)  # fmt: skip
def test_nothing_that_is_no_number_is_ok_or_over(value: float, error: float, bound: float) -> None:
    assert status(value, error, bound) in ("not_evaluated", "near")
    found = judged(replace(LIMIT, bound=bound), [(series(value), error)])
    assert found.status not in ("ok", "over")
    assert verdict([found, row()], None).outcome == "no_verdict"


def test_an_error_of_nought_is_a_number() -> None:
    assert status(100.0, 0.0, 480.0) == "ok"
    assert status(500.0, 0.0, 480.0) == "over"
    assert status(100.0, INF, 480.0) == "near"


@pytest.mark.parametrize("bad", [(), (NAN,), (100.0, NAN), (100.0, INF), (NAN, 900.0)])
def test_one_part_not_measured_whole_spoils_the_quantity(bad: tuple[float, ...]) -> None:
    for candidates in ([(series(*bad), 1.0)], [(series(100.0), 1.0), (series(*bad), 1.0)]):
        found = judged(LIMIT, candidates)
        assert found == Judged("machine", "drain_voltage_peak", "V", None, None, 480.0, None, None,
                               None, "not_evaluated", "the data sheet")  # fmt: skip
        assert verdict([row(), found], None).outcome == "no_verdict"


def test_no_rows_at_all() -> None:
    found = verdict([], None)
    assert (found.outcome, found.first_over) == ("no_verdict", None)
    assert found.reason == "Not evaluated: every quantity."


def test_within_needs_every_row_ok() -> None:
    # Every mixture of up to three statuses, told by the rule alone.
    for states in product(("ok", "near", "over", "not_evaluated"), repeat=3):
        rows = [row(status=s, first_over_s=1.0 if s == "over" else None) for s in states]
        outcome = verdict(rows, None).outcome
        if "over" in states:
            assert outcome == "over_limit"
        elif set(states) == {"ok"}:
            assert outcome == "within_limits"
        else:
            assert outcome == "no_verdict"


def test_a_doubted_row_gives_up_its_figure() -> None:
    found = too_uncertain(row(value=500.0, status="over", first_over_s=2.0, error=40.0), "too much")
    assert found.status == "not_evaluated"
    assert (found.value, found.error, found.ratio, found.first_over_s) == (None,) * 4
    assert found.note == "it came to 500 V with a numerical error of 40 V, too much"
    assert found.time_s == 1e-3
    assert verdict([found, row()], None).reason == (
        "Not evaluated: Q1: drain-source voltage, peak (it came to 500 V with a numerical error of "
        "40 V, too much)."
    )
    bare = too_uncertain(row(value=None, error=None), "why")
    assert bare.note == "it came to 0 V with a numerical error of 0 V, why"


@pytest.mark.parametrize("difference", [NAN, INF, -INF])
@pytest.mark.parametrize("value", [400.0, 600.0])
def test_a_second_opinion_that_is_no_number_confirms_nothing(
    difference: float, value: float
) -> None:
    found = with_opinion(row(value=value), Opinion(value + difference, difference))
    assert found.status == "near"
    assert verdict([found], None).outcome == "no_verdict"


def test_an_opinion_within_both_errors_or_a_per_cent_changes_nothing() -> None:
    # Error 1 V: together 2 V; a per cent of 400 V: 4 V. The larger of both is the room.
    for difference, wanted in ((4.0, "ok"), (4.01, "near"), (-4.0, "ok"), (-4.01, "near")):
        opinion = Opinion(400.0 + difference, difference)
        found = with_opinion(row(), opinion)
        assert (found.status, found.second_opinion) == (wanted, opinion)
    assert with_opinion(row(error=3.0), Opinion(406.0, 6.0)).status == "ok"
    assert with_opinion(row(error=3.0), Opinion(406.1, 6.1)).status == "near"
    assert with_opinion(row(value=-400.0), Opinion(-396.0, 4.0)).status == "ok"


def test_an_opinion_can_take_an_excess_back_but_never_make_it_a_pass() -> None:
    high = row(value=500.0, status="over")
    assert with_opinion(high, Opinion(481.5, -18.5)).status == "over"  # 500 - 1 - 18.5 > 480
    assert with_opinion(high, Opinion(480.5, -19.5)).status == "near"
    for blank in (row(value=None, status="not_evaluated"), row(error=None, status="not_evaluated")):
        assert with_opinion(blank, Opinion(1.0, 0.0)) is blank
    assert with_opinion(high, None) is high


# --- figures -----------------------------------------------------------------------------------


def test_the_worst_part_and_the_first_time_of_any_part() -> None:
    found = judged(
        LIMIT, [(series(100.0, 490.0, 0.0), 1.0), (series(0.0, 481.5, 500.0, part="Q2"), 2.0)]
    )
    assert (found.part, found.value, found.error, found.time_s) == ("Q2", 500.0, 2.0, 2e-3)
    assert found.ratio == pytest.approx(500.0 / 480.0)
    # Q1 passes 481 V in its second value; Q2's 481.5 V there are within its error.
    assert found.first_over_s == 1e-3
    assert (found.quantity, found.unit, found.limit, found.source, found.status) == (
        "drain_voltage_peak", "V", 480.0, "the data sheet", "over")  # fmt: skip
    alone = judged(LIMIT, [(series(0.0, 481.5, 500.0), 2.0)])
    assert alone.first_over_s == 2e-3
    assert judged(LIMIT, [(series(1.0), 1.0)]).first_over_s is None


def test_near_is_named_when_nothing_is_over_or_missing() -> None:
    found = verdict([row(status="near"), row("gate_lift", part="Q2", status="near"), row()], None)
    assert found.reason == (
        "Too close to its limit to call: Q1: drain-source voltage, peak, "
        "Q2: gate voltage while it should be off."
    )
    assert found.first_over is None


def test_within_names_the_closest() -> None:
    found = verdict([row(), row("can_current_rms", 432.0, part="tank capacitor"), row()], None)
    assert found.reason == (
        "No limit checked was exceeded; the closest was tank capacitor: current, rms "
        "at 90% of its limit."
    )
    assert found.first_over is None
    assert WORDS[found.outcome] == "within the limits checked"


def test_what_destroys_at_once_leads_and_the_first_in_time_is_kept() -> None:
    rows = [over("can_current_rms", 3.0, 1e-3), over("gate_lift", 1.5, 3e-3),
            over("drain_voltage_peak", 1.25, 2e-3), over("junction_peak", 2.0, None),
            over("flux_peak", 1.1, 4e-3), row("supply_current")]  # fmt: skip
    found = verdict(rows, 1.5e-3, "the motor running, ")
    assert found.outcome == "over_limit"
    assert found.first_over is rows[0]
    assert leading(rows) is rows[2]
    # 2.0 ms less 1.5 ms; others by how far they are over, three of them.
    assert found.reason == (
        "500 us after the event began, the motor running, Q1's drain-source voltage, peak went "
        "over its limit and reached 600 V, 1.25 times the limit, told first because it destroys "
        "within a cycle; over before it: Q1: current, rms; also over: "
        "Q1: current, rms (3 times), "
        "Q1: junction temperature in the event (2 times), Q1: gate voltage while it should be off "
        "(1.5 times) and 1 more."
    )


def test_leading_without_anything_sudden_or_over() -> None:
    slow, later = over("can_current_rms", 3.0, 1e-3), over("flux_peak", 9.0, 2e-3)
    assert leading([later, slow]) is slow
    assert leading([over("flux_peak", 9.0, None), later]) is later
    # Of two at the same time the one that is further over.
    assert leading([slow, over("flux_peak", 4.0, 1e-3)]).ratio == 4.0  # type: ignore[union-attr]  # over
    assert leading([row()]) is None
    assert leading([]) is None
    none = verdict([over("flux_peak", 9.0, None)], 0.0)
    assert (
        none.reason
        == "Q1's flux density went over its limit and reached 4.32 kV, 9 times the limit."
    )


@pytest.mark.parametrize(
    ("when", "words"),
    [
        (0.96e-3, "In the cycle in which the event began, Q1"),  # within half a cycle of 0.1 ms
        (0.95e-3, "In the cycle in which the event began, Q1"),
        (0.949e-3, "From the settled state on, Q1"),
        (1.0e-3, "0 s after the event began, Q1"),
        (1.2e-3, "200 us after the event began, Q1"),
    ],
)
def test_when_it_went_over(when: float, words: str) -> None:
    found = verdict([over("flux_peak", 2.0, when)], 1e-3, cycle=0.1e-3)
    assert found.reason.startswith(words)
    assert "; also" not in found.reason
    assert verdict([over("flux_peak", 2.0, when)], None, cycle=0.1e-3).reason.startswith("From the")


def test_three_others_are_named_without_more() -> None:
    rows = [over("gate_lift", 1.5, 1e-3)] + [over("flux_peak", 1.1, 2e-3)] * 3
    assert "more" not in verdict(rows, None).reason
    assert verdict(rows, None).reason.endswith("flux density (1.1 times).")


# --- series ------------------------------------------------------------------------------------


def test_a_series_with_any_gap_has_no_worst() -> None:
    for bad in ((), (NAN,), (1.0, INF), (1.0, -INF), (NAN, 2.0)):
        assert np.isnan(series(*bad).worst).all()
    assert series(1.0, 3.0, 3.0).worst == (3.0, 1e-3)
    assert series(1.0, 3.0).first_above(1.0) == 1e-3
    # JSON has no other numbers than Python's own.
    assert {type(v) for v in series(1.0, 3.0).worst} == {float}
    assert type(series(1.0, 3.0).first_above(1.0)) is float
    whole = joined([series(1.0, 2.0), series(7.0, part="Q2")])
    # At equal times the order of the pieces is kept; names are the first piece's.
    assert (whole.part, whole.quantity, whole.unit) == ("Q1", "drain_voltage_peak", "V")
    assert whole.values.tolist() == [1.0, 7.0, 2.0]


# --- differences -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("a", "b", "mark"),
    [
        ((1.0, 0.1), (1.3, 0.1), "higher"), ((1.3, 0.1), (1.0, 0.1), "lower"),
        ((1.0, 0.1), (1.15, 0.1), "no difference"), ((2.0, 0.5), (3.0, 0.5), "no difference"),
        ((1.0, 0.0), (1.0, 0.0), "no difference"), ((0.0, 0.0), (1.0, 0.0), "higher"),
        ((None, 0.1), (1.0, 0.1), "not evaluated"), ((1.0, None), (1.0, 0.1), "not evaluated"),
        ((1.0, 0.1), (None, 0.1), "not evaluated"), ((1.0, 0.1), (1.0, None), "not evaluated"),
        ((NAN, 0.1), (1.0, 0.1), "not evaluated"), ((1.0, NAN), (1.0, 0.1), "not evaluated"),
        ((1.0, 0.1), (INF, 0.1), "not evaluated"), ((1.0, 0.1), (1.0, INF), "not evaluated"),
        ((1.0, -0.1), (1.3, 0.2), "not evaluated"), ((1.0, 0.2), (1.3, -0.1), "not evaluated"),
        ((1.0, 0.0), (1.3, 0.2), "higher"), ((1.0, 0.2), (1.3, 0.0), "higher"),
    ],
)  # fmt: skip
def test_intervals_that_overlap_say_nothing(
    a: tuple[float | None, float | None], b: tuple[float | None, float | None], mark: Mark
) -> None:
    assert compare(*a, *b) == mark


def test_rows_are_compared_as_shares_of_their_own_limits() -> None:
    before = [row(value=240.0, error=4.8), row("flux_peak"), row("gate_lift")]
    # 240 of 480 V is 50 +/- 1 %; 240 of 960 V 25 %: better, though no volt is less.
    after = [row("flux_peak", 450.0, part="core"), row(value=240.0, error=4.8, limit=960.0)]
    found = of_limits(before, after)
    assert [d.quantity for d in found] == ["drain_voltage_peak", "flux_peak"]
    assert [d.mark for d in found] == ["better", "worse"]
    assert found[1].part == "core"
    assert found[0].before == Reading(240.0, 4.8, 480.0, "ok")
    assert found[0].after == Reading(240.0, 4.8, 960.0, "ok")
    assert found[0].step == pytest.approx(-0.25)
    same = of_limits(before, [row(value=249.0, error=4.8)])[0]  # 1.9 % apart, 2 % in doubt
    assert same.mark == "no difference"
    assert of_limits(before, [row(value=250.0, error=4.8)])[0].mark == "worse"
    missing = of_limits(before, [row(value=None, error=None)])[0]
    assert (missing.mark, missing.step) == ("not evaluated", 0.0)


def test_step_without_limits_is_a_share_of_the_value_before() -> None:
    def step(a: float | None, b: float | None, limit: float | None = None) -> float:
        one, two = Reading(a, 0.0, limit, "ok"), Reading(b, 0.0, None, "ok")
        return Difference("x", "p", "V", one, two, "higher").step

    assert step(-4.0, -2.0) == 0.5
    assert step(4.0, 5.0, 8.0) == 0.25
    assert (step(0.0, 5.0), step(None, 5.0), step(5.0, None)) == (0.0, 0.0, 0.0)
    assert Reading(3.0, 0.1, 12.0, "ok").ratio == 0.25
    assert Reading(None, 0.1, 12.0, "ok").ratio is None
    assert Reading(3.0, 0.1, None, "ok").ratio is None


def test_the_kinds_that_destroy_within_a_cycle() -> None:
    # The design's own division: peaks and slopes at once, rms, flux and heat over time.
    assert sorted(sudden()) == ["channel_current_peak", "drain_voltage_peak", "gate_lift",
                              "gate_voltage_peak", "recovery_di_dt", "recovery_dv_dt",
                              "short_circuit_time", "switched_current_peak"]  # fmt: skip


# --- what nought and silence may not turn into --------------------------------------------------


def test_a_figure_of_nought_is_the_least_of_all() -> None:
    # A ratio of 0 is no missing ratio: it is never the closest, never the worst.
    idle = row("can_current_rms", 0.0)
    assert verdict([idle, row()], None).reason.endswith("closest was Q1: drain-source voltage, "
                                                        "peak at 83% of its limit.")  # fmt: skip
    zero, half = over("gate_lift", 0.0, 1e-3), over("drain_voltage_peak", 0.5, 1e-3)
    assert leading([zero, half]) is half
    said = verdict([zero], None).reason
    assert "reached 0 V" in said
    third = over("flux_peak", 0.25, 2e-3)
    said = verdict([half, zero, third], None).reason
    assert said.index("(0.25 times)") < said.index("(0 times)")


def test_what_is_missing_is_named_with_commas_and_no_empty_brackets() -> None:
    blank = row(value=None, error=None, status="not_evaluated")
    assert blank.note == ""
    found = verdict([blank, row("flux_peak", value=None, status="not_evaluated")], None)
    assert found.reason == "Not evaluated: Q1: drain-source voltage, peak, Q1: flux density."


def test_figures_are_said_with_three_digits_and_their_errors_with_two() -> None:
    found = too_uncertain(row(value=512.34, error=40.56), "why")
    assert found.note == "it came to 512 V with a numerical error of 41 V, why"
    high = row(value=612.34, status="over", first_over_s=0.6)
    # Without a cycle and a context: 0.6 s lies before the event, and nothing comes in between.
    assert verdict([high], 1.0).reason.startswith("From the settled state on, Q1's drain-source "
                                                  "voltage, peak went over its limit and "
                                                  "reached 612 V")  # fmt: skip


def test_the_error_s_share_of_a_negative_limit_is_no_gain() -> None:
    # -240 and -239 of -480, each +/- 4.8: a half, 0.2 % apart, 2 % in budget.
    before, after = (row(value=v, error=4.8, limit=-480.0) for v in (-240.0, -239.0))
    assert of_limits([before], [after])[0].mark == "no difference"


def test_the_words_of_the_verdicts() -> None:
    # The command's contract has these three.
    assert WORDS == {"within_limits": "within the limits checked", "over_limit": "over a limit",
                     "no_verdict": "no verdict"}  # fmt: skip
    assert isinstance(sudden(), frozenset)
