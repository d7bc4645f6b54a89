"""The bridge's one description of its topologies, against the textbook circuits."""

from __future__ import annotations

from typing import get_args

import pytest

from simkit.circuit.values import places
from simkit.parameters.bridge import FORMS, Topology
from simkit.scout.plant import plant_from_machine
from tests.machines import BRIDGES, topology


def test_every_topology_is_described_once() -> None:
    assert set(FORMS) == set(get_args(Topology)) == set(BRIDGES)


# A full bridge puts +-V on its load with four switches, a half bridge +-V/2 with two; without a
# midpoint the blocking capacitor carries the other half (any textbook of power electronics,
# Mohan, Undeland, Robbins, ch. 8; recalled from memory).
@pytest.mark.parametrize(
    ("form", "switches", "level", "rest"),
    [("full", 4, 1.0, 0.0), ("half-split", 2, 0.5, 0.0), ("half-blocking", 2, 0.5, 0.5)],
)
def test_legs_levels_and_rests(form: str, switches: int, level: float, rest: float) -> None:
    machine = topology(form, "loop", "ideal")
    assert machine.bridge.switches == len(places(machine)) == switches
    assert machine.bridge.legs == switches // 2
    plant = plant_from_machine(machine, machine.load("empty"))
    assert (plant.level, plant.blocking_rest) == (
        level * plant.supply_voltage, rest * plant.supply_voltage
    )  # fmt: skip


def test_a_row_more_is_known_to_the_whole_chain(monkeypatch: pytest.MonkeyPatch) -> None:
    """A trial topology, a half bridge on a third rail: nothing but its row is told anywhere."""
    machine = topology("half-split", "loop", "ideal")
    form = FORMS["half-split"]
    monkeypatch.setitem(FORMS, "trial", type(form)(("a",), 0.25, "midpoint"))
    tried = machine.model_copy(
        update={"bridge": machine.bridge.model_copy(update={"topology": "trial"})}
    )
    assert (tried.bridge.switches, len(places(tried))) == (2, 2)
    plant = plant_from_machine(tried, tried.load("empty"))
    assert plant.level == 0.25 * plant.supply_voltage
