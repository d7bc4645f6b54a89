"""Events cut by the scenario's `ends`: told, never within the limits checked; or wrong input."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from simkit.circuit.timeline import timeline
from simkit.errors import InputError
from simkit.judge.verdict import Verdict
from simkit.rehearsal.cut_events import told
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.scenario.result import _events
from simkit.studies.scenario.view import _event
from tests.machines import DEMO

HOT = (DEMO / "pull-out-hot.toml").read_text().replace('speed = "1 m/s"', 'duration = "2 ms"')
"""Settled for 0.5 ms, then a pull-out that takes 2 ms."""


def scenario(folder: Path, line: str) -> Path:
    (folder / "machine.toml").write_bytes((DEMO / "machine.toml").read_bytes())
    path = folder / "cut.toml"
    path.write_text(HOT.replace('tail = "0.5 ms"', f'tail = "0.5 ms"\n{line}'))
    return path


def test_an_event_that_ends_cuts_is_told(tmp_path: Path) -> None:
    loaded, machine = load_scenario(scenario(tmp_path, 'ends = "0.4 ms"'))
    line = timeline(machine.model, loaded.model)
    assert [e.name for e in line.cut] == ["pull-out"]
    assert "pull-out takes until 2.5 ms, but the run ends before" in loaded.warnings[-1]
    (event,) = _events(line)
    assert event.cut_s == pytest.approx(0.9e-3)
    assert event.end_s == pytest.approx(2.5e-3)
    shown = _event(line.events[0], line.end)
    assert (shown.end, "cut" in repr(shown)) == (pytest.approx(0.9e-3), True)


@pytest.mark.parametrize(
    ("outcome", "said"),
    [("within_limits", "no_verdict"), ("no_verdict", "no_verdict"), ("over_limit", "over_limit")],
)
def test_no_cut_event_is_within_the_limits(tmp_path: Path, outcome: str, said: str) -> None:
    loaded, machine = load_scenario(scenario(tmp_path, 'ends = "0.4 ms"'))
    line = timeline(machine.model, loaded.model)
    found = told(Verdict(outcome, "So it was.", None), line)  # type: ignore[arg-type]
    assert found.outcome == said
    assert "ends at 900 us, in the midst of pull-out (20% of it done)" in found.reason
    assert "So it was." in found.reason


def test_an_event_seen_through_is_not_cut(tmp_path: Path) -> None:
    for line in ("", 'ends = "2 ms"', 'ends = "2.2 ms"'):
        loaded, machine = load_scenario(scenario(tmp_path, line))
        course = timeline(machine.model, loaded.model)
        assert course.cut == ()
        assert loaded.warnings == ()
        assert _events(course)[0].cut_s is None
    assert replace(course, end=course.events[0].end).cut == ()


def test_an_event_after_the_end_is_wrong_input(tmp_path: Path) -> None:
    path = scenario(tmp_path, 'ends = "0.4 ms"')
    path.write_text(path.read_text().replace('at = "0 s"', 'at = "0.4 ms"'))
    with pytest.raises(InputError, match=r"cut.toml:\d+: events.0.at: begins when the run is over"):
        load_scenario(path)


def test_a_charge_of_a_material_nobody_knows_is_wrong_input(tmp_path: Path) -> None:
    path = scenario(tmp_path, "")
    path.write_text(
        path.read_text()
        + """
[aftermath]
time = "1800 s"
begins = "cold"
heatsink_heat_capacity = "500 J/K"

[aftermath.charge]
material = "bras"
mass = "150 g"
start = "30 degC"
target = "1000 degC"
radiating_area = "20 cm^2"
emissivity = 0.8
insulation = "3 K/W"
"""
    )
    with pytest.raises(InputError, match=r"aftermath.charge.material: .*did you mean brass\?"):
        load_scenario(path)
