"""How often the current has reversed when the opposite pair turns on, over a whole event.

Where the circuit ran through it, change-overs are counted. Where it was sampled, the fast model's
current at turn-on, moved to what the samples measured, says from when to when it has reversed: what
is counted is the drive's half periods in between. The samples' current at turn-on is that at which
the incoming gate, at the chip, crosses its threshold.
"""

from dataclasses import dataclass

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.measure.waveforms import Array
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.loop_doubt import unstable
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import missed_between

SEEN = 0.005
"""Share of the bridge current's peak that a current at turn-on is known to at best [1]: what finer
steps move a sample's currents by."""
UNKNOWN = 1e9
"""What a current at turn-on may be off by where there are too few samples to tell [A]."""


@dataclass(frozen=True)
class Reversed:
    """Change-overs of the drive whose current had reversed at turn-on, with the error of their
    number, and all change-overs [1]."""

    count: int
    error: int
    change_overs: int


@dataclass(frozen=True)
class TurnOn:
    """The current at turn-on along an event [s] [A], and what it may be off by there [A]."""

    time: Array
    current: Array
    doubt: Array

    def counted(self, line: Timeline, off: float = 0.0) -> float:
        """Half periods in which it is below zero, if it is off by so many times its doubt [1]."""
        time = np.linspace(0.0, line.end, 20_001)
        below = np.interp(time, self.time, self.current + off * self.doubt) < 0.0
        return float(np.sum(below[1:] * 2.0 * line.frequency.along(time[1:]) * np.diff(time)))


def reversed_of(found: Rehearsal) -> Reversed | None:
    """How often; None where a sampled event has gates that do what they should not, or a loop that
    swings on the load it ends with."""
    line = found.line
    every = round(2.0 * line.cycles)
    if found.is_whole:
        return _counted(found, every)
    if line.faults or unstable(found):
        return None
    turn_on = along(found)
    count = turn_on.counted(line)
    moved = [abs(turn_on.counted(line, off) - count) for off in (-1.0, 1.0)]
    return Reversed(round(count), round(max(moved)), every)


def _counted(found: Rehearsal, every: int) -> Reversed:
    """Of a run of the whole event, one leg; what is nearer to zero than known is its error."""
    own = [t for t in found.whole.transitions if t.outgoing in (1, 2) and t.time >= 0.0]
    current = np.array([t.turn_on_current for t in own])
    near = SEEN * float(np.max(np.abs(found.whole.waves.primary_current)))
    return Reversed(int(np.sum(current < 0.0)), int(np.sum(np.abs(current) < near)), every)


def along(found: Rehearsal) -> TurnOn:
    """The fast model's current at turn-on, moved to the samples'.

    Doubt: by how much samples are missed straight between their neighbours; `SEEN` at least.
    """
    cycles = found.scout.event.cycles
    samples = sorted((_sample(s) for s in found.first_pass), key=lambda s: s[0])
    times, seen = (np.array([s[k] for s in samples]) for k in (0, 1))
    off = seen - np.interp(times, cycles.time, cycles.turn_on_current)
    current = cycles.turn_on_current + np.interp(cycles.time, times, off)
    missed = np.interp(cycles.time, times, _missed(times, off))
    return TurnOn(cycles.time, current, np.maximum(missed, SEEN * cycles.primary_current_peak))


def _sample(stretch: Stretch) -> tuple[float, float]:
    """Middle [s] and smallest current at turn-on, a mean over its cycles [A], as the fast model."""
    each = [
        min(t.turn_on_current for t in stretch.transitions if c.start <= t.time < c.end)
        for c in stretch.cycles
    ]
    middle = 0.5 * (stretch.cycles[0].start + stretch.cycles[-1].end)
    return middle, float(np.mean(each))


def _missed(times: Array, values: Array) -> Array:
    """By how much each value is missed straight between its neighbours; at the ends as beside."""
    if len(times) < 3:
        return np.full(len(times), UNKNOWN)
    return np.pad(missed_between(times, values), 1, mode="edge")
