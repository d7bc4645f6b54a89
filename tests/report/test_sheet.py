"""The bring-up sheet on paper, through a headless browser, and the readings file beside it."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path

import pytest

from benchmarks.scenarios import shaken
from benchmarks.sheet_whole import MACHINES, RESULTS, wrong
from simkit.errors import InputError
from simkit.parameters.read_readings import load_readings
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.cache import default_store
from simkit.run.workers import Workers
from simkit.studies.bring_up.folder import write_sheet
from simkit.studies.bring_up.sheet import document
from simkit.studies.bring_up.study import BringUpResult, bring_up, setting_of, settled_stages
from simkit.studies.bring_up.trials import Rehearsals, cases_at
from simkit.studies.inputs.loading import load_machine
from tests.machines import DEMO
from tests.once import shared_by_all
from tests.report.browser import PROGRAM, Page

PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
"""Width and height [in]: ISO 216 and ANSI/ASME Y14.1, recalled from memory."""
ATTACK = "</script><script>x</script><img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[BringUpResult, Path]:
    """From what tests of the verb have rehearsed, or they from this."""
    machine = load_machine(DEMO / "machine.toml", {"title": json.dumps(ATTACK)})
    with pytest.MonkeyPatch.context() as patch, Workers(2) as crew:
        patch.setenv("SIMKIT_CACHE_DIR", str(shared_by_all(tmp_path_factory) / "kept-by-all"))
        result = bring_up(machine, Rehearser(), where=Rehearsals(default_store("cases"), crew))
    target = tmp_path_factory.mktemp("sheet") / "bring-up"
    return result, write_sheet(target, result, machine, document(result, machine, 1.0))


@pytest.mark.study
@pytest.mark.usefixtures("kept_by_all")
def test_what_the_sheet_allows_at_working_power_holds_run_whole() -> None:
    """Its last stage again, every cycle of the event through the circuit: nothing sampled."""
    machine = load_machine(DEMO / "machine.toml").model
    with Workers(2) as crew:
        kept = Rehearsals(default_store("cases"), crew)
        stages, trials = settled_stages(machine, kept, None)
    last = trials[len(stages) - 1]
    assert last.step
    whole = Rehearser(settings=Settings(whole=True, jobs=2))
    cases = cases_at(machine, setting_of(machine, stages[-1]), last.frequency)
    for kind, case in cases.items():
        told = next((t.verdict for t in last.here if t.kind == kind), "within_limits")
        found = whole.rehearse(case.machine, shaken(case.scenario)).verdict.outcome
        assert found == told, (kind, found, told)


@pytest.mark.slow
@pytest.mark.parametrize("name", MACHINES)
def test_the_record_of_whole_runs_covers_every_stage(name: str) -> None:
    """`benchmarks/sheet_whole.py` runs them, for half an hour; here its record alone is read."""
    rows = [row for row in json.loads(RESULTS.read_text()) if row["machine"] == name]
    kinds = {row["case"] for row in rows}
    assert {"kept", "warm-through", "lift", "drop-in"} <= kinds
    stages = {row["stage"] for row in rows if row["case"] == "lift"}
    assert stages == set(range(min(stages), 1 + max(row["stage"] for row in rows)))
    assert not any(wrong(row) for row in rows)


@pytest.mark.slow
@pytest.mark.skipif(PROGRAM is None, reason="no browser here")
@pytest.mark.parametrize("paper", PAPERS)
def test_the_sheet_prints_whole(made: tuple[BringUpResult, Path], paper: str) -> None:
    width, height = PAPERS[paper]
    with Page() as page:
        page.open(made[1] / "index.html")
        answer = page.call("Page.printToPDF", paperWidth=width, paperHeight=height,
                           printBackground=False)  # fmt: skip
        # Paper is 96 dots an inch in CSS less the margins of 13 mm: nothing may stand out of it.
        page.call("Emulation.setEmulatedMedia", media="print")
        page.call("Emulation.setDeviceMetricsOverride", width=int((width - 1.02) * 96),
                  height=900, deviceScaleFactor=1, mobile=False)  # fmt: skip
        overflow = page.ask("document.documentElement.scrollWidth - window.innerWidth")
        assert page.troubles() == []
    content = base64.b64decode(answer["data"])
    assert content.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page[^s]", content))
    # Seven stages with two pictures each, and the tables: not on fewer, and not one a page.
    assert 5 <= pages <= 16
    assert overflow <= 0


@pytest.mark.slow
def test_each_stage_has_readings_inside_their_own_interval(
    made: tuple[BringUpResult, Path],
) -> None:
    result = made[0]
    for stage in result.stages:
        assert stage.expected
        assert all(e.low < e.value < e.high for e in stage.expected)


@pytest.mark.slow
def test_the_readings_file_loads_once_something_is_filled_in(
    made: tuple[BringUpResult, Path],
) -> None:
    file = made[1] / "readings.toml"
    text = file.read_text(encoding="utf-8")
    with pytest.raises(InputError, match="nothing was read"):
        load_readings(file)
    filled = file.with_name("filled.toml")
    filled.write_text(
        text.replace('# resonance = { value = ""', 'resonance = { value = "78 kHz"', 1),
        encoding="utf-8",
    )
    read = [list(p.read()) for p in load_readings(filled).model.points]
    assert next(x for one in read for x in one)[:2] == ("resonance", 78e3)
    with pytest.raises(InputError, match="nothing was read"):
        load_readings(made[1] / "readings.csv")


@pytest.mark.slow
def test_names_are_escaped_and_nothing_may_be_fetched(made: tuple[BringUpResult, Path]) -> None:
    text = (made[1] / "index.html").read_text(encoding="utf-8")
    assert "&lt;img" in text
    assert "<img" not in text
    assert "<script" not in text
    assert "Content-Security-Policy\" content=\"default-src 'none'; style-src" in text
