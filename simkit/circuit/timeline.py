"""What changes during a run, as functions of time and as break points for the deck.

Time zero is the start of the settled part. A deck may cover any stretch; it begins a few cycles
early, and in this run-in the fast states (gates, drains, stored charge) find their place; the
run-in is never measured.
The drive's phase is accumulated, so that a change of frequency loses no pulse.
"""

from dataclasses import dataclass, field, replace
from math import floor, sqrt

import numpy as np
from numpy.typing import NDArray

from simkit.circuit.courses import Course, course, follows_level, part_out
from simkit.circuit.faults import Fault
from simkit.circuit.oscillator import Clock, Oscillator
from simkit.circuit.profile import Change, Followed, Profile
from simkit.parameters.events import EDGE, Event
from simkit.parameters.machine import Load, Machine
from simkit.parameters.scenario import Scenario, Start
from simkit.parts.coupled_turns import shorted_turn
from simkit.parts.working import load_at, load_at_margin

__all__ = ["Change", "Fault", "NamedEvent", "Profile", "Timeline", "timeline"]

START_PHASE = 0.25
"""Phase of the drive at time zero [periods]: mid half period, where nothing switches."""
CLOCK_ERROR = 1e-6
"""Error of a phase laid out in advance [periods]: a hundred times below an engine step's."""
CLOCK_POINTS = 2000
"""Least number of points of a clock [1]."""


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
    faults: tuple[Fault, ...] = ()
    """Events that change the circuit or its gates; the fast model knows nothing of them."""
    oscillator: Oscillator | None = None
    """The drive's loop; `frequency` is then what the fast model makes of it."""
    as_it_ran: bool = False
    """Whether the clock is that of a run, from its very beginning."""
    inside: bool = False
    """Whether decks hold the loop itself, instead of commands laid out in advance."""
    begin: float = 0.0
    opens: float = 0.0
    """Where a run of the whole event begins: later than at zero where samples tell what was [s]."""
    end: float = 0.0
    """End of the whole scenario; the clock of a changing frequency is laid out up to here [s]."""
    _clock: tuple[NDArray[np.float64], NDArray[np.float64]] | None = field(
        default=None, repr=False, compare=False
    )

    @property
    def cut(self) -> tuple[NamedEvent, ...]:
        """Events that go on when the scenario is over."""
        return tuple(e for e in self.events if e.end > self.end + 1e-12)

    def stretch(self, begin: float, stop: float) -> "Timeline":
        """The same timeline, for a deck from about `begin` to `stop` [s].

        The beginning is moved back to the middle of a half period, where nothing switches.
        """
        phase = self.phase(begin)
        quiet = 0.5 * floor(2.0 * phase) + 0.25
        if quiet > phase:
            quiet -= 0.5
        return replace(self, begin=self.time_of(quiet), stop=stop)

    def as_run(self, clock: Clock) -> "Timeline":
        """The same with the clock that an oscillator inside a deck ran through."""
        times, phases = clock
        # A frequency is a slope; over single engine steps it would be noise.
        coarse = np.linspace(times[0], times[-1], max(int(phases[-1] - phases[0]), 2))
        turned = np.interp(coarse, times, phases)
        rates = np.diff(turned) / np.diff(coarse)
        middles = 0.5 * (coarse[1:] + coarse[:-1])
        frequency = Followed(self.frequency.first, times=middles, values=rates)
        return replace(self, frequency=frequency, inside=False, as_it_ran=True, _clock=clock)

    def time_of(self, phase: float) -> float:
        """Time at which the drive reaches a phase [s]."""
        if self.frequency.constant or (phase <= START_PHASE and not self.as_it_ran):
            return (phase - START_PHASE) / self.frequency.first
        times, phases = self._phase_table()
        return float(np.interp(phase, phases, times))

    def upper_first(self, boundary: float) -> bool:
        """Whether switch 1 is the one that goes off at a half-period boundary [s]."""
        return round(2.0 * self.phase(boundary)) % 2 == 1

    def phase(self, time: float) -> float:
        """Phase of the drive [periods]; START_PHASE at time zero."""
        if self.frequency.constant or (time <= 0.0 and not self.as_it_ran):
            return START_PHASE + self.frequency.first * time
        times, phases = self._phase_table()
        return float(np.interp(time, times, phases))

    @property
    def cycles(self) -> float:
        """Length from time zero to the end in cycles of the drive [1]."""
        return self.phase(self.end) - self.phase(0.0)

    def boundaries(self, start: float, stop: float) -> NDArray[np.float64]:
        """Times [s] at which a half period begins, from start to stop (phase a multiple of 1/2)."""
        first, last = self.phase(start), self.phase(stop)
        wanted = 0.5 * np.arange(floor(2 * first) + 1, floor(2 * last) + 1)
        if self.frequency.constant:
            return np.asarray((wanted - START_PHASE) / self.frequency.first)
        times, phases = self._phase_table()
        early = (wanted - START_PHASE) / self.frequency.first
        if self.as_it_ran:
            return np.asarray(np.interp(wanted, phases, times))
        return np.where(wanted < START_PHASE, early, np.interp(wanted, phases, times))

    def _phase_table(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        if self._clock is None:
            # Straight between its points, a phase is wrong by rate * step^2 / 8.
            step = sqrt(8.0 * CLOCK_ERROR / max(self.frequency.steepest, 1e-9))
            steps = int(self.end / max(step, 0.05 / self.frequency.first)) + CLOCK_POINTS
            times = np.linspace(0.0, self.end * 1.01, steps)
            # Runs of very short scenarios go on for some cycles after the end.
            beyond = times[-1] + np.linspace(0.0, BEYOND / self.frequency.last, steps)[1:]
            times = np.concatenate((times, beyond))
            rates = self.frequency.along(times)
            area = np.concatenate(
                ([0.0], np.cumsum(0.5 * (rates[1:] + rates[:-1]) * np.diff(times)))
            )
            object.__setattr__(self, "_clock", (times, START_PHASE + area))
        assert self._clock is not None
        return self._clock


BEYOND = 12.0
"""Cycles after a timeline's end in which boundaries are still known [1]."""


def start_frequency(machine: Machine, scenario: Scenario) -> float:
    """Drive frequency of the settled part [Hz], given or a margin above a load's resonance."""
    start = scenario.start
    if start.frequency is not None:
        return start.frequency
    margin, voltage = start_margin(machine, start), start.supply_voltage or machine.supply.voltage
    load = load_at_margin(machine, start.margin_of or start.load, margin, voltage)
    return (1.0 + margin) * machine.resonance(load.inductance)


def start_margin(machine: Machine, start: Start) -> float:
    """Drive above resonance [1]: the scenario's, or the machine's working margin."""
    return machine.drive.working_margin if start.margin is None else start.margin


def event_duration(machine: Machine, event: Event, load_name: str) -> float:
    """Length of an event [s]: as given, or the piece's way over its speed, or a contact's.

    The way is the piece's `travel`; where it comes out in part, that share of it.
    """
    if event.duration is not None:
        return event.duration
    if event.speed is None:
        return EDGE
    piece = machine.workpieces[event.load or load_name]
    return (event.share or 1.0) * piece.travel / event.speed


def timeline(machine: Machine, scenario: Scenario) -> Timeline:
    """Timeline of a scenario on a machine, from time zero to its end."""
    course = _Course(machine, scenario)
    for event in sorted(scenario.events, key=lambda e: e.at):
        course.add(event)
    profiles = {key: Profile(course.first[key], tuple(course.changes[key])) for key in course.first}
    stop = max((e.end for e in course.named), default=scenario.start.settled) + scenario.tail
    if scenario.ends is not None:
        stop = min(stop, scenario.start.settled + scenario.ends)
    return Timeline(
        frequency=profiles["frequency"],
        voltage=profiles["voltage"],
        inductance=profiles["inductance"],
        resistance=profiles["resistance"],
        stop=stop,
        events=tuple(course.named),
        faults=tuple(course.faults),
        end=stop,
    )


def kept_margin(machine: Machine, scenario: Scenario, frequency: float, load: Load) -> float | None:
    """Distance to the resonance that an ideal drive keeps [1], None where it keeps none."""
    loop = machine.drive.loop
    if scenario.start.tracks:
        return start_margin(machine, scenario.start)
    if loop is None or loop.holds != "margin" or by_hand(scenario):
        return None
    return frequency / machine.resonance(load.inductance) - 1.0


def by_hand(scenario: Scenario) -> bool:
    """Whether the frequency is turned by hand: then the loop is open."""
    return any(event.kind == "frequency" for event in scenario.events)


class _Course:
    """A scenario's values as its events go by."""

    def __init__(self, machine: Machine, scenario: Scenario) -> None:
        self.machine, self.start = machine, scenario.start
        self.load_name = scenario.start.load
        frequency = start_frequency(machine, scenario)
        voltage = scenario.start.supply_voltage or machine.supply.voltage
        load = load_at(machine, self.load_name, frequency, voltage)
        self.values = {
            "frequency": frequency,
            "voltage": voltage,
            "inductance": load.inductance,
            "resistance": load.resistance,
        }
        self.margin = kept_margin(machine, scenario, frequency, load)
        self.in_place = True
        """Whether the load is as the machine has it: not part of the way out, no fault in it."""
        self.first = dict(self.values)
        self.changes: dict[str, list[Change]] = {key: [] for key in self.values}
        self.named: list[NamedEvent] = []
        self.faults: list[Fault] = []

    def add(self, event: Event) -> None:
        """Let one event happen."""
        begin = self.start.settled + event.at
        end = begin + event_duration(self.machine, event, self.load_name)
        self.named.append(NamedEvent(event.kind, begin, end))
        if not event.about.fast:
            self.faults.append(Fault(event, begin, end))
            return
        before, name, placed = self.values, self.load_name, self.in_place
        after = self.after(event)
        way = self.way(event, name, before, before | after) if placed else {}
        for key, value in after.items():
            change = Change(begin, end, before[key], value, way.get(key, ()))
            self.changes[key].append(change)
        self.values = before | after

    def way(
        self, event: Event, name: str, before: dict[str, float], after: dict[str, float]
    ) -> Course:
        """How the values go from before to after, where the way is known."""
        found = course(self.machine, event, name, before, after)
        if self.margin is not None and "inductance" in found:
            tuned = 1.0 + self.margin
            found["frequency"] = tuple(
                tuned * self.machine.resonance(x) for x in found["inductance"]
            )
        return found

    def after(self, event: Event) -> dict[str, float]:
        """What an event changes, to what."""
        if event.kind == "supply":
            return self.at_level({"voltage": float(event.voltage or 0.0)})
        if event.kind == "frequency":
            target = event.frequency or self.values["frequency"] * float(event.factor or 1.0)
            return self.at_level({"frequency": target})
        load = self.load_after(event)
        found = {"inductance": load.inductance, "resistance": load.resistance}
        if self.margin is not None:
            found["frequency"] = (1.0 + self.margin) * self.machine.resonance(load.inductance)
        return found

    def at_level(self, after: dict[str, float]) -> dict[str, float]:
        """With what steel in the coil makes of another frequency or voltage."""
        if not (self.in_place and follows_level(self.machine, self.load_name)):
            return after
        load = self.settled(self.load_name, self.values | after)
        return after | {"inductance": load.inductance, "resistance": load.resistance}

    def settled(self, name: str, values: dict[str, float]) -> Load:
        """A load in its place, at the level it is driven to."""
        return load_at(self.machine, name, values["frequency"], values["voltage"])

    def load_after(self, event: Event) -> Load:
        """What the coil's ends measure after an event that changes the load."""
        now = Load(inductance=self.values["inductance"], resistance=self.values["resistance"])
        if event.kind == "pull-out":
            return self.pulled(now, event.share or 1.0)
        if event.kind in ("drop-in", "becomes"):
            self.load_name, self.in_place = str(event.load), True
            return self.settled(self.load_name, self.values)
        self.in_place = False
        if event.kind == "coil":
            return Load(
                inductance=now.inductance * (event.inductance_factor or 1.0),
                resistance=now.resistance * (event.resistance_factor or 1.0),
            )
        if event.kind == "clamp-resistance":
            more = now.resistance + float(event.resistance or 0.0)
            return Load(inductance=now.inductance, resistance=more)
        inductance, resistance = shorted_turn(
            now.inductance,
            now.resistance,
            event.turns or 2,
            event.coupling or 0.0,
            self.values["frequency"],
            event.resistance or 0.0,
        )
        return Load(inductance=inductance, resistance=resistance)

    def pulled(self, now: Load, share: float) -> Load:
        """The piece part of the way out: L and R as far towards the empty coil's."""
        empty = self.machine.coil.as_load()
        if share == 1.0:
            self.load_name, self.in_place = "empty", True
            return empty
        along = (
            part_out(self.machine, self.load_name, self.values, share) if self.in_place else None
        )
        self.in_place = False
        if along is not None:
            return along
        return Load(
            inductance=now.inductance + share * (empty.inductance - now.inductance),
            resistance=now.resistance + share * (empty.resistance - now.resistance),
        )
