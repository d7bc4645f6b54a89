"""A rehearsal from Python: the README's script, the frames against the verb's own document."""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import simkit
from simkit.python.outcome import Outcome

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "chisel-brazing"


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    return simkit.load_scenario(DEMO / "pull-out-cold.toml").rehearse()


def test_the_readme_s_script_runs_without_a_guard(tmp_path: Path) -> None:
    """At most twelve lines, in a file of its own: workers must not run it again."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (script,) = re.findall(r"```python\n(.*?)```", text, re.S)
    assert len(script.strip().splitlines()) <= 12
    (tmp_path / "script.py").write_text(script.replace("scenarios/", f"{ROOT}/scenarios/"))
    done = subprocess.run([sys.executable, "script.py"], cwd=tmp_path, capture_output=True,
                          text=True, timeout=300)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("part") == 1  # one table: no worker ran the script again
    assert len(done.stdout.splitlines()) == 6
    assert (tmp_path / "halved.svg").stat().st_size > 10_000


def test_limits_are_the_document_s_worst_first(outcome: Outcome) -> None:
    limits = outcome.limits
    assert len(limits) == len(outcome.document["limits"])
    known = limits["ratio"].dropna()
    assert known.is_monotonic_decreasing
    assert outcome.verdict == "over_limit"
    assert known.iloc[0] > 1.0
    share = limits["value"] / limits["limit"]
    np.testing.assert_allclose(share[known.index], known, rtol=1e-9)


def test_modes_follow_each_other(outcome: Outcome) -> None:
    mode = outcome.mode
    np.testing.assert_allclose(mode["from_s"][1:], mode["to_s"][:-1], atol=1e-12)
    assert mode["mode"].iloc[-1] == "capacitive"  # the piece raised L: leaving lifts resonance


def test_waveforms_hold_the_judged_peak(outcome: Outcome) -> None:
    """Kirchhoff, as a reader of the frame would check it: no gate or drain is out of its column."""
    waves = outcome.waveforms
    assert waves.index.is_monotonic_increasing
    assert waves["q1_drain_source_v"].max() > 0.9 * waves["link_voltage_v"].median()
    assert set(waves.attrs["units"].values()) == {"s", "V", "A"}
    assert len(outcome.rehearsal.whole.waves.time) == len(waves)


def test_a_figure_of_an_unknown_waveform_names_the_known(outcome: Outcome) -> None:
    with pytest.raises(KeyError, match="bridge_voltage_v"):
        outcome.figure("bridge_volts")


def test_a_notebook_is_told_the_verdict_and_its_reach(outcome: Outcome) -> None:
    shown = outcome._repr_html_()
    assert "over a limit" in shown
    assert outcome.document["cautions"][-1].split(",")[0] in shown


def test_the_saved_folder_is_a_report(outcome: Outcome, tmp_path: Path) -> None:
    folder = outcome.save(tmp_path / "mine")
    assert {"index.html", "result.json", "deck.cir"} <= {p.name for p in folder.iterdir()}


def test_a_map_is_a_row_per_case() -> None:
    scenario = simkit.load_scenario(DEMO / "pull-out-wide.toml")
    frame = scenario.map("drive.dead_time=0.5 us..0.7 us/3", sample="full")
    assert frame["drive.dead_time"].tolist() == pytest.approx([0.5e-6, 0.6e-6, 0.7e-6], rel=1e-9)
    assert set(frame["verdict"]) <= {"within_limits", "over_limit", "no_verdict"}
