"""Edges a machine's gate loops make, and the diode estimate beside the part's own formula."""

from __future__ import annotations

from math import log

import numpy as np
import pytest

from simkit.parameters.machine import Bridge, Channel, Drive, Machine, Supply, Switch
from simkit.scout.drive import dead_time_left, gate_delays, machine_edges, plateau_delay
from simkit.scout.halfwave import Edges
from simkit.scout.plant import Plant
from simkit.scout.steady import outputs_at, steady, waveforms
from simkit.scout.turnoff import turn_off
from tests.machines import demo

CHANNEL = Channel.model_construct(
    threshold=4.0, gate_resistance=1.0, gate_source_capacitance=3e-9,
    gate_drain_capacitance_max=2e-9, gate_drain_capacitance_min=5e-11, drain_resistance=0.05,
    transconductance=20.0, gate_drain_slope=0.4,
    output_capacitance_zero=2e-9, junction_potential=0.8, junction_grading=0.5,
)  # fmt: skip


def _machine(**drive: object) -> Machine:
    values = {
        "dead_time": 6e-7, "voltage_on": 12.0, "voltage_off": 0.0, "isolation": "ideal",
        "source_resistance": 2.0, "sink_resistance": 1.0, "gate_resistor": 10.0,
        "turn_off_resistor": None, "loop_inductance": 20e-9, "transformer": None,
    }  # fmt: skip
    return Machine.model_construct(
        supply=Supply.model_construct(voltage=300.0),
        bridge=Bridge.model_construct(topology="full"),
        switch=Switch.model_construct(
            channel=CHANNEL,
            diode=demo().switch.diode,
            package=demo().switch.package,
            ratings=demo().switch.ratings,
        ),
        drive=Drive.model_construct(**(values | drive)),
    )


def test_gate_delays_are_those_of_an_rc() -> None:
    """By hand: 12 ohm on 5 nF falling from 12 to 4 V, 13 ohm on 3.05 nF rising to 4 of 12 V."""
    found = gate_delays(_machine())
    assert found.off == pytest.approx(12 * 5e-9 * log(3.0), rel=1e-12)
    assert found.on == pytest.approx(13 * 3.05e-9 * log(1.5), rel=1e-12)


def test_a_turn_off_resistor_and_a_negative_level_quicken_turn_off() -> None:
    plain = gate_delays(_machine()).off
    assert gate_delays(_machine(turn_off_resistor=10.0)).off == pytest.approx(plain * 7 / 12)
    assert gate_delays(_machine(voltage_off=-4.0)).off == pytest.approx(plain * log(2) / log(3))


def test_edges_keep_both_ends_of_the_dead_time() -> None:
    """Turn-off command plus its delays, turn-on command plus its own (geometry of the edges)."""
    machine, delays = _machine(), gate_delays(_machine())
    edges = machine_edges(machine)
    plateau = plateau_delay(machine, edges.swing_charge, delays.off)
    assert 0.0 < plateau < 3e-7
    assert -edges.lead == pytest.approx(-3e-7 + delays.off + plateau)
    assert -edges.lead + edges.dead_time == pytest.approx(3e-7 + delays.on)
    assert edges.swing_charge > 0.0


def test_impossible_gates_are_refused() -> None:
    with pytest.raises(ValueError, match="not between"):
        gate_delays(_machine(voltage_on=3.0))


def test_gates_slower_than_the_dead_time_are_a_state_to_start_from() -> None:
    """200 ohm: off after 202 * 5e-9 ln 3 = 1.11 us, on after 203 * 3.05e-9 ln 1.5 = 0.25 us."""
    machine = _machine(gate_resistor=200.0)
    assert dead_time_left(machine) == pytest.approx(
        6e-7 - 202 * 5e-9 * log(3.0) + 203 * 3.05e-9 * log(1.5)
    )
    edges = machine_edges(machine)
    assert 0.0 < edges.dead_time <= 1e-9
    plant = Plant(
        "full", 325.0, 0.2, 8e-6, 2e-3, 22.0, 1e-3, "loop", 4.4e-6, 5e-4, 9e-7, 0.04
    )  # fmt: skip
    assert steady(plant, 82e3, edges).primary_current_peak > 0.0


def test_a_delay_only_shifts_time() -> None:
    """The same steady state, later by the delay; rounding only."""
    plant = Plant(
        "full", 325.0, 0.2, 8e-6, 2e-3, 22.0, 1e-3, "loop", 4.4e-6, 5e-4, 9e-7, 0.04
    )  # fmt: skip
    here, later = Edges(5e-7, 1e-7), Edges(5e-7, 1e-7, 1e-7)
    first, second = steady(plant, 82e3, here), steady(plant, 82e3, later)
    assert second.turn_off_current == first.turn_off_current
    np.testing.assert_allclose(waveforms(second).time - waveforms(first).time, 1e-7, rtol=1e-9)
    ours, theirs = outputs_at(second, 0.3 + 82e3 * 1e-7), outputs_at(first, 0.3)
    assert ours["coil_current"] == pytest.approx(theirs["coil_current"], rel=1e-9)


def test_one_machines_table_of_turn_offs_is_made_once_and_cannot_be_changed() -> None:
    """Edges, losses and delays share it: whoever wrote into it would change the others'."""
    first, again = turn_off(demo(), 325.0), turn_off(demo(), 325.0)
    assert again is first
    assert turn_off(demo(), 300.0).energy[-1] != first.energy[-1]
    with pytest.raises(ValueError, match="read-only"):
        first.energy[0] = 1.0
