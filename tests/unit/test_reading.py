"""The one reader: what it refuses, and that nothing a loader opens is forgotten.

Nothing outside to compare with but Python's own audit events, which tell of every file opened.
"""

from __future__ import annotations

import contextvars
import json
import os
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest

from simkit import cli
from simkit.parameters.reading import Missing, Unreadable, file_bytes, file_text, noting, unchanged
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.scenario import study
from tests.machines import ROOT, SHIPPED

BAR = Path("bar-heating") / "draw-out.toml"
"""Its machine takes the switch from a part file: three files in all."""
_OPENS: contextvars.ContextVar[list[Path] | None] = contextvars.ContextVar("opens", default=None)


def _hook(event: str, arguments: tuple[Any, ...]) -> None:
    seen = _OPENS.get()
    if seen is not None and event == "open" and isinstance(arguments[0], (str, os.PathLike)):
        seen.append(Path(arguments[0]))


sys.addaudithook(_hook)


@pytest.fixture
def shared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Shipped machines, to be changed; a cache of their own."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.setenv("SIMKIT_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "scenarios"


def test_what_is_no_plain_file_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path, rule in (
        (Path("/dev/zero"), "is not a file"),
        (tmp_path / "pipe", "is not a file"),
        (tmp_path, "is not a file"),
        (Path(os.fsdecode(bytes(tmp_path / "x") + b"\xff")), "its name is not UTF-8 text"),
    ):
        with pytest.raises(Unreadable, match=rule):
            file_bytes(path)
    for path in (tmp_path / "none", tmp_path / "none" / "a", Path("a\0b")):
        with pytest.raises(Missing):
            file_bytes(path)


def test_no_more_than_agreed_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"x" * 100)
    assert file_text(path, 100) == "x" * 100
    with pytest.raises(Unreadable, match="larger"):
        file_text(path, 99)
    path.write_bytes(b"one\n\xff")
    with pytest.raises(Unreadable, match="not UTF-8") as refused:
        file_text(path)
    assert refused.value.line == 2


def test_notes_nest_and_end(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"x")
    with noting() as outer:
        file_bytes(path)
        with noting() as inner:
            file_bytes(path)
    file_bytes(path)
    assert (len(outer), len(inner)) == (2, 1)
    assert unchanged(outer)
    path.write_bytes(b"xy")
    assert not unchanged(outer)
    path.unlink()
    assert not unchanged(outer)


@pytest.mark.parametrize("scenario", SHIPPED, ids=lambda p: p.stem)
def test_every_file_a_loader_opens_is_noted(scenario: Path) -> None:
    """Part files, and whatever else a machine file may come to name."""
    seen: list[Path] = []
    token = _OPENS.set(seen)
    try:
        with noting() as noted:
            load_scenario(scenario)
    finally:
        _OPENS.reset(token)
    named = {p.resolve() for p in seen if p.resolve().is_relative_to(ROOT / "scenarios")}
    assert named == {Path(o.path).resolve() for o in noted}


def _asked(folder: Path, monkeypatch: pytest.MonkeyPatch, rehearsed: list[Any]) -> list[str]:
    """Arguments of a run whose circuit is not run: a result that holds the switch's rating."""

    def fresh(scenario: Any, machine: Any, folder: Path, *_: Any) -> study.Answer:
        rating = machine.model.switch.ratings.drain_voltage
        rehearsed.append((scenario.model.title, machine.model.title, rating))
        folder.mkdir(parents=True, exist_ok=True)
        found = {"verdict": "within_limits", "reason": f"{rehearsed[-1]}", "cache": None}
        for name in ("result.json", "provenance.json"):
            (folder / name).write_text(json.dumps(found))
        (folder / "index.html").write_text("")
        return study.Answer(found, folder)

    monkeypatch.setattr(study, "_fresh", fresh)
    monkeypatch.setattr(study, "engine", lambda name: name)
    monkeypatch.setattr("simkit.studies.scenario.result_cache.identity_of", str)
    return ["run", str(folder / BAR), "--quiet"]


@pytest.mark.slow
def test_a_kept_verdict_does_not_outlive_any_file_it_came_from(
    shared: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rehearsed: list[Any] = []
    arguments = _asked(shared, monkeypatch, rehearsed)
    with noting() as noted:
        load_scenario(shared / BAR)
    paths = [Path(path) for path in dict.fromkeys(o.path for o in noted)]
    assert [path.name for path in paths] == [
        "draw-out.toml",
        "machine.toml",
        "class-600v-planar.toml",
    ]
    assert [cli.run(arguments), cli.run(arguments), len(rehearsed)] == [0, 0, 1]
    title = "title = ", 'title = "other" #'
    changes = title, title, ('drain_voltage = "600 V"', 'drain_voltage = "400 V"')
    for path, (old, new) in zip(paths, changes, strict=True):
        before = path.read_text()
        assert old in before
        path.write_text(before.replace(old, new, 1))
        assert cli.run(arguments) == 0
        path.write_text(before)
    assert len(rehearsed) == 4
    assert len(set(rehearsed)) == 4
    assert cli.run(arguments) == 0
    assert len(rehearsed) == 4, "as it was at first, it is found again"


@pytest.mark.parametrize("named", ["/dev/zero", "pipe.toml"])
def test_a_scenario_cannot_make_a_run_read_without_end(
    shared: Path, named: str, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(shared / "bar-heating" / "pipe.toml")
    path = shared / BAR
    path.write_text(path.read_text().replace('"machine.toml"', f'"{named}"'))
    assert cli.run(["run", str(path)]) == 2
    assert (
        f"machine: {'must be' if named[0] == '/' else 'is not a file'}" in capsys.readouterr().err
    )
