"""State in which a gate transformer and its coupling capacitor start, as the drive goes on and on.

From rest they would ring for dozens of cycles at their own low frequency, some tens of millivolts
on the gates, which a short run takes for the gates' own.
"""

from __future__ import annotations

from dataclasses import dataclass

from simkit.circuit.timeline import Timeline
from simkit.parameters.machine import Machine


@dataclass(frozen=True)
class GateStart:
    """Magnetising current [A] and coupling capacitor's voltage [V] of one gate's transformer."""

    current: float
    voltage: float


REST = GateStart(0.0, 0.0)


def gate_start(machine: Machine, line: Timeline, first: bool) -> GateStart:
    """What a gate's transformer holds where a timeline begins; at rest without a transformer.

    The driver puts +V on the winding L in the gate's own half period, -V in the other, nothing in
    the dead time d between. With x the time from the middle of a half, h = T/4 - d/2 where its
    pulse ends and C in series: i = V x/L, held at V h/L in the dead time; v of C is the integral
    of i/C, zero in the middle of the dead time,

        v = V/(L C) ((x^2 - h^2)/2 - h d/2).

    `first`: whether the gate's own half is the first of a period. The gate's own charge is left
    out: it flows when the run charges the gate. Source: Faraday's law, worked out here.
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
    return GateStart(level * x / inductance + 0.0, level * swing / (inductance * capacitance))
