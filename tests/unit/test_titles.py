"""A title is what a person may add: without one, the name stands for it."""

from __future__ import annotations

import re
from pathlib import Path

from simkit.parameters.change import load_changes, overlays
from simkit.studies.inputs.loading import load_scenario
from tests.machines import DEMO


def test_files_without_titles_take_their_names(tmp_path: Path) -> None:
    for name in ("machine.toml", "pull-out-hot.toml"):
        text = re.sub(r"(?m)^title = .*\n", "", (DEMO / name).read_text())
        assert "title" not in text
        (tmp_path / name).write_text(text)
    scenario, machine = load_scenario(tmp_path / "pull-out-hot.toml")
    assert scenario.model.title == "pull out hot"
    assert machine.model.title == "chisel brazing"
    assert machine.model.workpieces["steel-hot"].title == "steel hot"


def test_titles_that_are_given_stay() -> None:
    scenario, machine = load_scenario(DEMO / "pull-out-hot.toml")
    assert scenario.model.title == "Hot shank pulled out, drive just above resonance"
    assert "title" in machine.model.workpieces["steel-hot"].model_fields_set


def test_a_change_without_a_title_takes_its_name(tmp_path: Path) -> None:
    path = tmp_path / "five.toml"
    path.write_text("[changes.more-turns]\nmachine.transformer.primary_turns = 26\n")
    found = load_changes(path).model
    assert found.title == "more turns"
    assert [o.title for o in overlays(found)] == ["more turns"]
