"""How long a bridge node takes to swing: against the charge of its capacitances, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from simkit.parameters.machine import Machine
from simkit.parts.mosfet import gate_drain_charge
from simkit.scout.turnoff import ARRIVED, turn_off
from tests.machines import demo, varied
from tests.oracles.mosfet import drain_source_charge

LINK = 300.0
SNUBBER = {"place": "switch", "resistance": 4.7, "capacitance": 5e-9}


@pytest.fixture(scope="module")
def slow() -> Machine:
    """Snubbers so large that the node is on its way long after the gate is off."""
    return varied(demo(), {"bridge.snubber": SNUBBER})


def charge_of(machine: Machine, share: float) -> float:
    """Charge of both switches of a leg and their snubbers for a share of the way [C]."""
    channel, way = machine.switch.channel, share * LINK
    junctions = drain_source_charge(channel, way) + (
        drain_source_charge(channel, LINK) - drain_source_charge(channel, LINK - way)
    )
    gates = gate_drain_charge(channel, -way, 0.0) + gate_drain_charge(channel, -LINK, way - LINK)
    return junctions + gates + 2.0 * SNUBBER["capacitance"] * way  # type: ignore[operator] # a number


@pytest.mark.parametrize("current", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("share", [0.5, ARRIVED])
def test_a_slow_node_takes_its_charge_over_the_current(
    slow: Machine, current: float, share: float
) -> None:
    """t = t_gate + Q/i: later than the charge alone, by no more than the gate's time.

    The gate is off within five time constants R C_gs, after which the integration ends.
    """
    table = turn_off(slow, LINK)
    at = np.array([current])
    time = float((table.half_way_at if share == 0.5 else table.arrival_at)(at)[0])
    alone = charge_of(slow, share) / current
    drive, channel = slow.drive, slow.switch.channel
    gate = drive.gate_resistor + drive.sink_resistance + channel.gate_resistance
    # The table's charge is summed over 400 steps: 1e-3 covers its rounding.
    assert alone * 0.999 < time < alone * 1.001 + 5.0 * gate * channel.gate_source_capacitance


def test_every_lagging_current_arrives_and_no_other() -> None:
    table = turn_off(demo(), LINK)
    currents = np.array([1e-3, 0.01, 0.1, 1.0, 10.0, 100.0])
    times = table.arrival_at(currents)
    assert np.isfinite(times).all()
    assert (np.diff(times[:-1]) < 0.0).all(), "the more current, the sooner"
    assert np.isinf(table.arrival_at(np.array([0.0, -1.0]))).all()
    assert np.isnan(table.arrival_at(np.array([np.nan]))).all()


def test_half_the_way_comes_first() -> None:
    table = turn_off(demo(), LINK)
    currents = np.linspace(0.5, 100.0, 40)
    assert (table.half_way_at(currents) < table.arrival_at(currents)).all()


def test_times_between_the_tables_currents_follow_the_charge(slow: Machine) -> None:
    """A table with other currents in it says the same: within 2 %, the straight line's error."""
    coarse = turn_off(slow, LINK)
    ratings = {"switch.ratings.pulsed_current": 1.23 * slow.switch.ratings.pulsed_current}
    other = turn_off(varied(slow, ratings), LINK)
    currents = np.geomspace(0.05, 100.0, 60)
    assert coarse.arrival_at(currents) == pytest.approx(other.arrival_at(currents), rel=0.02)


def crossing(damping: float, share: float) -> float:
    """When a second-order step response first covers a share of its way, in sqrt(L C) [1].

    1 - exp(-z t)(cos wt + z/w sin wt), w = sqrt(1 - z^2), textbook.
    """
    time = np.linspace(0.0, 4.0, 40_001)
    w = np.sqrt(1.0 - damping**2)
    way = 1.0 - np.exp(-damping * time) * (np.cos(w * time) + damping / w * np.sin(w * time))
    return float(time[np.argmax(way >= share)])


def test_inductance_in_the_gates_loop_sets_its_pace() -> None:
    """With 5 uH the gate falls as an RLC does, and t - Q/i is when the channel lets the node go.

    That is between the plateau of the current, with C_gs alone, and the threshold, with the largest
    C_gd in addition; at so small a current the node is too slow to hold the gate up on its way.
    What the gate falls further takes C_gd,max V_th out of the node, at most.
    """
    current, inductance = 0.3, 5e-6
    machine = varied(demo(), {"drive.loop_inductance": inductance})
    drive, channel = machine.drive, machine.switch.channel
    table = turn_off(machine, LINK)
    gate = float(table.arrival_at(np.array([current]))[0]) - table.charge / current
    plateau = channel.threshold + np.sqrt(2.0 * current / channel.transconductance)
    resistance = drive.gate_resistor + drive.sink_resistance + channel.gate_resistance

    def fallen(capacitance: float, level: float) -> float:
        damping = 0.5 * resistance * np.sqrt(capacitance / inductance)
        share = 1.0 - level / drive.voltage_on
        return float(np.sqrt(inductance * capacitance) * crossing(damping, share))

    least = channel.gate_source_capacitance
    most = least + channel.gate_drain_capacitance_max
    taken = channel.gate_drain_capacitance_max * channel.threshold / current
    assert fallen(least, plateau) < gate < fallen(most, channel.threshold) + taken


def test_a_nanohenry_changes_nothing() -> None:
    def needed(inductance: float) -> float:
        changed = varied(demo(), {"drive.loop_inductance": inductance})
        return float(turn_off(changed, LINK).arrival_at(np.array([10.0]))[0])

    # L/R is 0.08 ns beside some 150 ns.
    assert needed(1e-9) == pytest.approx(needed(1e-12), rel=2e-3)
