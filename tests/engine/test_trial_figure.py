"""A trial figure, declared in a module of its own outside the tree, is found wherever figures are.

Nothing else is told of it: the house's own rule that a figure is one file. Its value is held
against the square root of two times the rms value that another figure has of the same voltage (a
sine's peak; 2 %: the capacitors' voltage in a tank of loaded Q above 5 is nearly one).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from math import sqrt
from typing import Any

import numpy as np
import pytest

import simkit.figures
from docs.pages import quantities_page
from simkit.figures.table import figures
from simkit.live.answers import Question, answered
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.report.html import draw, page
from simkit.result.described import json_schema
from simkit.result.document import Result
from simkit.studies.explain.study import explained
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps.calibrate import predict
from simkit.studies.maps.cases import fast
from simkit.studies.scenario.result import result_of
from simkit.studies.scenario.view import report_view
from tests.machines import DEMO

NAME, TITLE = "trial_bank_peak", "trial voltage, peak"
MODULE = f'''
from simkit.figures.measured import peak
from simkit.figures.record import Bound, Fast, Figure, Words

FIGURES = (
    Figure(
        name="{NAME}",
        part="tank capacitor",
        unit="V",
        words=Words(title="{TITLE}", what="On trial.", why="Punctures the film.", how="Largest.",
                    formula="max", scope="Divider.", change="More cans.", moved_by=("tank.cans",)),
        place="trial.py",
        limit=lambda machine: Bound(3.0 * machine.tank.can_voltage, "three times tank.can_voltage"),
        measured=peak("tank capacitor", lambda waves: waves.bank_voltage),
        fast=Fast(course=lambda event: event.cycles.bank_voltage_peak,
                  point=lambda machine, point: point.bank_voltage_peak),
    ),
)
'''


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    folder = tmp_path_factory.mktemp("figures")
    (folder / "trial.py").write_text(MODULE)
    simkit.figures.__path__.append(str(folder))
    figures.cache_clear()
    yield
    simkit.figures.__path__.remove(str(folder))
    sys.modules.pop("simkit.figures.trial", None)
    figures.cache_clear()


@pytest.fixture(scope="module")
def loaded(trial: None) -> tuple[Any, Any]:
    return load_scenario(DEMO / "pull-out-cold.toml")


@pytest.fixture(scope="module")
def found(loaded: tuple[Any, Any]) -> Rehearsal:
    scenario, machine = loaded
    return Rehearser().rehearse(machine.model, scenario.model)


@pytest.fixture(scope="module")
def result(found: Rehearsal, loaded: tuple[Any, Any]) -> Result:
    scenario, machine = loaded
    return result_of(found, machine, scenario, 1.0)


def test_it_is_judged_with_its_error(result: Result) -> None:
    rows = {row.quantity: row for row in result.limits}
    mine, rms = rows[NAME], rows["can_voltage_rms"]
    assert mine.value == pytest.approx(sqrt(2.0) * (rms.value or 0.0), rel=0.02)
    assert 0.0 < (mine.error or 0.0) < 0.05 * (mine.value or 0.0)
    assert mine.status == "ok"


def test_the_samples_do_not_hide_what_lies_between_them(found: Rehearsal) -> None:
    assert not found.is_whole
    assert NAME in found.scout.courses()
    assert NAME in found.scout.scaled(found.first_pass)


def test_the_page_shows_it(found: Rehearsal, result: Result, loaded: tuple[Any, Any]) -> None:
    view = report_view(found, result, loaded[1])
    text = page(view, draw(view))
    assert TITLE in text
    assert "three times tank.can_voltage" in text  # beside its bar; why and what to do when over


@pytest.mark.slow
def test_a_map_begins_with_the_fast_model_s_and_learns_its_factor(loaded: tuple[Any, Any]) -> None:
    scenario, machine = loaded
    quick = fast(machine.model, scenario.model)
    assert 0.0 < quick["limits"][NAME] < 1.0
    # A circuit that always shows a tenth more than the fast model: the map learns that factor.
    points = np.linspace(0.0, 1.0, 8)[:, None]
    bases = (0.5 + 0.04 * points[:, 0]).tolist()
    rows = [quick | {"limits": {NAME: base}} for base in bases]
    full = {k: {"limits": {NAME: {"ratio": 1.1 * base}}} for k, base in enumerate(bases)}
    told = predict(points, rows, full)[NAME]
    np.testing.assert_allclose(told.ratio, 1.1 * np.array(bases), rtol=1e-6)


def test_the_local_page_explain_and_the_docs_know_it(trial: None) -> None:
    rows = answered(DEMO / "machine.toml", Question({}, None, None))["limits"]
    assert [r["name"] for r in rows if r["quantity"] == NAME] == [f"tank capacitor: {TITLE}"]
    assert explained(NAME).title == TITLE
    assert f"`{NAME}`" in quantities_page()
    rows_of = json_schema()["properties"]["limits"]["items"]["properties"]
    assert NAME in rows_of["quantity"]["enum"]


def test_a_figure_that_does_not_say_how_it_is_followed_is_refused() -> None:
    from simkit.figures.record import Fast, Figure

    words = figures()["flux_peak"].words
    with pytest.raises(ValueError, match="say in Fast"):
        Figure("bare", "tank", "V", words, "", None, fast=Fast())
