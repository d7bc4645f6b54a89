"""Close-ups: full circuit runs only where they decide, started from the fast model's states.

The fast model marches the whole event and knows, cycle by cycle, the slow states to start a
circuit run with. Circuit runs of a few cycles then sample the event: at its ends, at even
distances, and where the fast model is worst. Around the worst sample of every judged quantity
more samples are put in until its peak is bracketed on both sides; the fast model thus chooses
where to look first, never what is found.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.judge.limits import machine_limits
from simkit.measure.series import Series, joined
from simkit.measure.waveforms import Array, Waves
from simkit.parameters.machine import Load, Machine
from simkit.scout.course import Conditions, link_course
from simkit.scout.drive import machine_edges
from simkit.scout.edgeloss import EdgeLosses
from simkit.scout.envelope import Event, march
from simkit.scout.operating import Case, operating_cases
from simkit.scout.plant import plant_from_machine
from simkit.scout.windows import criteria
from simkit.studies.windows import Stretch, seed_at

INTAKE_POINTS = 9
"""Moments of an event at which a settled intake is worked out first [1]."""
LOOK_CYCLES = 2
"""Cycles measured per sample [1]."""
LEDGER = 6
"""Cycles measured before the first event and at the end, for the operating points [1]."""
EVEN_SAMPLES = 6
"""Samples at even distances over the event [1]."""
ROUNDS = 3
"""How often the brackets around the worst samples are halved [1]."""
FLAT = 0.01
"""A neighbour within this share of the worst sample needs no bracket [1]."""
LEAD = 1.5e-6
"""Kept before the first cycle, so that its first commutation can be shown [s]."""
MEMORIES = 0.5
"""Run-in of a sample, in times of the tank's memory [1]."""
RESIDUE = 0.005
"""A deciding sample that may remember more of its seed than this is taken again [1]."""
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
        """The same, with seeds corrected by what some circuit runs ended in."""
        raw = replace(self, times=(), ratios=())
        shown = sorted((raw._shown(stretch) for stretch in stretches), key=lambda pair: pair[0])
        return replace(raw, times=tuple(t for t, _ in shown), ratios=tuple(r for _, r in shown))

    def _shown(self, stretch: Stretch) -> tuple[float, complex]:
        """Time near the end of a run, and the circuit's tank state over the seed's there."""
        time = self._last_quiet(stretch)
        real, mine = seed_at(stretch.waves, time), self.seed(time)
        above = self._tank(real.coil_current, real.tank_voltage, time)
        below = self._tank(mine.coil_current, mine.tank_voltage, time)
        return time, above / below if abs(below) > 0.0 else 1.0 + 0.0j

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

    def worst_times(self) -> list[float]:
        """Start of the cycle in which the fast model is worst, by each of its criteria [s]."""
        time = self.event.cycles.time
        return [float(time[int(np.argmax(v))]) for v in criteria(self.event).values()]

    def residue(self, stretch: Stretch) -> float:
        """Share of its size by which a sample may still remember its seed when it is measured [1].

        The circuit's tank state parts from the seed's by a gap that grows as the memory fades,
        gap = full (1 - exp(-k)) after k memory times; exp(-k) of the full gap is still there when
        measuring begins.
        """
        time, ratio = self._shown(stretch)
        memory = self.memory(time)
        grown = 1.0 - np.exp(-(time - stretch.deck.begin) / memory)
        left = np.exp(-(stretch.cycles[0].start - stretch.deck.begin) / memory)
        return float(abs(ratio - 1.0) / max(grown, 0.1) * left)


Look = Callable[[Scouted, float, int, float], Stretch]
"""Seeds, start [s], cycles, run-in in memory times -> the sample."""
Gather = Callable[[Sequence[Callable[[], Stretch]]], list[Stretch]]


def scouted(machine: Machine, line: Timeline) -> Scouted:
    """March the fast model over a timeline, the link sagging with the load."""
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)
    plant = plant_from_machine(machine, load, line.voltage.first)
    edges = machine_edges(machine)
    losses = EdgeLosses.of(machine, edges.dead_time)
    source, supply = line.voltage.at, machine.supply
    times, drawn = _settled_intake(machine, line)
    for _ in range(2):  # what the load draws lowers the link, which lowers what it draws
        link = link_course(times, drawn, source, supply.source_resistance, supply.link.capacitance)
        conditions = replace(_conditions(line, source), supply_voltage=link)
        event = march(plant, conditions, edges, losses=losses)
        times, drawn = event.cycles.time, event.cycles.supply_current
    return Scouted(machine, line, event)


def _settled_intake(machine: Machine, line: Timeline) -> tuple[Array, Array]:
    """Times [s] and what the bridge would draw [A] if each moment of the event lasted."""
    spans = [np.linspace(e.start, e.end, INTAKE_POINTS) for e in line.events]
    times = np.unique(np.concatenate(([0.0, line.end], *spans)))
    cases = [
        Case(Load(inductance=line.inductance.at(t), resistance=line.resistance.at(t)),
             line.frequency.at(t), None, line.voltage.at(t))
        for t in times.tolist()
    ]  # fmt: skip
    drawn = np.array([point.supply_current for point in operating_cases(machine, cases)])
    fine = np.linspace(0.0, line.end, 20 * len(times))
    return fine, np.interp(fine, times, np.nan_to_num(drawn))


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
    period = 1.0 / line.frequency.first
    last = 1.0 / line.frequency.last
    times = {max(settled - (LEDGER + 1) * period, 0.0): LEDGER}
    end = line.end - (LEDGER + 1.5) * last
    if line.events:
        span = line.events[-1].end - settled
        even = [settled + span * k / EVEN_SAMPLES for k in range(1, EVEN_SAMPLES + 1)]
        for time in (*even, *scout.worst_times()):
            start = min(max(time - 0.5 * period, 0.0), line.end - (LOOK_CYCLES + 1.5) * last)
            if all(abs(start - other) > 3.0 * period for other in (*times, end)):
                times[start] = LOOK_CYCLES
    if end > max(times):
        times[end] = LEDGER
    return sorted(times.items())


def wanted_quantities(machine: Machine) -> frozenset[str]:
    """Quantities whose worst moment must be found: the judged ones, and the loss behind heat."""
    judged = {limit.quantity for limit in machine_limits(machine)}
    return frozenset(judged - {"junction_peak", "junction_held"} | {"loss"})


def worst_of(stretch: Stretch, quantity: str) -> float:
    """Largest value of a quantity over all parts in one stretch."""
    values = [s.worst[0] for s in stretch.series if s.quantity == quantity]
    return max(values, default=float("nan"))


def crossings_to_fill(stretches: Sequence[Stretch], machine: Machine, period: float) -> list[float]:
    """Times halfway between the last sample within a limit and the first over it [s]."""
    wanted = []
    for limit in machine_limits(machine):
        values = np.array([worst_of(s, limit.quantity) for s in stretches])
        over = np.flatnonzero(values > limit.bound)
        if len(over) == 0 or over[0] == 0:
            continue
        before, after = (stretches[int(over[0]) + k].cycles[0].start for k in (-1, 0))
        if after - before > 6.0 * period:
            wanted.append(0.5 * (before + after))
    return wanted


def gaps_to_fill(
    stretches: Sequence[Stretch], quantities: frozenset[str], period: float
) -> list[float]:
    """Times halfway to the neighbours of each quantity's worst sample, if not flat [s]."""
    times = [s.cycles[0].start for s in stretches]
    wanted: list[float] = []
    for quantity in quantities:
        values = np.array([worst_of(s, quantity) for s in stretches])
        if not np.isfinite(values).all() or values.max() <= 0.0:
            continue
        k = int(np.argmax(values))
        for other in (k - 1, k + 1):
            if not 0 <= other < len(values):
                continue
            near = values[other] > (1.0 - FLAT) * values[k]
            gap = abs(times[other] - times[k])
            if near or gap < 6.0 * period:
                continue
            wanted.append(0.5 * (times[other] + times[k]))
    return wanted


def apart(wanted: Sequence[float], taken: Sequence[float], least: float) -> list[float]:
    """The wanted times that keep a least distance from the taken ones and from each other [s]."""
    out: list[float] = []
    for time in sorted(wanted):
        if all(abs(time - t) > least for t in (*out, *taken)):
            out.append(time)
    return out


def sample(
    scout: Scouted, settled: float, look: Look, gather: Gather
) -> tuple[list[Stretch], dict[float, float]]:
    """Sample a whole event until the worst moment of every judged quantity is bracketed.

    Returns the samples in order of time and the seed's residue in each, by its start.
    """
    period = 1.0 / scout.line.frequency.last
    wanted = wanted_quantities(scout.machine)
    plan = first_times(scout, settled)
    found = gather([_bound(look, scout, start, cycles, 0.0) for start, cycles in plan])
    residues = {s.cycles[0].start: scout.residue(s) for s in found}
    for _ in range(ROUNDS):
        better = scout.corrected(found)
        gaps = gaps_to_fill(found, wanted, period)
        gaps += crossings_to_fill(found, scout.machine, period)
        more = apart(gaps, [s.cycles[0].start for s in found], 3.0 * period)
        # Samples from uncorrected seeds that turned out to decide are taken again.
        again = [found[k] for k in deciding(found, wanted)
                 if residues[found[k].cycles[0].start] > RESIDUE]  # fmt: skip
        tasks = [_bound(look, better, start, LOOK_CYCLES, MEMORIES) for start in more]
        tasks += [_bound(look, better, s.cycles[0].start - 0.1 * period, len(s.cycles), MEMORIES)
                  for s in again]  # fmt: skip
        if not tasks:
            break
        fresh = gather(tasks)
        found = [s for s in found if not any(s is a for a in again)] + fresh
        found.sort(key=lambda s: s.cycles[0].start)
        residues |= {s.cycles[0].start: better.residue(s) for s in fresh}
    return found, residues


def _bound(
    look: Look, seeds: Scouted, start: float, cycles: int, memories: float
) -> Callable[[], Stretch]:
    return lambda: look(seeds, start, cycles, memories)


def deciding(stretches: Sequence[Stretch], quantities: frozenset[str]) -> list[int]:
    """Indices of the stretches that hold the worst value of some quantity."""
    chosen = set()
    for quantity in quantities:
        values = [worst_of(s, quantity) for s in stretches]
        if np.isfinite(values).all() and max(values) > 0.0:
            chosen.add(int(np.argmax(values)))
    return sorted(chosen)


def merged(stretches: Sequence[Stretch]) -> Stretch:
    """Several stretches as one, in order of time, with gaps between them."""
    first = stretches[0]
    waves = [s.waves.between(s.cycles[0].start - LEAD, s.waves.time[-1]) for s in stretches]
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
