"""No verb writes over somebody's work: a folder that is no report, a file it did not write.

No standard to compare with: the rule is the project's own. Each verb is shown to refuse before it
runs anything, with what stood there kept byte for byte; and that it takes a place it may take is
shown by the last tests, so that a verb which refused everything would fail.
"""

import os
from pathlib import Path

import pytest

from simkit import cli
from simkit.errors import InputError
from simkit.studies.output.report_place import check_file, check_target
from simkit.verbs.deck import RENDERED
from simkit.verbs.fit import FITTED
from tests.robust.faults import DEMO, contents, short_scenario

READINGS = """[[points]]
supply_voltage = "30 V"
frequency = "80 kHz"

[[points.readings]]
what = "supply_current"
value = "0.4 A"
"""
CHANGE = """title = "Slower gates"

[changes.slower]
title = "Slower"
machine.drive.dead_time = "0.9 us"
"""
VERBS = {
    "run": ["run", "short.toml"],
    "all-faults": ["run", "--all-faults", "machine.toml"],
    "bring-up": ["bring-up", "machine.toml"],
    "compare": ["compare", "machine.toml", "change.toml"],
    "fit": ["fit", "machine.toml", "readings.toml"],
    "map": ["map", "short.toml", "--vary", "drive.dead_time=5 %"],
    "part": ["part", "machine.toml", "--piece", "cold-steel-weak-field"],
    "protect": ["protect", "short.toml"],
}


def _folder(place: Path) -> None:
    place.mkdir()
    (place / "letter.txt").write_text("mine")


def _file(place: Path) -> None:
    place.write_text("mine")


def _link(place: Path) -> None:
    (place.parent / "real").mkdir()
    place.symlink_to("real")


def _below_a_file(place: Path) -> None:
    _file(place.parent / "f")
    place.symlink_to("f")


def _other_report(place: Path) -> None:
    """Some other tool's folder with an index.html; or another verb's mark as a folder."""
    place.mkdir()
    (place / "index.html").write_text("mine")
    for mark in ("compare.json", "map.json", "fit.json", "sheet.json", "piece.json",
                 "protect.json", "result.json"):  # fmt: skip
        (place / mark).mkdir()


PLACES = {
    "somebody's folder": _folder,
    "a file": _file,
    "a link to a folder": _link,
    "a link to a file": _below_a_file,
    "folders named like a report's files": _other_report,
}


@pytest.fixture
def shared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "in"
    short_scenario(folder)
    (folder / "readings.toml").write_text(READINGS)
    (folder / "change.toml").write_text(CHANGE)
    monkeypatch.chdir(folder)
    monkeypatch.setattr("simkit.run.process.start_worker", _never)
    return folder


def _never(*_: object, **__: object) -> None:
    raise AssertionError("something is run before the place was looked at")


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("verb", VERBS)
def test_out(verb: str, place: str, shared: Path, capsys: pytest.CaptureFixture[str]) -> None:
    PLACES[place](shared / "there")
    before = contents(shared)
    assert cli.run([*VERBS[verb], "--out", "there"]) == 2
    assert contents(shared) == before
    said = capsys.readouterr().err
    assert "--out" in said
    assert "there" in said


@pytest.mark.parametrize("verb", VERBS)
def test_out_is_the_current_folder(verb: str, shared: Path) -> None:
    before = contents(shared)
    for place in (".", "..", "../in", str(shared)):
        assert cli.run([*VERBS[verb], "--out", place]) == 2
    assert contents(shared) == before


def _mine(place: Path) -> None:
    place.write_text("mine")


OUTPUTS = {
    "deck": ["deck", "short.toml", "--no-engine"],
    "fit": ["fit", "machine.toml", "readings.toml"],
}
FILES = {
    "somebody's file": _mine,
    "a folder": Path.mkdir,
    "a pipe": os.mkfifo,
    "a link to somebody's file": lambda p: (_mine(p.parent / "m"), p.symlink_to("m")),
    "a link to nothing": lambda p: p.symlink_to("nowhere"),
    "its own scenario or machine": lambda p: os.link(p.parent / "machine.toml", p),
}


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("verb", OUTPUTS)
def test_output_file(
    verb: str, file: str, shared: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    FILES[file](shared / "there")
    before = contents(shared)
    assert cli.run([*OUTPUTS[verb], "-o", "there"]) == 2
    assert contents(shared) == before
    assert "-o" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["..", "../x", "/tmp/x", "a/b", "~", "", "A", "x" * 200, ".x"])
def test_new(name: str, shared: Path) -> None:
    before = contents(shared.parent)
    assert cli.run(["new", "--defaults", "--", name]) == 2
    assert contents(shared.parent) == before


def test_new_leaves_a_folder_that_is_there(shared: Path) -> None:
    _folder(shared / "shop")
    (shared / "link").symlink_to("nowhere")
    before = contents(shared)
    assert [cli.run(["new", name, "--defaults"]) for name in ("shop", "link")] == [2, 2]
    assert contents(shared) == before


def test_schema_writes_nothing(shared: Path) -> None:
    before = contents(shared)
    assert cli.run(["schema", "machine"]) == 0
    assert contents(shared) == before


def test_a_deck_replaces_an_older_deck(shared: Path) -> None:
    assert cli.run(["deck", "short.toml", "--no-engine", "-o", "a.cir"]) == 0
    first = (shared / "a.cir").read_text()
    assert RENDERED in first
    change = ["--set", "drive.dead_time=0.9 us"]
    assert cli.run(["deck", "short.toml", "--no-engine", "-o", "a.cir", *change]) == 0
    assert (shared / "a.cir").read_text() != first
    assert not [p.name for p in shared.iterdir() if p.name.startswith(".")]


def test_a_fitted_machine_may_be_replaced_but_not_what_is_read(tmp_path: Path) -> None:
    fitted = tmp_path / "fitted.toml"
    fitted.write_text((DEMO / "machine.toml").read_text() + FITTED)
    check_file(fitted, (DEMO / "machine.toml",), FITTED)
    with pytest.raises(InputError, match="reads"):
        check_file(fitted, (fitted,), FITTED)


def test_an_older_report_may_be_replaced(tmp_path: Path) -> None:
    check_target(tmp_path / "new")
    _folder(tmp_path / "old")
    with pytest.raises(InputError, match=r"it has no map\.json"):
        check_target(tmp_path / "old", mark="map.json")
    (tmp_path / "old" / "map.json").write_text("{}")
    check_target(tmp_path / "old", mark="map.json")
