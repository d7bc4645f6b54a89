"""The table of all situations: its order, its words, and that a run cut short carries on.

No circuit here; what the situations come to is in tests/engine/test_situations.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from simkit.parameters.machine import Machine
from simkit.parameters.reading import noting
from simkit.parameters.scenario import Scenario
from simkit.run.backend import Budget
from simkit.run.cache import Store
from simkit.studies.all_faults import study as all_faults
from simkit.studies.all_faults.page import margin_words, table_page
from simkit.studies.all_faults.study import Row, document, scenario_files, table, worst_verdict
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.scenario.job import job_of
from simkit.studies.situations import Case
from simkit.verbs.all_faults import copied
from tests.machines import DEMO, ROOT

MACHINE = load_machine(DEMO / "machine.toml")


def told(job: Mapping[str, Any]) -> dict[str, Any]:
    """What a worker would bring back, made up from the case's name."""
    ratio = {"gate-reversed": 40.0, "fuse-opens": 0.5}.get(job["scenario"]["name"], 0.9)
    verdict = "over_limit" if ratio > 1.0 else "within_limits"
    return {
        "verdict": verdict, "reason": "so it is", "part": "Q1", "quantity": "gate_lift",
        "unit": "V", "value": 3.5 * ratio, "limit": 3.5, "ratio": ratio, "worst_ratio": ratio,
        "time_s": 1e-6 if ratio > 1.0 else None, "method": "", "slow": [],
        "engine_cpu_seconds": 0.1, "timed_out": False,
    }  # fmt: skip


def made(store: Store | None) -> list[Row]:
    return table(MACHINE, engine_name="ngspice", budget=Budget(), store=store, executor=None)


@pytest.fixture
def _three(monkeypatch: pytest.MonkeyPatch) -> None:
    keep = ("gate-reversed", "fuse-opens", "half-turns", "snubber-missing")
    every = all_faults.cases(MACHINE.model)
    monkeypatch.setattr(all_faults, "cases", lambda m: {n: every[n] for n in keep})
    monkeypatch.setattr(all_faults, "rehearse_case", told)


@pytest.mark.usefixtures("_three")
def test_worst_comes_first_and_what_cannot_happen_last() -> None:
    rows = made(None)
    assert [r.name for r in rows] == [
        "gate-reversed",
        "half-turns",
        "fuse-opens",
        "snubber-missing",
    ]
    assert rows[0].margin == pytest.approx(-39.0)
    assert rows[-1].verdict == "not_here"
    assert worst_verdict(rows) == "over_limit"


@pytest.mark.usefixtures("_three")
def test_a_run_cut_short_carries_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ran: list[str] = []

    def failing(job: Mapping[str, Any]) -> dict[str, Any]:
        if len(ran) == 2:
            raise KeyboardInterrupt
        ran.append(job["scenario"]["name"])
        return told(job)

    monkeypatch.setattr(all_faults, "rehearse_case", failing)
    with pytest.raises(KeyboardInterrupt):
        made(Store(tmp_path))
    again: list[str] = []

    def noting(job: Mapping[str, Any]) -> dict[str, Any]:
        again.append(job["scenario"]["name"])
        return told(job)

    monkeypatch.setattr(all_faults, "rehearse_case", noting)
    rows = made(Store(tmp_path))
    assert len(rows) == 4
    assert len(ran) == 2
    assert set(again).isdisjoint(ran)


@pytest.mark.usefixtures("_three")
def test_the_page_shows_every_row_and_asks_nobody() -> None:
    page = table_page(document(MACHINE, made(None), 3.0), {"gate_lift": "gate voltage"}, {})
    assert "One gate winding reversed" in page
    assert "40 times" in page
    assert "Cannot happen here" in page
    assert "src=" not in page
    assert 'href="http' not in page


def test_margins_in_words() -> None:
    assert margin_words(0.77) == "23% left"
    assert margin_words(4.0) == "4 times"


def test_a_case_travels_as_plain_data() -> None:
    import json

    case = all_faults.cases(MACHINE.model)["gate-reversed"]
    assert isinstance(case, Case)
    job = json.loads(json.dumps(job_of(case.machine, case.scenario, "ngspice", Budget())))
    assert Machine.model_validate(job["machine"]) == case.machine
    assert Scenario.model_validate(job["scenario"]) == case.scenario


def test_a_title_makes_no_other_case_and_a_value_does() -> None:
    case = all_faults.cases(MACHINE.model)["gate-reversed"]
    assert isinstance(case, Case)

    def key(**changes: object) -> str:
        machine = case.machine.model_copy(update=changes)
        return all_faults.kept_as(job_of(machine, case.scenario, "ngspice", Budget()), "engine")

    assert key(title="another") == key()
    assert key(name="another") != key()


@pytest.mark.parametrize("name", ["chisel-brazing", "bar-heating"])
def test_a_situation_beside_the_page_can_be_rehearsed(name: str, tmp_path: Path) -> None:
    """As the page says: the files it names lie beside it, part files too, wherever it was put."""
    with noting() as opened:
        machine = load_machine(ROOT / "scenarios" / name / "machine.toml")
    (tmp_path / "report").mkdir()
    copied(tmp_path / "report" / "scenarios", machine.file, opened)
    files = dict(scenario_files(machine, "machine.toml"))
    situation, text = next(iter(files.items()))
    path = tmp_path / "report" / "scenarios" / f"{situation}.toml"
    path.write_text(text)
    scenario, found = load_scenario(path)
    assert scenario.model.name == situation
    assert found.digest == machine.digest or scenario.model.instead
    page = table_page(document(machine, [], 3.0), {}, {})
    assert "simkit run scenarios/NAME.toml" in page
