"""State in which a gate transformer and its coupling capacitor start, as the drive goes on and on.

From rest they would ring for dozens of cycles at their own low frequency, some tens of millivolts
on the gates, which a short run takes for the gates' own. So would they, with a large gate, from a
start that knows nothing of the gate's charge.
"""

from __future__ import annotations

from dataclasses import dataclass

from simkit.circuit.timeline import Timeline
from simkit.parameters.machine import Machine
from simkit.parts.mosfet import gate_drain_charge


@dataclass(frozen=True)
class GateStart:
    """Magnetising current [A] and coupling capacitor's voltage [V] of one gate's transformer."""

    current: float
    voltage: float


REST = GateStart(0.0, 0.0)
MISSED, UNEVEN = 0.3, 0.03
"""Shares that go on ringing [1]: of what the gate's charge adds, and of the swing it makes. Circuit
runs of four machines left 7 to 26 mV, 0.45 to 0.65 of both together."""


def gate_start(machine: Machine, line: Timeline, first: bool) -> GateStart:
    """What a gate's transformer holds where a timeline begins; at rest without a transformer.

    The driver puts +V on the winding L in the gate's own half period, -V in the other, nothing in
    the dead time d between. With x the time from the middle of a half, h = T/4 - d/2 where its
    pulse ends and C in series: i = V x/L, held at V h/L in the dead time; v of C is the integral
    of i/C, zero in the middle of the dead time,

        v = V/(L C) ((x^2 - h^2)/2 - h d/2).

    `first`: whether the gate's own half is the first of a period. What the gate's charge adds is
    `_charged`. Source: Faraday's law, worked out here.
    """
    drive = machine.drive
    if drive.transformer is None or any(f.kind == "start" for f in line.faults):
        return REST
    inductance = drive.transformer.magnetising_inductance
    capacitance = drive.transformer.coupling_capacitance
    period = 1.0 / line.frequency.at(line.begin)
    halves = 2.0 * (line.phase(line.begin) % 1.0)
    own = (halves < 1.0) == first
    x = (halves % 1.0 - 0.5) * 0.5 * period
    dead = drive.dead_time
    ends = 0.25 * period - 0.5 * dead
    x = min(max(x, -ends), ends)
    level = drive.voltage_on if own else -drive.voltage_on
    swing = 0.5 * (x * x - ends * ends) - 0.5 * ends * dead
    magnetising = level * swing / (inductance * capacitance)
    known = 0.0 if machine.switch.foreign else _charged(machine, line)
    return GateStart(level * x / inductance + 0.0, magnetising + known)


def start_left(machine: Machine, line: Timeline) -> float:
    """Amplitude of what rings on a gate's winding from the start on [V]; a bought-in model's charge
    is taken for its class's, and rings whole. Source: see MISSED."""
    if machine.drive.transformer is None or any(f.kind == "start" for f in line.faults):
        return 0.0
    on = machine.drive.voltage_on
    swing = _held(machine, on, 0.0) - _held(machine, -on, line.voltage.at(line.begin))
    share = 1.0 if machine.switch.foreign else MISSED
    uneven = UNEVEN * swing / machine.drive.transformer.coupling_capacitance
    return share * abs(_charged(machine, line)) + uneven


def _held(machine: Machine, gate: float, drain: float) -> float:
    """Charge of a gate at a gate and a drain voltage, from none at neither [C]."""
    channel = machine.switch.channel
    own = channel.gate_source_capacitance * gate
    return own + gate_drain_charge(channel, 0.0, gate - drain)


def _charged(machine: Machine, line: Timeline) -> float:
    """What a gate's charge adds to the coupling capacitor's voltage at the start [V].

    The capacitor passes the gate's charge, so that its voltage goes up and down with it, about the
    mean that leaves no mean voltage on winding and driver. The gate starts from zero: what is
    missing is minus the mean charge over a period, with +V at no drain voltage, -V and, in half of
    the dead time, 0 V at the link's. The driver's mean voltage is what its two resistances make
    of one mean current in both directions. Range: the charges of the file's own model. Source:
    conservation of charge, worked out here.
    """
    drive, on, link = machine.drive, machine.drive.voltage_on, line.voltage.at(line.begin)
    assert drive.transformer is not None
    period, dead = 1.0 / line.frequency.at(line.begin), drive.dead_time
    driven, reverse = _held(machine, on, 0.0), _held(machine, -on, link)
    quiet = dead * _held(machine, 0.0, link)
    mean = ((0.5 * period - dead) * (driven + reverse) + quiet) / period
    ends = 0.25 * period - 0.5 * dead
    ramp = on * ends / drive.transformer.magnetising_inductance
    current = ramp * (1.0 - 2.0 * ends / period) + 2.0 * (driven - reverse) / period
    drop = 0.5 * current * (drive.sink_resistance - drive.source_resistance)
    return drop - mean / drive.transformer.coupling_capacitance
