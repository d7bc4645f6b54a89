"""What the drive's comparators see in a run's waveforms, and when one of them first turns."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.circuit.commands import told_to
from simkit.circuit.timeline import Timeline
from simkit.circuit.values import SwitchPlace, places
from simkit.measure.waveforms import Array, Waves
from simkit.parameters.machine import Machine

BY = {"output": "output current", "link": "link current", "desaturation": "desaturation"}
"""What is sensed, in words."""


@dataclass(frozen=True)
class Watch:
    """One comparator: what it senses, its level in `unit`, blanking and delay [s]."""

    senses: str
    level: float
    unit: str
    blanking: float
    delay: float
    retry_after: float | None = None
    retries: int = 0

    @property
    def by(self) -> str:
        """What it senses, in words."""
        return BY[self.senses]


@dataclass(frozen=True)
class Crossing:
    """A comparator that turned, and when [s]."""

    watch: Watch
    time: float

    @property
    def off(self) -> float:
        """When the gates go off for it [s]."""
        return self.time + self.watch.delay


def watches(machine: Machine) -> tuple[Watch, ...]:
    """The comparators of a machine's drive."""
    trip, desat, found = machine.drive.trip, machine.drive.desaturation, list[Watch]()
    if trip is not None:
        found.append(Watch(trip.senses, trip.level, "A", trip.blanking, trip.delay,
                           trip.retry_after, trip.retries or 0))  # fmt: skip
    if desat is not None:
        found.append(Watch("desaturation", desat.level, "V", desat.blanking, desat.delay))
    return tuple(found)


def on_since(line: Timeline, machine: Machine, place: SwitchPlace, time: Array) -> Array:
    """How long a switch has been told to be on at some times [s]; nan where it is not."""
    told = told_to(line, machine.drive, place.number, place.first)
    turns = np.array(told.times)
    count = np.searchsorted(turns, time, side="right")
    since = np.full(len(time), np.inf)
    if len(turns):
        since = np.where(count > 0, time - turns[np.maximum(count - 1, 0)], np.inf)
    return np.where((count % 2 == 1) ^ told.first, since, np.nan)


def heard(waves: Waves, line: Timeline, watch: Watch) -> Array:
    """What a comparator sees over its level along a run [1]; zero while it is blanked."""
    machine = waves.machine
    since = [on_since(line, machine, p, waves.time) for p in places(machine)]
    if watch.senses == "desaturation":
        seen = [np.where(s >= watch.blanking, w.lead_voltage, 0.0)
                for s, w in zip(since, waves.switches, strict=True)]  # fmt: skip
        most: Array = np.max(np.stack(seen), axis=0)
        return most / watch.level
    if watch.senses == "output":
        current = np.abs(waves.primary_current)
    else:
        current = np.sum([w.drain_current for w in waves.switches if w.number % 2], axis=0)
    blanked = np.any([s < watch.blanking for s in since], axis=0)
    return np.where(blanked, 0.0, current) / watch.level


def first_turned(
    waves: Waves, line: Timeline, wanted: Sequence[Watch], since: float
) -> Crossing | None:
    """The comparator whose gates go off first, from a time on [s]; None where none turns."""
    found = []
    for watch in wanted:
        above = np.flatnonzero((heard(waves, line, watch) > 1.0) & (waves.time >= since))
        if len(above):
            found.append(Crossing(watch, float(waves.time[above[0]])))
    return min(found, key=lambda c: c.off, default=None)


def largest(waves: Waves, line: Timeline, watch: Watch, since: float) -> tuple[float, float]:
    """The most a comparator sees over its level from a time on [1], and when [s]."""
    seen = np.where(waves.time >= since, heard(waves, line, watch), 0.0)
    k = int(np.argmax(seen))
    return float(seen[k]), float(waves.time[k])
