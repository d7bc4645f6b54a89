"""The same inputs give the same bytes, run or kept; anything else is run anew.

Nothing outside to compare with: a run is compared with itself.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from simkit import cli
from simkit.studies.scenario.result import dumped, without_timings
from tests.machines import DEMO

SHORT = """
name = "short"
title = "Drive a little above resonance, nothing happens"
machine = "machine.toml"
tail = "0.1 ms"

[start]
load = "cold-steel-weak-field"
margin = "2 %"
settled = "0.15 ms"
"""


@dataclass
class Home:
    """A machine and a scenario of one's own, with a cache."""

    folder: Path
    patch: pytest.MonkeyPatch

    @property
    def scenario(self) -> Path:
        return self.folder / "short.toml"

    def run(self, out: str, *options: str, scenario: Path | None = None) -> dict[str, Any]:
        asked = str(scenario or self.scenario)
        code = cli.run(["run", asked, "--out", str(self.folder / out), "--quiet",
                        "--no-advice", *options])  # fmt: skip
        assert code in (0, 1, 3)
        found: dict[str, Any] = json.loads((self.folder / out / "result.json").read_text())
        return found

    def files(self, out: str) -> dict[str, bytes]:
        root = self.folder / out
        return {
            p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()
        }


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("home")
    shutil.copytree(DEMO.parent, folder / "scenarios")
    (folder / "scenarios" / DEMO.name / "short.toml").write_text(SHORT)
    with pytest.MonkeyPatch.context() as patch:
        yield Home(folder / "scenarios" / DEMO.name, patch)


@pytest.fixture(scope="module")
def first(home: Home) -> dict[str, Any]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SIMKIT_CACHE_DIR", str(home.folder / "cache"))
        return home.run("first", "--jobs", "1")


@pytest.fixture(autouse=True)
def _cache(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIMKIT_CACHE_DIR", str(home.folder / "cache"))


@pytest.mark.slow
def test_one_and_two_workers_leave_the_same_bytes(home: Home, first: dict[str, Any]) -> None:
    again = home.run("again", "--jobs", "2", "--no-cache")
    assert again["numerics"]["total_seconds"] != first["numerics"]["total_seconds"], "it did run"
    assert dumped(without_timings(again)) == dumped(without_timings(first))
    one, two = home.files("first"), home.files("again")
    assert set(one) == set(two)
    assert one["waveforms.npz"] == two["waveforms.npz"]
    assert one["deck.cir"] == two["deck.cir"]


@pytest.mark.slow
def test_so_they_do_through_an_event(home: Home) -> None:
    """Samples of an event run side by side, in whatever order they end."""
    path = home.folder / "pull-out-wide.toml"
    found = [
        home.run(f"event{jobs}", "--jobs", jobs, "--no-cache", "--no-tolerance", scenario=path)
        for jobs in "12"
    ]
    assert found[0]["verdict"] in ("within_limits", "over_limit")
    assert found[0]["numerics"]["whole"] is False
    assert dumped(without_timings(found[0])) == dumped(without_timings(found[1]))
    one, two = home.files("event1"), home.files("event2")
    assert one["waveforms.npz"] == two["waveforms.npz"]


@pytest.mark.slow
def test_an_unchanged_scenario_is_restored_whole_and_says_so(
    home: Home, first: dict[str, Any]
) -> None:
    kept = home.run("kept")
    assert kept["cache"]["made"][:2] == "20"
    assert kept["numerics"] == first["numerics"], "timings are those of the run that was made"
    assert {k: v for k, v in kept.items() if k != "cache"} == {
        k: v for k, v in first.items() if k != "cache"
    }
    one, two = home.files("first"), home.files("kept")
    assert set(one) == set(two)
    changed = {name for name in one if one[name] != two[name]}
    assert changed == {"result.json", "provenance.json", "index.html"}
    assert b"Taken from the cache" in two["index.html"]
    assert b"Taken from the cache" not in one["index.html"]
    old, new = json.loads(one["provenance.json"]), json.loads(two["provenance.json"])
    assert {k: v for k, v in new.items() if k != "cache"} == old
    assert new["cache"] == kept["cache"]


@pytest.mark.slow
def test_a_damaged_entry_is_run_again(home: Home, first: dict[str, Any]) -> None:
    (path,) = (home.folder / "cache" / "results").rglob("*.zip")
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    again = home.run("repaired")
    assert again["cache"] is None
    assert dumped(without_timings(again)) == dumped(without_timings(first))
    assert home.run("repaired")["cache"] is not None, "and kept again"


def key_changes(home: Home, *options: str) -> bool:
    """Whether a command would not find the kept result; runs no circuit."""
    from simkit.studies.scenario import study as one

    asked: list[str] = []

    def refuse(store: Any, key: str, folder: Path) -> dict[str, Any]:
        asked.append(key)
        return {"verdict": "no_verdict", "reason": "", "cache": {"made": ""}}

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(one, "restore", refuse)
        cli.run(["run", str(home.scenario), "--out", str(home.folder / "x"), "--quiet",
                 "--no-advice", *options])  # fmt: skip
    kept = {p.name.partition(".")[0] for p in (home.folder / "cache" / "results").rglob("*.zip")}
    return asked[0] not in kept


def test_what_changes_the_answer_changes_the_key(
    home: Home, first: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from simkit.run import cached
    from simkit.studies.scenario import result_cache as kept

    assert not key_changes(home)
    assert not key_changes(home, "--jobs", "2")
    assert key_changes(home, "--csv")
    assert key_changes(home, "--whole")
    assert key_changes(home, "--set", "drive.dead_time=0.71 us")
    monkeypatch.setattr(kept, "code_digest", lambda: "another version of the code")
    assert key_changes(home)
    monkeypatch.undo()
    monkeypatch.setenv("SIMKIT_CACHE_DIR", str(home.folder / "cache"))
    monkeypatch.setattr(kept, "identity_of", lambda engine: "another engine")
    assert key_changes(home)
    assert cached.identity_of is not kept.identity_of


def test_a_comment_changes_the_file_but_not_the_answer(home: Home, first: dict[str, Any]) -> None:
    written = home.scenario.read_text()
    try:
        home.scenario.write_text(
            written + "# a remark at the end, so that every line keeps its number\n"
        )
        assert key_changes(home) is False, "loaded anew, it comes to the same values"
        home.scenario.write_text(written.replace("0.15 ms", "0.16 ms"))
        assert key_changes(home)
    finally:
        home.scenario.write_text(written)
