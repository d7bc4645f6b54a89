"""Broken machine and scenario files: each is refused in the exact words, and nothing is run.

The cases lie in tests/unit/broken/cases.toml. What is expected there is this project's own wording;
that each case is indeed broken is shown by the base files, which load.
"""

import shutil
import tomllib
from pathlib import Path
from typing import Any, NoReturn

import pytest

from simkit import cli
from simkit.run.process import NgspiceEngine
from simkit.studies.inputs.loading import load_scenario

BROKEN = Path(__file__).parent / "broken"
CASES: list[dict[str, Any]] = tomllib.loads((BROKEN / "cases.toml").read_text("utf-8"))["case"]
FEWEST = 40
"""As many broken files the project promises to have under test."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the whole files, in which starting the engine is an error."""

    def started(*_: object, **__: object) -> NoReturn:
        raise AssertionError("the engine was started")

    monkeypatch.setattr(NgspiceEngine, "__init__", started)
    monkeypatch.chdir(tmp_path)
    for name in ("machine.toml", "scenario.toml"):
        shutil.copy(BROKEN / name, tmp_path)
    return tmp_path


def test_there_are_enough_and_each_is_another() -> None:
    assert len({(c["file"], c["old"], c["new"]) for c in CASES}) == len(CASES) >= FEWEST
    assert len({c["name"] for c in CASES}) == len(CASES)


def test_the_whole_files_load(folder: Path) -> None:
    scenario, machine = load_scenario(folder / "scenario.toml")
    assert (scenario.warnings, machine.warnings) == ((), ())


def test_the_whole_files_reach_the_engine(folder: Path) -> None:
    # So that a case which stops before the engine stops for its own reason.
    assert cli.run(["run", "scenario.toml"]) == 4


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"].replace(" ", "-"))
def test_a_broken_file_is_refused_in_these_words(
    case: dict[str, Any], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = folder / case["file"]
    whole = path.read_text(encoding="utf-8")
    assert whole.count(case["old"]) == 1, "a case is one change"
    path.write_text(whole.replace(case["old"], case["new"]), encoding="utf-8")
    before = sorted(folder.iterdir())

    assert cli.run(["run", "scenario.toml", "--quiet"]) == 2

    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == ["simkit: input", *(f"  {line}" for line in case["says"])]
    assert sorted(folder.iterdir()) == before, "nothing is written"
