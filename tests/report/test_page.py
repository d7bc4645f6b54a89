"""The report page of a real rehearsal: self-contained, escaped, the same twice."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simkit.parameters.load import Loaded
from simkit.report.downsample import minmax
from simkit.report.html import draw, page, to_do
from simkit.report.view import ReportView
from simkit.run.process import NgspiceEngine
from simkit.studies.event import Settings, rehearse
from simkit.studies.loading import load_scenario
from simkit.studies.results import document, dumped, write_folder
from simkit.studies.view import report_view
from tests.machines import DEMO


@pytest.fixture(scope="module")
def run() -> tuple[Any, dict[str, Any], Loaded[Any]]:
    scenario, machine = load_scenario(DEMO / "drop-in.toml")
    engine = NgspiceEngine()
    found = rehearse(
        machine.model,
        scenario.model,
        lambda deck, progress: engine.run(deck.text, deck.saved, deck.stop, progress=progress),
        settings=Settings(jobs=2),
    )
    return found, document(found, machine, scenario, 1.0), machine


@pytest.fixture(scope="module")
def view(run: tuple[Any, dict[str, Any], Loaded[Any]]) -> ReportView:
    return report_view(*run)


def test_page_asks_nothing_of_the_network_and_stays_small(view: ReportView) -> None:
    text = page(view, draw(view))
    assert "default-src 'none'" in text
    assert not re.search(r"""(src|href)\s*=\s*["']?[^"'#\s]""", text)
    assert "http" not in re.sub(r"http-equiv", "", text)
    assert "<script" not in text
    assert len(text) < 2_000_000


def test_names_are_escaped(view: ReportView) -> None:
    hostile = replace(view, title="<img src=x onerror=alert(1)>", reason="</p><script>x</script>")
    text = page(hostile, draw(view))
    assert "<img" not in text
    assert "<script" not in text
    assert "&lt;img" in text


def test_same_rehearsal_same_page(view: ReportView) -> None:
    assert page(view, draw(view)) == page(view, draw(view))


def test_verdict_comes_first_and_worst_limit_leads_the_table(view: ReportView) -> None:
    text = page(view, draw(view))
    assert text.index('id="verdict"') < text.index('id="todo"') < text.index('id="limits"')
    assert to_do(view)[0].ratio == max(r.ratio or 0.0 for r in view.limits)
    for caution in view.cautions:
        assert caution.split(";")[0] in text


def test_every_contract_key_is_there(run: tuple[Any, dict[str, Any], Loaded[Any]]) -> None:
    import jsonschema

    from simkit.parameters.schema import json_schema

    result = json.loads(dumped(run[1]))
    jsonschema.validate(result, json_schema("result"))
    assert result["schema"] == "simkit.result/1"
    assert {"frequency_hz", "phase_deg", "turn_off_current_a", "loaded_q"} <= set(
        result["operating_point"]["before"]
    )
    assert abs(result["numerics"]["energy_residual"]) <= 0.01


def test_drop_in_goes_from_inductive_to_capacitive(
    run: tuple[Any, dict[str, Any], Loaded[Any]],
) -> None:
    result = run[1]
    assert result["mode"][0]["mode"] == "inductive"
    assert result["mode"][-1]["mode"] == "capacitive"
    assert result["verdict"] == "over_limit"
    assert result["recovery"]["peak_current_a"] > 5.0


def test_folder_appears_whole_and_a_failure_leaves_the_old_one(
    run: tuple[Any, dict[str, Any], Loaded[Any]], view: ReportView, tmp_path: Path
) -> None:
    found, result, _ = run

    def report(fresh: Path) -> None:
        from simkit.report.html import write_report

        write_report(fresh, view)

    folder = write_folder(tmp_path / "out", found, result, report)
    names = {p.name for p in folder.iterdir()}
    assert names == {"index.html", "result.json", "waveforms.npz", "figures", "deck.cir",
                     "engine.log", "provenance.json"}  # fmt: skip
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}

    def broken(_fresh: Path) -> None:
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        write_folder(tmp_path / "out", found, result, broken)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 400), st.integers(2, 3000), st.integers(0, 2**32 - 1))
def test_overview_keeps_every_extreme(bins: int, count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.sort(rng.random(count))
    time[0], time[-1] = 0.0, 1.0
    values = rng.normal(size=count)
    values[rng.integers(count)] = 50.0
    low, high = minmax(time, values, bins)
    assert high.max() == values.max()
    assert low.min() == values.min()
