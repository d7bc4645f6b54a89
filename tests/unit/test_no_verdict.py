"""Every way to "no verdict", and that none of them can become "within the limits checked".

The rule is the command's contract: what was not computed, did not converge or lies too near is no
verdict, whatever everything else came to; exit code 3.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import chain, combinations
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.errors import EngineError, EngineFailed, EngineMissing, EngineTimeout
from simkit.judge.limits import Limit, machine_limits
from simkit.judge.verdict import Judged, Opinion, judged, too_uncertain, verdict, with_opinion
from simkit.measure.series import Series
from simkit.parameters.aftermath import Aftermath
from simkit.parameters.load import load_file
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.aftermath import _heatsink
from simkit.rehearsal.discretisation import ErrorByCause
from simkit.rehearsal.findings import _row
from simkit.rehearsal.rehearser import Rehearser
from simkit.run.recorded import NotRecorded
from simkit.studies.all_faults import study as all_faults
from simkit.studies.check import suggest
from simkit.studies.check.row import CheckRow
from simkit.studies.compare import study as compare
from simkit.studies.gate_resistor import study as gate_resistor
from simkit.studies.inputs.loading import load_machine
from simkit.studies.maps import cases
from simkit.studies.maps import result as maps
from simkit.studies.maps.calibrate import Predicted
from simkit.studies.maps.space import Space
from simkit.studies.maps.study import fast_point, full_point
from simkit.studies.protect import result as protect
from simkit.studies.protect.study import Tried
from simkit.studies.protect.trip import _Hunt
from simkit.studies.scenario.no_verdict import no_answer
from simkit.verbs.check import exit_code
from simkit.verbs.common import CODES
from simkit.verbs.run import _gravity
from tests.machines import DEMO, demo

KINDS = (EngineFailed, EngineMissing, EngineTimeout, NotRecorded)

LIMIT = Limit("drain_voltage_peak", "V", 480.0, "the data sheet")
NAN, INF = float("nan"), float("inf")


def series(*values: float) -> Series:
    return Series("Q1", "drain_voltage_peak", "V", np.arange(float(len(values))), np.array(values))


def good(**other: Any) -> Judged:
    values: dict[str, Any] = {
        "part": "Q1", "quantity": "drain_voltage_peak", "unit": "V", "value": 400.0, "error": 1.0,
        "limit": 480.0, "ratio": 400.0 / 480.0, "time_s": 0.0, "first_over_s": None,
        "status": "ok", "source": "the data sheet",
    }  # fmt: skip
    return Judged(**(values | other))


WAYS: dict[str, Callable[[], Judged]] = {
    "no run reached it": lambda: judged(LIMIT, []),
    "an empty series": lambda: judged(LIMIT, [(series(), 1.0)]),
    "one part of two was not measured": lambda: judged(
        LIMIT, [(series(1.0), 1.0), (series(), 1.0)]
    ),
    "a sample that is no number": lambda: judged(LIMIT, [(series(1.0, NAN), 1.0)]),
    "an infinite sample": lambda: judged(LIMIT, [(series(1.0, INF), 1.0)]),
    "an infinitely low sample": lambda: judged(LIMIT, [(series(1.0, -INF), 1.0)]),
    "an error that is no number": lambda: judged(LIMIT, [(series(1.0), NAN)]),
    "an infinite error": lambda: judged(LIMIT, [(series(1.0), INF)]),
    "a negative error": lambda: judged(LIMIT, [(series(1.0), -1.0)]),
    "a limit that is no number": lambda: judged(
        Limit("gate_lift", "V", NAN, "x"), [(series(1.0), 1.0)]
    ),
    "no limit at all": lambda: judged(Limit("gate_lift", "V", INF, "x"), [(series(1.0), 1.0)]),
    "within its error of the limit, below": lambda: judged(LIMIT, [(series(479.5), 1.0)]),
    "within its error of the limit, above": lambda: judged(LIMIT, [(series(480.5), 1.0)]),
    "its error is too large to judge": lambda: too_uncertain(good(), "the error is too large"),
    "doubted though it was over": lambda: too_uncertain(good(value=900.0, status="over"), "why"),
    "another engine's answer is no number": lambda: with_opinion(good(), Opinion(NAN, NAN)),
    "another engine's answer is infinite": lambda: with_opinion(good(), Opinion(INF, INF)),
    "another engine finds more": lambda: with_opinion(good(), Opinion(450.0, 50.0)),
    "another engine finds less": lambda: with_opinion(good(), Opinion(350.0, -50.0)),
    "another engine doubts an excess": lambda: with_opinion(
        good(value=500.0, status="over"), Opinion(450.0, -50.0)
    ),
}
"""Ways in which one figure may end without a verdict."""


@pytest.mark.parametrize("way", WAYS)
def test_one_figure_without_a_verdict_spoils_the_whole(way: str) -> None:
    row = WAYS[way]()
    assert row.status in ("near", "not_evaluated")
    for rows in ([row], [row, good()], [good(), row], [good(), row, good()]):
        found = verdict(rows, None)
        assert found.outcome == "no_verdict"
        assert found.first_over is None
    assert verdict([good()], None).outcome == "within_limits"  # else the test above says nothing


def test_no_figure_at_all_is_no_verdict() -> None:
    assert verdict([], None).outcome == "no_verdict"


@pytest.mark.parametrize("kind", [EngineError, *KINDS])
def test_an_engine_without_an_answer_is_no_verdict(kind: type[EngineError]) -> None:
    machine = load_machine(DEMO / "machine.toml")
    scenario = load_file(DEMO / "pull-out-cold.toml", Scenario)
    for reason in ("it stopped", "", "within the limits checked"):
        found = no_answer(scenario, machine, kind(reason), 1.0)
        assert found.verdict == "no_verdict"
        assert {r.status for r in found.limits} == {"not_evaluated"}
        assert {r.value for r in found.limits} == {None}
        assert len(found.limits) == len(machine_limits(machine.model))
    assert kind("x").exit_code == CODES["no_verdict"] == 3


def test_all_kinds_of_engine_errors_are_asked_about() -> None:
    assert set(EngineError.__subclasses__()) == set(KINDS)


OUTCOMES = ("within_limits", "over_limit", "no_verdict")
SETS = list(chain.from_iterable(combinations(OUTCOMES, n) for n in range(4)))


def of_compare(outcomes: tuple[str, ...]) -> str:
    held: Any = [SimpleNamespace(after=SimpleNamespace(outcome=o)) for o in outcomes]
    return compare.outcome(held)


def of_map(outcomes: tuple[str, ...]) -> str:
    mapped: Any = SimpleNamespace(points=[SimpleNamespace(outcome=o) for o in outcomes])
    return maps.verdict(mapped)


def of_faults(outcomes: tuple[str, ...]) -> str:
    rows: Any = [SimpleNamespace(verdict=o) for o in outcomes]
    return all_faults.worst_verdict(rows)


def of_several_runs(outcomes: tuple[str, ...]) -> str:
    # As `simkit run` says it of several scenarios; it is given at least one.
    code = max((CODES[o] for o in outcomes), key=_gravity, default=3)
    return next(name for name, known in CODES.items() if known == code)


def of_suggestion(outcomes: tuple[str, ...]) -> str:
    rows = {str(k): {"outcome": o} for k, o in enumerate(outcomes)}
    machine: Any = None
    return suggest.Suggestion({}, machine, rows).outcome


STUDIES = (of_compare, of_map, of_faults, of_several_runs, of_suggestion)


@pytest.mark.parametrize("study", STUDIES)
@pytest.mark.parametrize("outcomes", SETS, ids="+".join)
def test_a_study_is_within_only_when_all_of_it_is(
    study: Callable[[tuple[str, ...]], str], outcomes: tuple[str, ...]
) -> None:
    found = study(outcomes)
    assert (found == "within_limits") == (outcomes == ("within_limits",))
    if not outcomes or outcomes == ("within_limits", "no_verdict"):
        assert found == "no_verdict"


def test_a_study_s_rehearsal_that_fails_is_no_verdict() -> None:
    scenario = load_file(DEMO / "pull-out-cold.toml", Scenario)
    machine = load_machine(DEMO / "machine.toml")

    class Bench:
        def rehearse(self, *_: Any, **__: Any) -> None:
            raise EngineTimeout("out of time")

    bench: Any = Bench()
    variant: Any = SimpleNamespace(name="a", machine=machine)
    (held,) = compare.rehearsals(machine, (variant,), (scenario,), bench)
    assert (held.before.outcome, held.after.outcome) == ("no_verdict", "no_verdict")


# --- a rehearsal inside a study -----------------------------------------------------------------


def failing(*_: Any, **__: Any) -> None:
    raise EngineFailed("it stopped")


def test_a_case_of_a_map_or_a_cure_without_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Rehearser, "rehearse", failing)
    row = cases.full(demo(), load_file(DEMO / "pull-out-cold.toml", Scenario).model)
    assert (row["outcome"], row["limits"], row["power"]) == ("no_verdict", {}, None)
    space: Any = Space(demo(), load_file(DEMO / "pull-out-cold.toml", Scenario).model, ())
    assert full_point(space, np.array([]), row).outcome == "no_verdict"
    step: Any = None
    tried = Tried(step, row)
    assert not tried.within
    assert not tried.sudden_kept()
    assert tried.worst()[0] == INF
    hunt: Any = _Hunt(demo(), space.scenario, lambda _: [], "x", (), 1.0, 1.0)
    assert not hunt._keeps(row)


def test_a_situation_without_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Rehearser, "rehearse", failing)
    scenario = load_file(DEMO / "pull-out-cold.toml", Scenario).model
    job = {
        "machine": demo().model_dump(mode="json", exclude_none=True),
        "scenario": scenario.model_dump(mode="json", exclude_none=True),
        "engine": "ngspice", "budget": {},
    }  # fmt: skip
    for work in (all_faults.rehearse_case, gate_resistor.tried):
        found = work(job)
        assert (found["verdict"], found["timed_out"]) == ("no_verdict", False)


@pytest.mark.parametrize("status", ["near", "not_evaluated", "over"])
def test_what_a_cure_leaves_near_is_not_kept(status: str) -> None:
    limits = {"drain_voltage_peak": {"ratio": 0.5, "status": "ok"},
              "gate_lift": {"ratio": None, "status": status}}  # fmt: skip
    step: Any = None
    tried = Tried(step, {"outcome": "no_verdict", "limits": limits})
    assert not tried.within
    assert not tried.sudden_kept()
    assert tried.worst()[0] == INF
    hunt: Any = _Hunt(
        demo(), None, lambda _: [], "x", ("drain_voltage_peak", "gate_lift"), 1.0, 1.0
    )  # type: ignore[arg-type]  # not asked for
    assert not hunt._keeps({"limits": limits})


@pytest.mark.parametrize("base", ["over_limit", "no_verdict"])
@pytest.mark.parametrize("cured", ["over_limit", "no_verdict"])
def test_cures_that_keep_no_limit_change_nothing(base: str, cured: str) -> None:
    step: Any = None
    remedy = SimpleNamespace(best=Tried(step, {"outcome": cured}))
    found: Any = SimpleNamespace(base={"outcome": base}, remedies=(remedy,), advised=None)
    assert protect.verdict(found) == base


def test_a_suggestion_that_was_not_found() -> None:
    found = suggest.Suggested((), 7)
    assert found.best is None
    assert suggest.document(found)["verdict"] == "no_verdict"


# --- what a map did not run ---------------------------------------------------------------------


def told(**ratios: float) -> str:
    """Outcome of a case the fast model tells; spreads of 2 %, three of them are needed."""
    predicted = {q: Predicted(np.array([r]), 0.02) for q, r in ratios.items()}
    space: Any = Space(demo(), None, ())  # type: ignore[arg-type]  # not asked for
    return fast_point(space, np.array([]), 0, predicted).outcome


def test_a_case_that_the_fast_model_cannot_tell() -> None:
    assert told(flux_peak=0.9) == "within_limits"
    assert told(flux_peak=1.1) == "over_limit"
    for unclear in (NAN, 0.95, 1.0, 1.05):
        assert told(flux_peak=unclear) == "no_verdict"
        assert told(flux_peak=0.5, gate_lift=unclear) == "no_verdict"
        assert told(flux_peak=1.1, gate_lift=unclear) == "over_limit"
    assert told() == "no_verdict"


# --- figures of a rehearsal ---------------------------------------------------------------------


def row_of(errors: dict[str, ErrorByCause], refused: dict[str, ErrorByCause]) -> Judged:
    found: Any = SimpleNamespace(machine=demo(), second=None, rises={})
    have: Any = SimpleNamespace(
        series=(series(400.0),), errors=errors, curves={}, refused=lambda _: refused
    )
    return _row(LIMIT, found, have, refused)


def test_a_figure_without_an_error_or_with_too_large_a_one() -> None:
    small, large = ErrorByCause(1.0), ErrorByCause(40.0)
    name = "drain_voltage_peak"
    assert row_of({name: small}, {}).status == "ok"
    assert row_of({}, {}).status == "not_evaluated"
    assert row_of({name: ErrorByCause(NAN)}, {}).status == "not_evaluated"
    spoilt = row_of({name: large}, {name: large})
    assert spoilt.status == "not_evaluated"
    assert "with a numerical error of 40 V, too much to tell it from its limit" in spoilt.note
    assert "most from the steps of the integration" in spoilt.note


def test_the_minutes_after_a_junction_that_could_not_be_told() -> None:
    when, value = np.zeros(1), np.array([50.0])
    later = Series("Q1", "junction_later", "degC", when, value)
    sink = Series("heatsink", "heatsink_later", "degC", when, value)
    rehearsal: Any = SimpleNamespace(series=(later, sink), machine=demo(), later_error=NAN)
    after = Aftermath(time=60.0, begins="settled")
    assert _heatsink(rehearsal, after).rows[0].status == "not_evaluated"
    rehearsal.later_error = 1.0
    assert _heatsink(rehearsal, after).rows[0].status == "ok"


# --- design numbers -----------------------------------------------------------------------------


def test_a_design_number_that_could_not_be_had_is_no_pass() -> None:
    def number(value: float, limit: float | None, low: bool = False) -> CheckRow:
        return CheckRow("machine", "q", "A", value, limit, low, "s")

    for low in (True, False):
        assert number(NAN, 1.0, low).status == "not_evaluated"
        assert number(1.0, NAN, low).status == "not_evaluated"
    fine, over = number(1.0, 2.0), number(3.0, 2.0)
    assert (fine.status, over.status) == ("ok", "over")
    assert exit_code([fine]) == exit_code([]) == 0
    assert exit_code([fine, number(NAN, 1.0)]) == CODES["no_verdict"]
    assert exit_code([over, number(NAN, 1.0)]) == CODES["over_limit"]
    # A number nobody set a limit to spoils nothing.
    assert exit_code([fine, number(NAN, None)]) == 0
