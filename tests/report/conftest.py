"""One real rehearsal for all tests of pages and figures."""

from pathlib import Path
from typing import Any

import pytest

from simkit.parameters.load import Loaded
from simkit.rehearsal.rehearse import rehearse
from simkit.rehearsal.settings import Settings
from simkit.report.view import ReportView
from simkit.result.document import Result
from simkit.run.process import NgspiceEngine
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.scenario.result import result_of
from simkit.studies.scenario.view import report_view
from tests.machines import DEMO
from tests.report.gallery import write_all


@pytest.fixture(scope="session")
def run() -> tuple[Any, Result, Loaded[Any]]:
    scenario, machine = load_scenario(DEMO / "drop-in.toml")
    engine = NgspiceEngine()
    found = rehearse(
        machine.model,
        scenario.model,
        lambda deck, progress: engine.run(deck.text, deck.saved, deck.stop, progress=progress),
        settings=Settings(jobs=2),
    )
    return found, result_of(found, machine, scenario, 1.0), machine


@pytest.fixture(scope="session")
def view(run: tuple[Any, Result, Loaded[Any]]) -> ReportView:
    return report_view(*run)


@pytest.fixture(scope="session")
def pages(
    run: tuple[Any, Result, Any], view: ReportView, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """A page of each kind."""
    folder = tmp_path_factory.mktemp("pages")
    write_all(folder, view, run[1].as_json())
    return folder
