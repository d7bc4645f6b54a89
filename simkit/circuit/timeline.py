"""What changes during a run, as functions of time and as break points for the deck.

Time zero is the start of the settled part. A deck may cover any stretch; it begins a few cycles
early, and in this run-in the fast states (gates, drains, stored charge) find their place; the
run-in is never measured.
The drive's phase is accumulated, so that a change of frequency loses no pulse.
"""

from dataclasses import dataclass, field, replace
from math import cos, floor, pi

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Event, Scenario

SEGMENTS = 48
"""Straight pieces per smooth change; the largest error of a raised cosine is then 5e-4 of it."""
START_PHASE = 0.25
"""Phase of the drive at time zero [periods]: mid half period, where nothing switches."""


@dataclass(frozen=True)
class Change:
    """A smooth change from one value to another between two times [s]."""

    start: float
    end: float
    before: float
    after: float

    def at(self, time: float) -> float:
        """Value at a time: a raised cosine, flat at both ends."""
        share = min(max((time - self.start) / (self.end - self.start), 0.0), 1.0)
        return self.before + (self.after - self.before) * 0.5 * (1.0 - cos(pi * share))


@dataclass(frozen=True)
class Profile:
    """A value over time: constant but for some changes that do not overlap."""

    first: float
    changes: tuple[Change, ...] = ()

    @property
    def constant(self) -> bool:
        """Whether nothing ever changes."""
        return not self.changes

    @property
    def last(self) -> float:
        """Value after all changes."""
        return self.changes[-1].after if self.changes else self.first

    def at(self, time: float) -> float:
        """Value at a time [s]."""
        for change in reversed(self.changes):
            if time >= change.start:
                return change.at(time)
        return self.first

    def points(self, origin: float, stop: float) -> list[tuple[float, float]]:
        """Break points (time since origin, value) from origin to stop, times rising strictly."""
        times = {origin, stop}
        for change in self.changes:
            times.update(np.linspace(change.start, change.end, SEGMENTS + 1).tolist())
        inside = sorted(t for t in times if origin <= t <= stop)
        return [(t - origin, self.at(t)) for t in inside]


@dataclass(frozen=True)
class NamedEvent:
    """An event of the scenario with its times [s]."""

    name: str
    start: float
    end: float


@dataclass(frozen=True)
class Timeline:
    """Everything that changes, and the stretch from begin to stop [s] that a deck covers."""

    frequency: Profile
    voltage: Profile
    inductance: Profile
    resistance: Profile
    stop: float
    events: tuple[NamedEvent, ...] = ()
    begin: float = 0.0
    end: float = 0.0
    """End of the whole scenario; the clock of a changing frequency is laid out up to here [s]."""
    _clock: tuple[NDArray[np.float64], NDArray[np.float64]] | None = field(
        default=None, repr=False, compare=False
    )

    def stretch(self, begin: float, stop: float) -> "Timeline":
        """The same timeline, for a deck from about `begin` to `stop` [s].

        The beginning is moved back to the middle of a half period, where nothing switches.
        """
        phase = self.phase(begin)
        quiet = 0.5 * floor(2.0 * phase) + 0.25
        if quiet > phase:
            quiet -= 0.5
        return replace(self, begin=self.time_of(quiet), stop=stop)

    def time_of(self, phase: float) -> float:
        """Time at which the drive reaches a phase [s]."""
        if self.frequency.constant or phase <= START_PHASE:
            return (phase - START_PHASE) / self.frequency.first
        times, phases = self._phase_table()
        return float(np.interp(phase, phases, times))

    def upper_first(self, boundary: float) -> bool:
        """Whether switch 1 is the one that goes off at a half-period boundary [s]."""
        return round(2.0 * self.phase(boundary)) % 2 == 1

    def phase(self, time: float) -> float:
        """Phase of the drive [periods]; START_PHASE at time zero."""
        if self.frequency.constant or time <= 0.0:
            return START_PHASE + self.frequency.first * time
        times, phases = self._phase_table()
        return float(np.interp(time, times, phases))

    def boundaries(self, start: float, stop: float) -> NDArray[np.float64]:
        """Times [s] at which a half period begins, from start to stop (phase a multiple of 1/2)."""
        first, last = self.phase(start), self.phase(stop)
        wanted = 0.5 * np.arange(floor(2 * first) + 1, floor(2 * last) + 1)
        if self.frequency.constant:
            return np.asarray((wanted - START_PHASE) / self.frequency.first)
        times, phases = self._phase_table()
        early = (wanted - START_PHASE) / self.frequency.first
        return np.where(wanted < START_PHASE, early, np.interp(wanted, phases, times))

    def _phase_table(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        if self._clock is None:
            steps = max(2000, int(20 * self.frequency.first * self.end))
            times = np.linspace(0.0, self.end * 1.01, steps)
            rates = np.array([self.frequency.at(t) for t in times])
            area = np.concatenate(
                ([0.0], np.cumsum(0.5 * (rates[1:] + rates[:-1]) * np.diff(times)))
            )
            object.__setattr__(self, "_clock", (times, START_PHASE + area))
        assert self._clock is not None
        return self._clock


def start_frequency(machine: Machine, scenario: Scenario) -> float:
    """Drive frequency of the settled part [Hz], given or a margin above a load's resonance."""
    start = scenario.start
    if start.frequency is not None:
        return start.frequency
    assert start.margin is not None
    load = machine.load(start.margin_of or start.load)
    return (1.0 + start.margin) * machine.resonance(load.inductance)


def event_duration(machine: Machine, event: Event, load_name: str) -> float:
    """Length of an event [s]: as given, or the piece's travel over its speed."""
    if event.duration is not None:
        return event.duration
    assert event.speed is not None
    piece = machine.workpieces[event.load or load_name]
    return piece.travel / event.speed


def timeline(machine: Machine, scenario: Scenario) -> Timeline:
    """Timeline of a scenario on a machine, from time zero to its end."""
    start = scenario.start
    name = start.load
    values = {
        "frequency": start_frequency(machine, scenario),
        "voltage": start.supply_voltage or machine.supply.voltage,
        "inductance": machine.load(name).inductance,
        "resistance": machine.load(name).resistance,
    }
    first = dict(values)
    changes: dict[str, list[Change]] = {key: [] for key in values}
    named: list[NamedEvent] = []
    for event in sorted(scenario.events, key=lambda e: e.at):
        begin = start.settled + event.at
        end = begin + event_duration(machine, event, name)
        after, name = _after(machine, event, name, values)
        for key, value in after.items():
            changes[key].append(Change(begin, end, values[key], value))
        values |= after
        named.append(NamedEvent(event.kind, begin, end))
    stop = max((e.end for e in named), default=start.settled) + scenario.tail
    profiles = {key: Profile(first[key], tuple(changes[key])) for key in values}
    return Timeline(
        frequency=profiles["frequency"],
        voltage=profiles["voltage"],
        inductance=profiles["inductance"],
        resistance=profiles["resistance"],
        stop=stop,
        events=tuple(named),
        end=stop,
    )


def _after(
    machine: Machine, event: Event, load_name: str, values: dict[str, float]
) -> tuple[dict[str, float], str]:
    """What an event changes, and the name of the load in the coil afterwards."""
    if event.kind in ("pull-out", "drop-in"):
        new = "empty" if event.kind == "pull-out" else str(event.load)
        load = machine.load(new)
        return {"inductance": load.inductance, "resistance": load.resistance}, new
    if event.kind == "supply":
        return {"voltage": float(event.voltage or 0.0)}, load_name
    target = event.frequency or values["frequency"] * float(event.factor or 1.0)
    return {"frequency": target}, load_name
