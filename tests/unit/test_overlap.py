"""Gates that leave nothing of the dead time: never within the limits checked, in any verb.

The delays are those of `gate_delays`, held against an RC by hand in test_scout_drive.py.
"""

from __future__ import annotations

from typing import Any

import pytest

from simkit.circuit.timeline import timeline
from simkit.figures.table import figures
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.overlap import courses, row
from simkit.scout.drive import dead_time_left
from simkit.studies.check.study import check_machine
from tests.machines import demo, varied


def taken(machine: Machine, *events: dict[str, Any]) -> list[tuple[float, bool]]:
    """Since when, and whether both switches of a leg are on at once."""
    scenario = Scenario.model_validate({
        "name": "a", "machine": "machine.toml", "tail": 1e-4, "events": events,
        "start": {"load": "steel-hot", "margin": 0.04, "settled": 1e-4},
    })  # fmt: skip
    found = courses(machine, timeline(machine, scenario))
    return [(t.time, t.too_much) for t in found]


def test_the_machines_own_dead_time_is_enough() -> None:
    assert taken(demo()) == [(0.0, False)]


def test_slow_gates_overlap_from_the_start() -> None:
    assert taken(varied(demo(), {"drive.gate_resistor": 200.0})) == [(0.0, True)]
    assert taken(varied(demo(), {"drive.dead_time": 5e-8})) == [(0.0, True)]


def test_no_dead_time_is_over_from_then_on() -> None:
    event = {"kind": "dead-time", "at": 2e-5, "dead_time": 0.0}
    assert taken(demo(), event) == [(0.0, False), (pytest.approx(1.2e-4), True)]
    late = {"kind": "turn-off-delay", "at": 2e-5, "switches": (1,), "delay": 1e-6}
    assert taken(demo(), late)[1][1]
    again = event | {"at": 4e-5, "dead_time": 6e-7}
    assert [over for _, over in taken(demo(), event, again)] == [False, True, False]


@pytest.mark.slow
def test_check_and_run_draw_the_same_line() -> None:
    """Over where less than the driver's edge is left, for resistors on both sides of that."""
    seen = set()
    for resistor in (6.8, 60.0, 90.0, 100.0, 110.0, 120.0, 200.0):
        machine = varied(demo(), {"drive.gate_resistor": resistor})
        rows = {r.quantity: r for r in check_machine(machine)}
        over = rows["dead time left by the gates"].status == "over"
        assert [(0.0, over)] == taken(machine)
        assert over == (dead_time_left(machine) < machine.drive.edge_time)
        seen.add(over)
    assert seen == {True, False}


def test_as_a_judged_figure_it_is_over_with_its_words() -> None:
    machine = varied(demo(), {"drive.dead_time": 5e-8})
    line = timeline(machine, Scenario.model_validate({
        "name": "a", "machine": "machine.toml", "tail": 1e-4,
        "start": {"load": "steel-hot", "margin": 0.04, "settled": 1e-4},
    }))  # fmt: skip
    found = row(list(courses(machine, line)))
    assert found.status == "over"
    assert found.ratio is not None
    assert found.ratio > 1.0
    assert found.quantity in figures()
