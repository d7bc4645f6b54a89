"""Close-ups: full circuit runs only where they decide, started from the fast model's states.

The fast model marches the whole event and knows, cycle by cycle, the slow states to start a
circuit run with. Circuit runs of a few cycles then sample the event: at its ends,
distances, and where the fast model is worst. Around the worst sample of every judged quantity
more samples are put in until its peak is bracketed on both sides; the fast model thus chooses
where to look first, never what is found.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import pi

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.judge.limits import machine_limits
from simkit.measure.series import Series, joined
from simkit.measure.waveforms import Array, Waves
from simkit.parameters.machine import Load, Machine
from simkit.scout.course import Conditions, as_function, link_course
from simkit.scout.drive import machine_edges
from simkit.scout.edgeloss import EdgeLosses
from simkit.scout.envelope import Event, march
from simkit.scout.operating import Case, operating_cases
from simkit.scout.plant import plant_from_machine
from simkit.studies.rehearsal.surrogate import (
    Curve,
    curves,
    fast_courses,
    whole_cycles_of,
    worst_of,
)
from simkit.studies.rehearsal.windows import Stretch, seed_at

INTAKE_POINTS = 9
"""Moments of an event at which a settled intake is worked out first [1]."""
LOOK_CYCLES = 2
"""Cycles measured per sample [1]."""
LEDGER = 3
"""Cycles measured before the first event and at the end, for the operating points [1]."""
APART = LEDGER + 2.0
"""Least distance between the starts of samples, in cycles [1]: their waveforms must not overlap."""
ROUNDS = 3
"""How often samples are added or taken again [1]."""
FLAT = 0.005
"""What a course may rise above the samples without asking for one more [1]."""
COVERED = 0.998
"""A finer run stands for every quantity that comes within this share of its worst there [1]."""
FORCED_SHARE = 0.05
"""Forced currents below this share of the bridge's peak ask for no sample of their own [1]."""
ONSET = 0.4
"""Share of the largest forced current at which its onset is looked at [1]: gate lift is largest
while the current is still moderate."""
WIDE = 0.5
"""Largest gap between samples, as a share of the events' span [1]."""
LEAD = 1.5e-6
"""Kept before the first cycle, so that its first commutation can be shown [s]."""
MEMORIES = 0.0
"""Run-in of a sample, in times of the tank's memory [1]."""
RESIDUE = 0.01
"""A deciding sample that may remember more of its seed than this is taken again [1]."""
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
            link_voltage=state.link_voltage,
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
        return fast_courses(self.event, self._source())

    def scaled(self, seen: Sequence[Stretch], parts: Sequence[str] = ()) -> dict[str, Curve]:
        """Courses of judged quantities over the event, scaled by what samples showed."""
        return curves(self.event, self._source(), seen, parts)

    def _source(self) -> Array:
        time = self.event.cycles.time[whole_cycles_of(self.event)]
        return np.array([self.line.voltage.at(t) for t in time.tolist()])

    def residue(self, stretch: Stretch) -> float:
        """Share of its size by which a sample may still remember its seed when it is measured [1].

        What its seed missed, faded over the run-in.
        """
        missed = self._shown(stretch)[2]
        return float(abs(missed * self._fade(
            stretch.cycles[0].start - stretch.deck.begin, stretch.cycles[0].start)))  # fmt: skip


Look = Callable[[Scouted, float, int, float], Stretch]
"""Seeds, start [s], cycles, run-in in memory times -> the sample."""
Gather = Callable[[Sequence[Callable[[], Stretch]]], list[Stretch]]


def scouted(machine: Machine, line: Timeline, stop: float | None = None) -> Scouted:
    """March the fast model over a timeline, or to a time [s], the link sagging with the load."""
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)
    plant = plant_from_machine(machine, load, line.voltage.first)
    edges = machine_edges(machine)
    losses = EdgeLosses.of(machine, edges.dead_time)
    source, supply = line.voltage.at, machine.supply
    times, taken = _settled_intake(machine, line, line.end if stop is None else stop)
    for _ in range(2):  # what the load draws lowers the link, which lowers what it draws
        link = link_course(times, taken, source, supply.source_resistance, supply.link.capacitance)
        conditions = replace(
            _conditions(line, source), supply_voltage=link, stop=line.end if stop is None else stop
        )
        event = march(plant, conditions, edges, losses=losses)
        times = event.cycles.time
        at = as_function(link)
        taken = event.cycles.supply_current / np.array([at(t) for t in times.tolist()])
    return Scouted(machine, line, event)


def _settled_intake(machine: Machine, line: Timeline, stop: float) -> tuple[Array, Array]:
    """Times [s] to `stop` and what the bridge would draw over the link's voltage [S] if each moment
    of the event lasted."""
    spans = [np.linspace(e.start, e.end, INTAKE_POINTS) for e in line.events]
    times = np.unique(np.concatenate(([0.0, line.end], *spans)))
    if stop < line.end:  # up to there all is settled: the first moment says it all
        times = times[times < stop]
    cases = [
        Case(Load(inductance=line.inductance.at(t), resistance=line.resistance.at(t)),
             line.frequency.at(t), None, line.voltage.at(t))
        for t in times.tolist()
    ]  # fmt: skip
    points = operating_cases(machine, cases)
    taken = np.array([point.supply_current / point.link_voltage for point in points])
    fine = np.linspace(0.0, stop, 20 * len(times))
    return fine, np.interp(fine, times, np.nan_to_num(taken))


def _conditions(line: Timeline, source: Callable[[float], float]) -> Conditions:
    return Conditions(
        frequency=line.frequency.first if line.frequency.constant else line.frequency.at,
        supply_voltage=source,
        inductance=line.inductance.at,
        resistance=line.resistance.at,
        stop=line.end,
    )


def first_times(scout: Scouted, settled: float) -> list[tuple[float, int]]:
    """Where the first samples begin [s] and how many cycles they measure, in order of time."""
    line = scout.line
    times = {max(settled - (LEDGER + 1) / line.frequency.first, 0.0): LEDGER}
    end = line.end - (LEDGER + 1.5) / line.frequency.last
    if end > max(times) + APART / line.frequency.last:
        times[end] = LEDGER
    return sorted(times.items())


def wanted_quantities(machine: Machine) -> frozenset[str]:
    """Quantities whose worst moment must be found: the judged ones, and the loss behind heat."""
    judged = {limit.quantity for limit in machine_limits(machine)}
    return frozenset(judged - {"junction_peak", "junction_held"} | {"loss"})


def apart(wanted: Sequence[float], taken: Sequence[float], least: float) -> list[float]:
    """The wanted times that keep a least distance from the taken ones and from each other [s]."""
    out: list[float] = []
    for time in sorted(wanted):
        if all(abs(time - t) > least for t in (*out, *taken)):
            out.append(time)
    return out


def sample(
    scout: Scouted, settled: float, look: Look, gather: Gather, calm: Sequence[Stretch] = ()
) -> tuple[list[Stretch], dict[float, float]]:
    """Sample a whole event until nothing says that a judged quantity is worse elsewhere.

    `calm`: the sample of the settled part, where there is one already.
    Returns the samples in order of time and the seed's residue in each, by its start.
    """
    period = 1.0 / scout.line.frequency.last
    wanted = wanted_quantities(scout.machine)
    first = first_times(scout, settled)[len(calm) :]
    found = [*calm, *gather([_bound(look, scout, start, n) for start, n in first])]
    residues = {s.cycles[0].start: scout.residue(s) for s in found}
    plan, retaken = worst_to_see(scout, found), list[Stretch]()
    for _ in range(ROUNDS):
        better = scout.corrected(found)
        more = apart(plan, [s.cycles[0].start for s in found], APART * period)
        # Samples from uncorrected seeds that turned out to decide are taken again.
        again = [found[k] for k in deciding(found, wanted)
                 if residues[found[k].cycles[0].start] > RESIDUE
                 and not any(found[k] is s for s in retaken)]  # fmt: skip
        tasks = [_bound(look, better, start, LOOK_CYCLES) for start in more]
        tasks += [_bound(look, better, s.cycles[0].start - 0.1 * period, len(s.cycles))
                  for s in again]  # fmt: skip
        if not tasks:
            break
        fresh = gather(tasks)
        retaken += fresh[len(more) :]
        found = [s for s in found if not any(s is a for a in again)] + fresh
        found.sort(key=lambda s: s.cycles[0].start)
        residues |= {s.cycles[0].start: better.residue(s) for s in fresh}
        plan = worse_elsewhere(scout, found)
    return found, residues


def worst_to_see(scout: Scouted, seen: Sequence[Stretch]) -> list[float]:
    """Starts of the samples that the fast model asks for beside its first and last [s].

    One at the worst cycle of each course unless one already taken comes within `FLAT` of it, one
    where a current is first forced out of a diode in earnest, and halfway across wide gaps.
    """
    if not scout.line.events:
        return []
    time = scout.event.cycles.time[whole_cycles_of(scout.event)]
    half = 0.5 / scout.line.frequency.last
    latest = scout.line.end - (LOOK_CYCLES + 1.5) * 2.0 * half
    taken = [0.5 * (s.cycles[0].start + s.cycles[-1].end) for s in seen]
    for course in scout.courses().values():
        k = int(np.argmax(course))
        covered = max(np.interp(taken, time, course), default=0.0)
        if course[k] > 0.0 and covered < (1.0 - FLAT) * course[k]:
            taken.append(float(time[k]) + half)
    forced = -scout.event.cycles.turn_on_current[whole_cycles_of(scout.event)]
    if np.max(forced) > FORCED_SHARE * np.max(scout.event.cycles.primary_current_peak):
        k = int(np.argmax(forced > ONSET * np.max(forced)))
        if all(abs(time[k] - t) > 12.0 * half for t in taken):
            taken.append(float(time[k]) + half)
    span = scout.line.events[-1].end - scout.line.events[0].start
    for low, high in pairwise(sorted(taken)):
        parts = int((high - low) / (WIDE * span))
        taken += [low + (high - low) * k / (parts + 1) for k in range(1, parts + 1)]
    return [min(max(t - half, 0.0), latest) for t in taken[len(seen):]]  # fmt: skip


def worse_elsewhere(scout: Scouted, seen: Sequence[Stretch]) -> list[float]:
    """Starts of cycles where a scaled course rises by `FLAT` above all samples [s]."""
    wanted = []
    half = 0.5 / scout.line.frequency.last
    for quantity, curve in scout.scaled(seen).items():
        value, time = curve.peak
        if value > (1.0 + FLAT) * max(worst_of(s, quantity) for s in seen):
            wanted.append(max(time - 0.2 * half, 0.0))
    return wanted


def _bound(look: Look, seeds: Scouted, start: float, cycles: int) -> Callable[[], Stretch]:
    return lambda: look(seeds, start, cycles, MEMORIES)


def deciding(stretches: Sequence[Stretch], quantities: frozenset[str]) -> list[int]:
    """Indices of fewest stretches that come within `COVERED` of every quantity's worst value."""
    near: dict[str, set[int]] = {}
    for quantity in quantities:
        values = np.array([worst_of(s, quantity) for s in stretches])
        if np.isfinite(values).all() and values.max() > 0.0:
            near[quantity] = set(np.flatnonzero(values >= COVERED * values.max()).tolist())
    chosen: set[int] = set()
    while near:
        counts = [sum(k in where for where in near.values()) for k in range(len(stretches))]
        best = int(np.argmax(counts))
        chosen.add(best)
        near = {q: where for q, where in near.items() if best not in where}
    return sorted(chosen)


def deciding_cycles(stretch: Stretch, quantities: frozenset[str]) -> tuple[float, float]:
    """From the start of the first to the end of the last cycle that holds a worst value [s]."""
    worst: dict[str, tuple[float, float]] = {}
    for series in stretch.series:
        value, when = series.worst
        if series.quantity in quantities and value > worst.get(series.quantity, (0.0, 0.0))[0]:
            worst[series.quantity] = (value, when)
    times = [when for _, when in worst.values()] or [stretch.cycles[-1].start]
    inside = [c for c in stretch.cycles if any(c.start <= t < c.end for t in times)]
    used = inside or list(stretch.cycles[-1:])
    return used[0].start, used[-1].end


def shown_from(stretch: Stretch) -> float:
    """Where the waveforms of a stretch have settled [s]: a little before what is measured first, a
    cycle, or a transition half a period before it."""
    return min((stretch.cycles[0].start, *(t.time for t in stretch.transitions[:1]))) - LEAD


def merged(stretches: Sequence[Stretch]) -> Stretch:
    """Several stretches as one, in order of time, with gaps between them."""
    first = stretches[0]
    waves = [s.waves.between(shown_from(s), s.waves.time[-1]) for s in stretches]
    kept = [w for w in waves if len(w.time)]
    time = np.concatenate([w.time for w in kept])
    raw = {name: np.concatenate([w.raw[name] for w in kept]) for name in kept[0].raw}
    groups: dict[tuple[str, str], list[Series]] = {}
    for stretch in stretches:
        for series in stretch.series:
            groups.setdefault((series.part, series.quantity), []).append(series)
    return replace(
        first,
        waves=Waves(first.waves.machine, time, raw),
        cycles=tuple(c for s in stretches for c in s.cycles),
        transitions=tuple(t for s in stretches for t in s.transitions),
        recoveries=tuple(r for s in stretches for r in s.recoveries),
        series=tuple(joined(pieces) for pieces in groups.values()),
    )
