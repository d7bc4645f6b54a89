"""Switching edges of a machine: what gate loops and output capacitances make of the commands."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import TYPE_CHECKING

import numpy as np

from simkit.errors import Unworkable
from simkit.scout.forced import TabledRelease
from simkit.scout.halfwave import Edges
from simkit.scout.plant import swing_charge
from simkit.scout.turnoff import turn_off

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine


LEAST = 1e-9
"""Dead time with which the fast model goes on where the gates leave none [s]: a numerical choice,
below every step of the engine."""
PLATEAU_SHARE = 0.125
"""Share of the pulsed current at which the plateau's delay is taken [1]."""


@dataclass(frozen=True)
class GateDelays:
    """From the command's half height to the gate passing its threshold [s], off and on."""

    off: float
    on: float


def gate_delays(machine: Machine) -> GateDelays:
    """Delays of a gate charged through its resistors, R C ln of what is left to the threshold.

    Off: from the on-level down to the threshold, with C_gs and the large C_gd of a drain that is
    low. On: from the off-level up, with the small C_gd of a drain that is high. The exponential
    is that of an RC (textbook); loop inductance and the Miller plateau are left out, so that a
    hard turn-on at a large current comes later than this says. Raises Unworkable when the
    threshold is not between the levels.
    """
    drive, channel = machine.drive, machine.switch.channel
    high = drive.voltage_on
    # a gate transformer gives nothing during the dead time, and swings between levels of its own
    low = drive.voltage_off if drive.isolation == "ideal" else 0.0
    if not low < channel.threshold < high:
        said = (
            f"the gate threshold, {channel.threshold:.3g} V, is not between {low:g} and {high:g} V"
        )
        raise Unworkable(f"drive.voltage_on, voltage_off: {said}: the switch cannot be turned")
    second = drive.turn_off_resistor
    outer = drive.gate_resistor
    outer_off = 1.0 / (1.0 / outer + 1.0 / second) if second else outer
    source = channel.gate_source_capacitance
    off = (drive.sink_resistance + outer_off + channel.gate_resistance) * (
        source + channel.gate_drain_capacitance_max
    )
    on = (drive.source_resistance + outer + channel.gate_resistance) * (
        source + channel.gate_drain_capacitance_min
    )
    return GateDelays(
        off=off * log((high - low) / (channel.threshold - low)),
        on=on * log((high - low) / (high - channel.threshold)),
    )


def dead_time_left(machine: Machine) -> float:
    """Dead time that is left between the gates' own thresholds [s]; negative where they overlap.

    Commanded dead time less the turn-off's delay, plus the turn-on's, less what the slowest channel
    lags: geometry of the edges, with the delays of `gate_delays` and errors and range as there.
    """
    delays = gate_delays(machine)
    lag = machine.drive.delay_spread or 0.0
    return machine.drive.dead_time - delays.off + delays.on - lag


def refuse_overlap(machine: Machine) -> None:
    """Errors: Unworkable where the gates leave nothing of the dead time, for whoever shows what the
    fast model says of losses: it knows nothing of a current through both switches of a leg.
    """
    left = dead_time_left(machine)
    if left <= 0.0:
        said = f"the gates are slower than drive.dead_time by {-left * 1e9:.3g} ns"
        raise Unworkable(f"{said}: both switches of a leg conduct at once, rehearse it by circuit")


def machine_edges(machine: Machine, supply_voltage: float | None = None) -> Edges:
    """Edges of a machine on a link voltage [V]: dead time as the switches see it, charge, delay,
    and how long diodes hold on.

    The gates' delays shorten the dead time by their difference and put its middle later by their
    mean; at turn-off the gate's plateau adds to the delay. Where nothing of the dead time is left
    both switches of a leg conduct at once, which no model of edges follows (`dead_time_left`): the
    node then swings in the middle of that time, and the circuit has to tell the rest.
    """
    delays = gate_delays(machine)
    charge = swing_charge(machine, supply_voltage)
    off = delays.off + plateau_delay(machine, charge, delays.off, supply_voltage)
    dead = max(machine.drive.dead_time - off + delays.on, LEAST)
    return Edges(dead, charge, 0.5 * (off + delays.on), TabledRelease(machine, dead))


def plateau_delay(
    machine: Machine, charge: float, off: float, supply_voltage: float | None = None
) -> float:
    """How much later than threshold and swing charge say the node is half-way over [s].

    From the integrated turn-off at an eighth of the pulsed current, where it hardly depends on
    the current: the gate's charge to the drain holds the channel on. Never so long that less than
    a third of the dead time is left.
    """
    voltage = machine.supply.voltage if supply_voltage is None else supply_voltage
    current = PLATEAU_SHARE * machine.switch.ratings.pulsed_current
    table = turn_off(machine, voltage)
    half_way = float(table.half_way_at(np.array(current)))
    late = half_way - off - 0.5 * charge / current
    return min(max(late, 0.0), max(machine.drive.dead_time - off, 0.0) * (2.0 / 3.0))
