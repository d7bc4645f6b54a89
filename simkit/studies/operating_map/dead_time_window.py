"""The window a dead time must hit: by formula over a whole map, and in the circuit at one point.

Needed: from the off command until the bridge node has covered nine tenths of its way, carried by
the turn-off current through the output capacitances while the gate is still on its plateau.
Reversal: from the off command until the bridge's current passes through zero and would charge the
node back. A dead time between the two switches without loss.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

import numpy as np

from simkit.measure.waveforms import Array, Waves
from simkit.parameters.machine import Machine
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.operating import Case, operating_cases
from simkit.scout.turnoff import turn_off
from simkit.studies.situations.base import draft

WATCHED = 0.5
"""How long after the off command a reversal is looked for, in periods [1]."""


@dataclass(frozen=True)
class Window:
    """The window at one supply voltage and frequency."""

    voltage: float
    """Of the source, without load [V]."""
    frequency: float
    """[Hz]"""
    turn_off_current: float
    """[A]"""
    needed: float
    """[s]; inf when the current leads: the node does not get there by itself."""
    reversal: float
    """[s]; nan when the current leads."""


def by_formula(
    machine: Machine, load: str, voltages: Sequence[float], frequencies: Sequence[float]
) -> list[Window]:
    """Windows of a grid from output charge, turn-off current and phase, without a circuit run.

    needed: gate and drain integrated through the turn-off at a held current (`scout.turnoff`);
    reversal: phase/(2 pi f), counted from where the node is half-way over. Current and phase are
    the fast model's. Raises ValueError for what that refuses.
    """
    grid = [Case(machine.load(load), f, None, v) for v in voltages for f in frequencies]
    found = []
    for case, point in zip(grid, operating_cases(machine, grid), strict=True):
        table = turn_off(machine, point.link_voltage)
        current = np.array([point.turn_off_current])
        needed = float(table.arrival_at(current)[0])
        half_way = float(table.half_way_at(current)[0])
        lagging = point.turn_off_current > 0.0
        reversal = half_way + point.phase / 360.0 / case.frequency if lagging else nan
        voltage = float(case.supply_voltage or 0.0)
        found.append(Window(voltage, case.frequency, point.turn_off_current, needed, reversal))
    return found


def in_circuit(
    machine: Machine, load: str, voltage: float, frequency: float, bench: Rehearser
) -> Window:
    """The window of one point, measured on the settled circuit's first leg.

    Errors: EngineError from the run.
    """
    start = {"frequency": frequency, "supply_voltage": voltage}
    case = draft(machine, "dead-time-window", load=load, start=start)
    return measured(bench.rehearse(case.machine, case.scenario), voltage, frequency)


def measured(found: Rehearsal, voltage: float, frequency: float) -> Window:
    """The window in a settled rehearsal: means over its first leg's transitions."""
    edges = [t for t in found.whole.transitions if t.outgoing <= 2]
    dead = found.machine.drive.dead_time
    reversals = [
        reversal(found.whole.waves, t.time - 0.5 * dead, 1.0 if t.outgoing == 1 else -1.0,
                 WATCHED / frequency)
        for t in edges
    ]  # fmt: skip
    return Window(
        voltage,
        frequency,
        float(np.mean([t.turn_off_current for t in edges])),
        float(np.mean([t.needed for t in edges])),
        float(np.nanmean(reversals)) if np.isfinite(reversals).any() else nan,
    )


def reversal(waves: Waves, off: float, sign: float, span: float) -> float:
    """Time from an off command until the primary current, times `sign`, falls through zero [s].

    nan when it does not within the span [s].
    """
    part = waves.between(off, off + span)
    current: Array = sign * part.primary_current
    falls = np.flatnonzero((current[1:] <= 0.0) & (current[:-1] > 0.0))
    return float(part.time[falls[0]] - off) if len(falls) else nan
