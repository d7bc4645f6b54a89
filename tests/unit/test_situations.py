"""Every situation drafts a scenario that fits each shipped machine, or says why it cannot be.

What the scenarios come to is in tests/engine/test_situations.py.
"""

from __future__ import annotations

import pytest

from simkit.circuit.commands import OFF, ON, Toggles
from simkit.circuit.timeline import timeline
from simkit.parameters.events import KINDS, Event
from simkit.parameters.instead import Instead, replaced
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearse import abrupt
from simkit.rehearsal.scouting import scouted
from simkit.studies.inputs.contradictions import contradictions
from simkit.studies.inputs.loading import load_machine
from simkit.studies.situations import SITUATIONS, NotHere, cases
from tests.machines import ROOT, demo, scenario, varied

MACHINES = {
    name: load_machine(ROOT / "scenarios" / name / "machine.toml").model
    for name in ("chisel-brazing", "copper-casting")
}


@pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)
@pytest.mark.parametrize("name", [s.name for s in SITUATIONS])
def test_a_situation_fits_the_machine_or_says_why_not(name: str, machine: Machine) -> None:
    case = cases(machine)[name]
    if isinstance(case, NotHere):
        assert len(str(case)) > 20, "a sentence a person understands"
        return
    assert case.scenario.name == name
    assert contradictions(case.machine, case.scenario) == []


def test_names_are_given_once() -> None:
    names = [s.name for s in SITUATIONS]
    assert len(names) == len(set(names))


def test_every_kind_of_event_has_its_row() -> None:
    assert set(KINDS) == set(Event.model_json_schema()["properties"]["kind"]["enum"])


def test_fields_of_the_kinds_are_fields_of_the_event() -> None:
    asked = {n for k in KINDS.values() for need in (*k.needs, *k.may) for n in need.split("|")}
    assert asked <= set(Event.model_fields)


def test_a_replaced_value_is_read_with_its_unit() -> None:
    changed = replaced(demo(), {"drive.gate_resistor": "4.7 ohm", "tank": {"cans": 19}})
    assert changed.drive.gate_resistor == 4.7
    assert changed.tank.cans == 19
    assert demo().drive.gate_resistor != 4.7


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("drive.gate_resistr", 4.7, "not a known name"),
        ("drive.gate_resistor", "4.7 V", "is a voltage"),
        ("bridge.snubber", "absent", "no such part"),
        ("transformer.core_area", "absent", "cannot be left out"),
        ("name.of.nothing", 1, "no such place"),
    ],
)
def test_a_value_that_cannot_be_is_named_with_its_rule(key: str, value: object, says: str) -> None:
    with pytest.raises(Instead) as found:
        replaced(demo(), {key: value})
    assert found.value.key == key
    assert says in found.value.rule


def test_toggles_follow_another_pattern_for_a_while() -> None:
    own = Toggles(False, (1.0, 2.0, 3.0, 4.0))
    held = own.within(1.5, 3.5, ON)
    assert [held.at(t) for t in (0.5, 1.2, 2.5, 3.2, 3.6, 4.5)] == [
        False, True, True, True, True, False,
    ]  # fmt: skip
    assert held.times == (1.0, 4.0), "edges that change nothing are left out"
    cut = own.within(1.5, float("inf"), OFF)
    assert cut.times == (1.0, 1.5)


@pytest.mark.parametrize(
    ("memories", "tail", "whole"),
    [(0.7, 4e-4, True), (8.0, 4e-4, True), (10.0, 4e-4, False), (0.7, 7e-3, False)],
)
@pytest.mark.parametrize("resistance", [None, 0.02])
def test_what_changes_within_nine_memories_runs_whole(
    memories: float, tail: float, whole: bool, resistance: float | None
) -> None:
    """The tank remembers 2L/R. Samples of a turn shorted within half to five times of that told two
    currents a quarter short of a whole run's, without saying so. 500 cycles are 6.3 ms."""
    machine = demo()
    if resistance is not None:
        key = "workpieces.cold-steel-weak-field"
        machine = varied(machine, {f"{key}.resistance": resistance})
    made = scenario(settled=2e-4, margin=0.02).model_dump(exclude_none=True)
    still = scouted(machine, timeline(machine, Scenario.model_validate(made)))
    made["events"] = [{"kind": "shorted-turn", "at": 0.0, "duration": memories * still.memory(0.0),
                       "turns": 5, "coupling": 0.4}]  # fmt: skip
    made["tail"] = tail
    assert abrupt(scouted(machine, timeline(machine, Scenario.model_validate(made)))) is whole
