"""The fast model's march over a scenario, as a source of seeds for circuit runs.

What short circuit runs were on their way to, seen from the fast model's seeds, corrects the seeds
of the runs that come after.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite, pi

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.figures.record import FastEvent
from simkit.judge.limits import Limit
from simkit.measure.periodic import Cycle
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.remains import (
    NOISE,
    SEEN,
    SWING_ERROR,
    Remains,
    intake,
    slow_move,
    uncertainty,
)
from simkit.rehearsal.rising import Rising, rises
from simkit.rehearsal.stretches import Stretch, seed_at
from simkit.rehearsal.surrogate import Curve, curves, fast_courses, fast_event, whole_cycles_of
from simkit.scout.course import Conditions, LinkCourse, link_course
from simkit.scout.drive import machine_edges
from simkit.scout.edgeloss import EdgeLosses
from simkit.scout.envelope import Event, march
from simkit.scout.operating import Case, OperatingPoint, operating_cases
from simkit.scout.plant import plant_from_machine
from simkit.scout.slow import chosen_times, slow_march

INTAKE_POINTS = 9
"""Moments of an event at which a settled intake is worked out first [1]."""
MANY = 2000.0
"""Cycles from which only some are looked at [1]: marching each costs more than the circuit's."""
GENTLE = 500.0
"""Cycles that each change must take for it [1]: tens of times the memory of a tank of Q 40."""
LINK_NEAR = 2.5e-3
"""What the link may move without another march [1]: below what the fast model's swing is
trusted to."""
LEAST_RUN_IN = 2
"""The same, at least, in cycles: the fast states need one, and the first is discarded [1]."""


@dataclass(frozen=True)
class Scouted:
    """The fast model's march over a scenario, as a source of seeds."""

    machine: Machine
    line: Timeline
    event: Event
    link: LinkCourse
    times: tuple[float, ...] = ()
    """Where circuit runs have shown how the fast model is off [s]."""
    ratios: tuple[complex, ...] = ()
    """Tank state of the circuit over that of the fast model at these times [1]."""
    link_off: float = 0.0
    """By how much the link stands above the fast model's [V], seen in the settled part."""

    def seed(self, begin: float) -> Seed:
        """Slow states for a deck that begins at a time [s], corrected by what runs have shown.

        Before a start everything is at rest, but the link is charged.
        """
        if any(f.kind == "start" and begin < f.start for f in self.line.faults):
            return Seed(link_voltage=self.line.voltage.at(begin))
        state = self.event.state_at(begin)
        turned = self._tank(state.coil_current, state.tank_voltage, begin) * self._ratio(begin)
        coil = turned.real
        load = state.load_current + (coil - state.coil_current)
        if self.machine.tank.feed == "shunt":
            load = state.load_current
        ratio = self.machine.transformer.ratio
        return Seed(
            link_voltage=self.link.capacitor_at(begin) + self.link_off,
            film_voltage=state.link_voltage + self.link_off,
            primary_current=state.primary_current + (load - state.load_current) / ratio,
            load_current=load,
            coil_current=coil,
            tank_voltage=turned.imag * self._impedance(begin),
            blocking_voltage=state.blocking_voltage,
        )

    def _impedance(self, time: float) -> float:
        return float(np.sqrt(self.line.inductance.at(time) / self.machine.tank.capacitance))

    def _tank(self, current: float, voltage: float, time: float) -> complex:
        """The tank's oscillation as one complex number: its length is the swing [A]."""
        return complex(current, voltage / self._impedance(time))

    def _ratio(self, time: float) -> complex:
        if not self.times:
            return 1.0 + 0.0j
        real = np.interp(time, self.times, np.real(self.ratios))
        return complex(real, float(np.interp(time, self.times, np.imag(self.ratios))))

    def corrected(self, stretches: Sequence[Stretch]) -> "Scouted":
        """The same, with seeds corrected by what some circuit runs were on their way to."""
        raw = replace(self, times=(), ratios=(), link_off=0.0)
        shown = sorted((raw._shown(stretch) for stretch in stretches), key=lambda s: s.time)
        settled = self.line.events[0].start if self.line.events else self.line.end
        calm = [s for s in stretches if s.cycles[-1].end <= settled + 1e-9]
        return replace(
            raw,
            link_off=raw._link_short(calm[-1]) if calm else 0.0,
            times=tuple(s.time for s in shown),
            # Where a run is too short to show the swing, the fast model's is better than its own.
            ratios=tuple(s.ratio if s.seen >= SEEN else s.ratio / abs(s.ratio) for s in shown),
        )

    def _shown(self, stretch: Stretch) -> "Shown":
        """What a run shows of the tank's state that it is on its way to."""
        begin, end = self._first_quiet(stretch), self._last_quiet(stretch)
        first, last = self._ratio_at(stretch, begin), self._ratio_at(stretch, end)
        turned = 1.0 - self._fade(end - begin, end)
        seen = abs(turned)
        missed = (last - first) / (turned if seen > SEEN else SEEN)
        return Shown(end, first + missed, missed, begin, seen)

    def _link_short(self, calm: Stretch) -> float:
        """By how much the link will stand above the fast model's in the settled part [V]: behind
        the source's resistance by what the bridge takes."""
        span = Cycle(calm.cycles[0].start, calm.cycles[-1].end)
        drawn = intake(calm, span)[1]
        stands = self.line.voltage.at(span.end) - self.machine.supply.source_resistance * drawn
        return stands - self.link.capacitor_at(span.end)

    def remains(self, stretch: Stretch, until: float) -> Remains:
        """What a run may still have of its seed when it has gone on to a time [s], and after."""
        period = 1.0 / self.line.frequency.at(until)
        end = min(self.line.stretch(until, self.line.end).begin, self._last_quiet(stretch))
        memory = self.memory(end)
        begin = max(self._first_quiet(stretch), end - max(memory, 3.0 * period))
        begin = self.line.stretch(begin, self.line.end).begin
        first, last = self._ratio_at(stretch, begin), self._ratio_at(stretch, end)
        fade = self._fade(end - begin, end)
        seen = max(abs(1.0 - fade), SEEN)
        share = abs((last - first) * fade) / seen
        slow = slow_move(stretch.waves, end, period)
        return Remains(end, share + uncertainty(abs(1.0 - fade)), memory, NOISE, slow)

    def turning(self, stretch: Stretch) -> float:
        """By how much the tank's current is still to come earlier than at a run's end [rad]."""
        shown = self._shown(stretch)
        return float(np.angle(shown.ratio / self._ratio_at(stretch, shown.time)))

    def _fade(self, span: float, time: float) -> complex:
        """What is left of a gap of the tank's state after a span [s], and how it has turned."""
        own = self.machine.resonance(self.line.inductance.at(time))
        turning = 2.0 * pi * (own - self.line.frequency.at(time))
        return complex(np.exp(span * complex(-1.0 / self.memory(time), turning)))

    def _ratio_at(self, stretch: Stretch, time: float) -> complex:
        real, mine = seed_at(stretch.waves, time), self.seed(time)
        above = self._tank(real.coil_current, real.tank_voltage, time)
        below = self._tank(mine.coil_current, mine.tank_voltage, time)
        return above / below if abs(below) > 0.0 else 1.0 + 0.0j

    def _first_quiet(self, stretch: Stretch) -> float:
        """A cycle after a run's start, when gates and diodes have found their place [s]."""
        return self.line.time_of(self.line.phase(stretch.deck.begin) + 1.0)

    def _last_quiet(self, stretch: Stretch) -> float:
        # `stretch` moves a beginning back to where nothing switches.
        last = float(stretch.waves.time[-1])
        return self.line.stretch(last, self.line.end).begin

    def run_in(self, time: float, memories: float) -> float:
        """How much earlier than a time a run has to begin [s]."""
        period = 1.0 / self.line.frequency.at(time)
        return max(memories * self.memory(time), LEAST_RUN_IN * period)

    def memory(self, time: float) -> float:
        """Time in which the tank forgets [s]."""
        cycles = self.event.cycles.time
        k = int(np.clip(np.searchsorted(cycles, time) - 1, 0, len(cycles) - 1))
        return float(self.event.memory[k])

    def into_link(self, span: Cycle) -> float:
        """What the fast model has the source give over what the bridge takes, over a span [A].

        A source that moves gives current and takes none, as in the deck.
        """
        cycles = self.event.cycles
        inside = (cycles.time >= span.start - 1e-9) & (cycles.time < span.end)
        # Of a slow event only chosen cycles are known: then what lies between them.
        times = cycles.time[inside] if inside.any() else np.array([0.5 * (span.start + span.end)])
        taken = np.interp(times, cycles.time, cycles.supply_current)
        source = np.array([self.line.voltage.at(t) for t in times.tolist()])
        given = (source - self.link.bus_at(times)) / self.machine.supply.source_resistance
        if not self.line.voltage.constant:
            given = np.maximum(given, 0.0)
        return float(np.mean(given - taken))

    def courses(self) -> dict[str, Array]:
        """The fast model's companion of each judged quantity, per whole cycle."""
        return fast_courses(self.fast)

    def scaled(self, seen: Sequence[Stretch], parts: Sequence[str] = ()) -> dict[str, Curve]:
        """Courses of judged quantities over the event, scaled by what samples showed."""
        return curves(self.fast, seen, parts)

    def rises(self, limits: Mapping[str, Limit], seen: Sequence[Stretch]) -> dict[str, Rising]:
        """What still rises where the event ends: the fast model's courses at the samples' scale."""
        since = max((e.end for e in self.line.events), default=self.line.end)
        known = self.scaled(seen)
        return rises(((n, c.time, c.values) for n, c in known.items()), limits, since)

    @property
    def fast(self) -> FastEvent:
        """What the fast model knows of the whole cycles."""
        time = self.event.cycles.time[whole_cycles_of(self.event)]
        source = np.array([self.line.voltage.at(t) for t in time.tolist()])
        return fast_event(self.machine, self.event, source)

    def residue(self, stretch: Stretch) -> float:
        """Share of its size by which a sample may still remember its seed when it is measured [1].

        What its seed missed, faded since, and what the run cannot tell.
        """
        shown = self._shown(stretch)
        start = stretch.cycles[0].start
        return float(abs(shown.missed * self._fade(start - shown.begin, start)))

    def sampled(self, stretch: Stretch) -> Remains:
        """What a sample of an event may still have of its seed."""
        return Remains(stretch.cycles[0].start, self.residue(stretch), inf, SWING_ERROR)


@dataclass(frozen=True)
class Shown:
    """What a run shows of the tank's state that it is on its way to."""

    time: float
    """End of the run [s]."""
    ratio: complex
    """That state over the fast model's [1]."""
    missed: complex
    """By how much the run missed it at `begin` [1]."""
    begin: float
    """A cycle after the run's start [s]."""
    seen: float
    """How much of the gap has gone by the end [1]."""


def scouted(machine: Machine, line: Timeline) -> Scouted:
    """March the fast model over a timeline, the link sagging with the load.

    What the load draws lowers the link, which lowers what it draws. The first march takes the link
    as if each moment lasted; where what it draws moves the link by more than `LINK_NEAR`, another
    march follows.
    """
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)
    plant = plant_from_machine(machine, load, line.voltage.first)
    edges = machine_edges(machine)
    losses = EdgeLosses.of(machine, edges.dead_time)

    def marched(link: LinkCourse) -> Event:
        if slow(line):
            spans = [(e.start, e.end) for e in line.events]
            times = chosen_times(line.end, spans, 1.0 / line.frequency.first)
            return slow_march(plant, _conditions(line, link), edges, losses, times, line.phase)
        return march(plant, _conditions(line, link), edges, losses=losses)

    link = _link(machine, line, *_settled_intake(machine, line))
    event = marched(link)
    times = event.cycles.time
    after = _link(machine, line, times, event.cycles.supply_current / link.bus_at(times))
    if np.max(np.abs(after.bus / link.bus_at(times) - 1.0)) > LINK_NEAR:
        link, event = after, marched(after)
    return Scouted(machine, line, event, link)


def slow(line: Timeline) -> bool:
    """Whether there are so many cycles, and all changes take so many, that some stand for all."""
    instants = {f.start for f in line.faults}  # these it does not follow, however quick they are
    spans = [(e.end - e.start) * line.frequency.at(e.start) for e in line.events
             if e.start not in instants]  # fmt: skip
    return line.end * line.frequency.first > MANY and min(spans, default=MANY) > GENTLE


def _link(machine: Machine, line: Timeline, times: Array, taken: Array) -> LinkCourse:
    supply = machine.supply
    return link_course(times, taken, line.voltage.at, supply.source_resistance,
                       supply.link.capacitance, supply.link.esr)  # fmt: skip


def _settled_intake(machine: Machine, line: Timeline) -> tuple[Array, Array]:
    """Times [s] and what the bridge would draw over the link's voltage [S] if each moment of the
    event lasted."""
    spans = [np.linspace(e.start, e.end, INTAKE_POINTS) for e in line.events]
    times = np.unique(np.concatenate(([0.0, line.end], *spans)))
    cases = [
        Case(Load(inductance=line.inductance.at(t), resistance=line.resistance.at(t)),
             line.frequency.at(t), None, line.voltage.at(t))
        for t in times.tolist()
    ]  # fmt: skip
    points = operating_cases(machine, cases)
    taken = np.array([_taken(point) / point.link_voltage for point in points])
    fine = np.linspace(0.0, line.end, 20 * len(times))
    return fine, np.interp(fine, times, np.nan_to_num(taken))


def _taken(point: OperatingPoint) -> float:
    """What the bridge draws [A]; what the load alone does where both switches of a leg conduct."""
    known = isfinite(point.supply_current)
    return point.supply_current if known else point.load_power / point.link_voltage


def _conditions(line: Timeline, link: LinkCourse) -> Conditions:
    return Conditions(
        frequency=line.frequency.first if line.frequency.constant else line.frequency.at,
        supply_voltage=(link.times, link.bus),
        inductance=line.inductance.at,
        resistance=line.resistance.at,
        stop=line.end,
    )
