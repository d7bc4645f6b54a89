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
from simkit.judge.verdict import Judged, Opinion, doubted, judged, verdict, with_opinion
from simkit.measure.series import Series
from simkit.parameters.load import load_file
from simkit.parameters.scenario import Scenario
from simkit.run.recorded import NotRecorded
from simkit.studies import all_faults, suggest
from simkit.studies.compare import study as compare
from simkit.studies.loading import load_machine
from simkit.studies.maps import result as maps
from simkit.studies.unanswered import unanswered
from simkit.verbs.common import CODES
from tests.machines import DEMO

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
    "its error is too large to judge": lambda: doubted(good(), "the error is too large"),
    "doubted though it was over": lambda: doubted(good(value=900.0, status="over"), "why"),
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
        found = unanswered(scenario, machine, kind(reason), 1.0)
        assert found["verdict"] == "no_verdict"
        assert {r["status"] for r in found["limits"]} == {"not_evaluated"}
        assert {r["value"] for r in found["limits"]} == {None}
        assert len(found["limits"]) == len(machine_limits(machine.model))
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


def of_suggestion(outcomes: tuple[str, ...]) -> str:
    rows = {str(k): {"outcome": o} for k, o in enumerate(outcomes)}
    machine: Any = None
    return suggest.Suggestion({}, machine, rows).outcome


@pytest.mark.parametrize("study", [of_compare, of_map, of_faults, of_suggestion])
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
