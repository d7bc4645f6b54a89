"""The fast model's march over a scenario, as a source of seeds for circuit runs.

What short circuit runs were on their way to, seen from the fast model's seeds, corrects the seeds
of the runs that come after.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, pi

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.figures.record import FastEvent
from simkit.judge.limits import Limit
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.rising import Rising, rises
from simkit.rehearsal.stretches import Stretch, seed_at
from simkit.rehearsal.surrogate import (
    Curve,
    curves,
    fast_courses,
    fast_event,
    followed,
    whole_cycles_of,
)
from simkit.scout.course import Conditions, LinkCourse, link_course
from simkit.scout.drive import machine_edges
from simkit.scout.edgeloss import EdgeLosses
from simkit.scout.envelope import Event, march
from simkit.scout.operating import Case, OperatingPoint, operating_cases
from simkit.scout.plant import plant_from_machine

INTAKE_POINTS = 9
"""Moments of an event at which a settled intake is worked out first [1]."""
LINK_NEAR = 2.5e-3
"""What the link may move without another march [1]: below what the fast model's swing is
trusted to."""
SWING_TRUSTED = 0.015
"""Difference in swing below which a seed keeps the fast model's [1]."""
LEAST_SEEN = 0.25
"""Least share of a gap that a run is taken to have shown [1]: a smaller one would blow up what else
the run saw change."""
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

    def seed(self, begin: float) -> Seed:
        """Slow states for a deck that begins at a time [s], corrected by what runs have shown."""
        state = self.event.state_at(begin)
        turned = self._tank(state.coil_current, state.tank_voltage, begin) * self._ratio(begin)
        coil = turned.real
        load = state.load_current + (coil - state.coil_current)
        if self.machine.tank.feed == "shunt":
            load = state.load_current
        ratio = self.machine.transformer.ratio
        return Seed(
            link_voltage=self.link.capacitor_at(begin),
            film_voltage=state.link_voltage,
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
        raw = replace(self, times=(), ratios=())
        shown = sorted((raw._shown(stretch)[:2] for stretch in stretches), key=lambda p: p[0])
        # The fast model's swing is right to less than what a short run can show; its angle is not.
        shown = [(t, r / abs(r) if abs(abs(r) - 1.0) < SWING_TRUSTED else r) for t, r in shown]
        return replace(raw, times=tuple(t for t, _ in shown), ratios=tuple(r for _, r in shown))

    def _shown(self, stretch: Stretch) -> tuple[float, complex, complex]:
        """Time near the end of a run; the ratio of the circuit's tank state to the fast model's
        that the run tends to; and by how much its seed missed that.

        A gap of the tank's state fades as exp(-t/memory) while it turns at the difference of the
        tank's own frequency and the drive's, so that what is seen of it at the end says all of it.
        """
        begin, end = stretch.deck.begin, self._last_quiet(stretch)
        first, last = self._ratio_at(stretch, begin), self._ratio_at(stretch, end)
        seen = 1.0 - self._fade(end - begin, end)
        missed = (last - first) / (seen if abs(seen) > LEAST_SEEN else LEAST_SEEN)
        return end, first + missed, missed

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

    def courses(self) -> dict[str, Array]:
        """The fast model's companion of each judged quantity, per whole cycle."""
        return fast_courses(self.fast)

    def scaled(self, seen: Sequence[Stretch], parts: Sequence[str] = ()) -> dict[str, Curve]:
        """Courses of judged quantities over the event, scaled by what samples showed."""
        return curves(self.fast, seen, parts)

    def rises(self, limits: Mapping[str, Limit], seen: Sequence[Stretch] = ()) -> dict[str, Rising]:
        """What still rises where the event ends, by the fast model; with samples seen, to scale."""
        if not self.line.events:
            return {}
        since = max(e.end for e in self.line.events)
        if seen:
            known = self.scaled(seen)
            return rises(((n, c.time, c.values) for n, c in known.items()), limits, since)
        time = self.event.cycles.time[whole_cycles_of(self.event)]
        on_top = {n for n, way in followed().items() if way.above is not None}
        shapes = ((n, time, v) for n, v in self.courses().items() if n not in on_top)
        return rises(shapes, {}, since)

    @property
    def fast(self) -> FastEvent:
        """What the fast model knows of the whole cycles."""
        time = self.event.cycles.time[whole_cycles_of(self.event)]
        source = np.array([self.line.voltage.at(t) for t in time.tolist()])
        return fast_event(self.machine, self.event, source)

    def residue(self, stretch: Stretch) -> float:
        """Share of its size by which a sample may still remember its seed when it is measured [1].

        What its seed missed, faded over the run-in.
        """
        missed = self._shown(stretch)[2]
        return float(abs(missed * self._fade(
            stretch.cycles[0].start - stretch.deck.begin, stretch.cycles[0].start)))  # fmt: skip


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
        return march(plant, _conditions(line, link), edges, losses=losses)

    link = _link(machine, line, *_settled_intake(machine, line))
    event = marched(link)
    times = event.cycles.time
    after = _link(machine, line, times, event.cycles.supply_current / link.bus_at(times))
    if np.max(np.abs(after.bus / link.bus_at(times) - 1.0)) > LINK_NEAR:
        link, event = after, marched(after)
    return Scouted(machine, line, event, link)


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
