"""The runs of one rehearsal: the whole event, samples of it, and what decides on finer steps."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from math import pi, sqrt

from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck
from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.errors import EngineError, Unworkable
from simkit.measure.commutation import AFTER, DELAYS
from simkit.parameters.machine import Machine
from simkit.rehearsal import closeup
from simkit.rehearsal.discretisation import SAME
from simkit.rehearsal.driving import whole_line
from simkit.rehearsal.error_budget import SecondRuns
from simkit.rehearsal.ladder import climb
from simkit.rehearsal.refining import Task
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.settings import Settings
from simkit.rehearsal.settled_state import Begun, begun
from simkit.rehearsal.start_flux import with_kick
from simkit.rehearsal.stretches import Stretch, seed_at
from simkit.run.backend import EngineRun, Progress
from simkit.scout.drive import gate_delays

WORKING = Analysis(step=20e-9, reltol=1e-4)
LOOK = Analysis(step=40e-9, reltol=3e-4)
"""Of the samples within an event; those that tell an operating point are run like a whole run. What
decides is run again with FINE."""
FINE = Analysis(step=10e-9, reltol=5e-5)
RUN_IN = 8
"""Cycles before anything is measured in a whole run [1]."""
FAULT_RUN_IN = 4
"""The same with a fault, before which some settled cycles are shown anyway [1]."""
FINE_RUN_IN = 1
"""Cycles of run-in of a finer run started from an engine run [1]."""
REPEATED = 150.0
"""Cycles up to which a whole run is repeated as a whole on finer steps [1]: where the tank settles
depends on the steps too, and a recovery on a small share of its swing. From a coarse run's states a
few finer cycles told a recovery's slopes 3 % short and claimed a tenth of that."""
SPAN = 12
"""Most cycles of a finer run that is not the whole event [1]."""
FLOATING = ("driver-unpowered", "gate-open", "gate-reversed")
"""Faults in which currents go by the very voltage of a gate."""
FAR_OFF = 0.02
"""A start this far off is put right twice [1]: what is off in proportion is then a tenth of it."""
MARGIN = 0.2e-6
"""Run on after the last commutation has been watched [s]."""
LAST = 1.6
"""A sample whose last cycle ends so near the end of the scenario, in cycles [1], goes on to it."""


def watched_after(machine: Machine, half: float) -> float:
    """How long after its incoming command a commutation may be watched [s], in a half-period [s].

    By the gate's delay as the fast model has it, half as much again for what that leaves out; what
    an edge is watched in the end is by the delay in the waveforms.
    """
    try:
        late = 1.5 * DELAYS * gate_delays(machine).on
    except Unworkable:
        return AFTER
    return max(AFTER, min(late, half - machine.drive.dead_time))


DoorRunner = Callable[[Deck, Progress | None], EngineRun]


class Counter:
    """Progress over a number of runs not known beforehand: never backwards, never done early."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress
        self._done = 0
        self._share = 0.0
        self.points = 0
        """Time points that the runs have taken so far [1]: what they cost, on any machine."""

    def tick(self, points: int = 0) -> None:
        """One run is done, in so many time points."""
        self._done += 1
        self.points += points
        self.show(self._done / (self._done + 6.0))

    def show(self, share: float) -> None:
        """At least this share is done."""
        self._share = max(self._share, share)
        if self._progress:
            self._progress(self._share)

    def finish(self) -> None:
        """All is done."""
        self.show(1.0)


@dataclass
class Job:
    """The runs of one rehearsal."""

    machine: Machine
    scout: Scouted
    runner: DoorRunner
    settings: Settings
    counter: Counter
    retries: list[str]
    begun: Begun | None = None
    """Where a whole run starts from in place of the fast model's state."""

    def __post_init__(self) -> None:
        self.parts: dict[str, tuple[Timeline, Seed, float]] = {}
        """By a deck's digest: the part of the timeline, its start, since when it is measured."""

    def whole(self) -> Stretch:
        """The circuit through the whole event."""
        part, seed, since = self.whole_part()
        show = self.counter.show

        def runner(deck: Deck) -> EngineRun:
            return self.runner(deck, lambda p: show(0.7 * p))

        done = climb(self.machine, part, seed, WORKING, runner, since, self.retries)
        if part.inside and done.line is not None:  # what follows goes by the clock that it ran by
            line = replace(self.scout.line, as_it_ran=True, frequency=done.line.frequency,
                           _clock=done.line._clock)  # fmt: skip
            self.scout = replace(self.scout, line=line)
        return done

    def whole_part(self) -> tuple[Timeline, Seed, float]:
        """The whole event with its run-in, what it starts from, since when it is measured [s]."""
        part = self._all()
        return part, self._start_of(part), whole_from(self.scout.line)

    def _start_of(self, part: Timeline) -> Seed:
        """What a run of the whole event starts from."""
        if self.begun is not None:
            return self.begun.at(part.phase(part.begin))
        seed = self.scout.seed(part.begin)
        if self.scout.line.opens > 0.0:  # in the midst of the event, from where samples do
            return with_kick(self.machine, part, part.begin, seed)
        return seed

    def _all(self, more: float = 0.0) -> Timeline:
        """The whole event with its run-in, longer by some cycles."""
        line = whole_line(self.scout.line)
        cycles = more + (FAULT_RUN_IN if line.faults else RUN_IN)
        return line.stretch(line.opens - cycles / line.frequency.at(line.opens), line.end)

    def look(self, seeds: Scouted, start: float, cycles: int, memories: float) -> Stretch:
        """A few cycles from a time on, started from the fast model's state."""
        line = self.scout.line
        first, last = cycles_from(line, start, cycles)
        part = line.stretch(first - seeds.run_in(first, memories), self._stop(last))
        seed = with_kick(self.machine, part, part.begin, seeds.seed(part.begin))
        return self._run(part, seed, WORKING if cycles >= closeup.LEDGER else LOOK, start)

    def calm(self, settled: float) -> Stretch:
        """The last cycles of the settled part, which ends at a time [s]."""
        start, cycles = closeup.first_times(self.scout, settled)[0]
        return self.look(self.scout, start, cycles, 0.0)

    def settled_start(self, corrected: Scouted, calm: Stretch) -> Begun | None:
        """The start with which a run of the settled part would have gone on as it began; by one
        more run where that is another start altogether.

        `corrected`: the seeds that count where that run tells too little. None where there is no
        steady drive to begin with, or none that the deck's own commands make.
        """
        line, known = self.scout.line, self.parts.get(calm.deck.digest)
        if line.opens > 0.0 or line.oscillator is not None or not steady(line) or known is None:
            return None
        part, seed, since = known
        otherwise = corrected.seed(calm.deck.begin)
        found = begun(self.machine, line, calm, seed, otherwise)
        if found.changed <= FAR_OFF:
            return found
        seed = found.at(found.phase)
        try:
            again = self._run(part, seed, calm.analysis, since)
        except EngineError as error:
            self.retries.append(f"settled part again: {error.reason}")
            return found
        link = self.scout.corrected([again]).seed(again.deck.begin)
        return begun(self.machine, line, again, seed, link)

    def finer(self, stretches: Sequence[Stretch]) -> list[Stretch]:
        """The stretches that decide, with finer steps."""
        wanted = closeup.wanted_quantities(self.machine)
        if self.scout.line.faults or (self.settings.whole and self.scout.line.cycles <= REPEATED):
            return self.gather([lambda: self._fine_whole(FINE)])
        if self.settings.whole:
            spans = worst_spans(stretches[0], self.scout.line, wanted)
            return self.gather([self._fine_at(stretches[0], a, b) for a, b in spans])
        chosen = [stretches[k] for k in closeup.deciding(stretches, wanted)]
        spans = [closeup.deciding_cycles(s, wanted) for s in chosen]
        return self.gather([self._fine_at(s, *span) for s, span in zip(chosen, spans, strict=True)])

    def finer_at(self, rough: Stretch, fine: Stretch, analysis: Analysis) -> Task:
        """A finer run of what a fine one covers, from the first pass's states."""
        if self.scout.line.faults or len(fine.cycles) > SPAN:
            return lambda: self._fine_whole(analysis)
        return self._fine_at(rough, fine.cycles[0].start, fine.cycles[-1].end, analysis)

    def again(self, seeds: Scouted, rough: Stretch, memories: float) -> Task:
        """A stretch of the first pass with a longer run-in."""
        first = rough.cycles[0]
        start = first.start - 0.1 * first.length
        return lambda: self.look(seeds, start, len(rough.cycles), memories)

    def elsewhere(self, seeds: Scouted, start: float, cycles: int) -> Task:
        """A new sample from a time on [s]."""
        return lambda: self.look(seeds, start, cycles, closeup.MEMORIES)

    def second_runs(self, fine: Sequence[Stretch], second: DoorRunner) -> SecondRuns:
        """The finest run of each deciding stretch on another engine, the same deck."""
        finest = {round(s.cycles[0].start / SAME): s for s in fine}
        missed: list[str] = []

        def runner(deck: Deck) -> EngineRun:
            return second(deck, None)

        def asked(ours: Stretch) -> Stretch:
            part, seed, since = self.parts[ours.deck.digest]
            try:
                return climb(self.machine, part, seed, ours.analysis, runner, since, missed)
            except EngineError as error:
                missed.append(f"from {part.begin * 1e3:.4g} ms: no answer: {error.reason}")
                return ours

        runs = self.gather([partial(asked, ours) for ours in finest.values()])
        pairs = [(a, b) for a, b in zip(finest.values(), runs, strict=True) if a is not b]
        name = pairs[0][1].run.engine if pairs else ""
        return SecondRuns(name, tuple(pairs), tuple(sorted(missed)))

    def _fine_whole(self, analysis: Analysis) -> Stretch:
        """The whole event again: what a fault leaves behind is in no seed.

        Where a gate's fault lets its winding's ringing go on in what follows, every other pass
        starts half a ringing earlier: what that changes counts as an error too.
        """
        part = self._all(ringing_half(self.machine, self.scout.line) if analysis == FINE else 0.0)
        return self._run(part, self._start_of(part), analysis, whole_from(self.scout.line))

    def _fine_at(
        self, rough: Stretch, start: float, end: float, analysis: Analysis | None = None
    ) -> Task:
        line = self.scout.line
        period = 1.0 / line.frequency.at(start)
        part = line.stretch(start - FINE_RUN_IN * period, self._stop(end))
        seed = with_kick(self.machine, part, part.begin, seed_at(rough.waves, part.begin))
        return lambda: self._run(part, seed, analysis or FINE, start - 0.1 * period)

    def _stop(self, last: float) -> float:
        """Where a run stops whose last whole cycle ends at a time [s]: when the commutation there
        has been watched, or at the end of the scenario if that is near."""
        line = self.scout.line
        if line.end - last <= LAST / line.frequency.last:
            return line.end
        watched = watched_after(self.machine, 0.5 / line.frequency.at(last))
        return min(last + 0.5 * self.machine.drive.dead_time + watched + MARGIN, line.end)

    def _run(self, part: Timeline, seed: Seed, analysis: Analysis, measured: float) -> Stretch:
        def runner(deck: Deck) -> EngineRun:
            return self.runner(deck, None)

        done = climb(self.machine, part, seed, analysis, runner, measured, self.retries)
        self.parts[done.deck.digest] = (part, seed, measured)
        self.counter.tick(len(done.waves.time))
        return done

    def gather(self, tasks: Sequence[Task]) -> list[Stretch]:
        """All results in the order of the tasks, some tasks at a time."""
        if self.settings.jobs == 1 or len(tasks) < 2:
            return [task() for task in tasks]
        with ThreadPoolExecutor(self.settings.jobs) as pool:
            return list(pool.map(lambda task: task(), tasks))


def ringing_half(machine: Machine, line: Timeline) -> float:
    """Half a period of a gate winding's ringing with its capacitor, in cycles of the drive, in
    some faults of gates [1]; zero elsewhere: pi sqrt(L C) f."""
    winding = machine.drive.transformer
    if winding is None or all(f.kind not in FLOATING for f in line.faults):
        return 0.0
    seconds = pi * sqrt(winding.magnetising_inductance * winding.coupling_capacitance)
    return seconds * line.frequency.first


def steady(line: Timeline) -> bool:
    """Whether drive and source stand still before the first event, and are on."""
    begin = min((e.start for e in line.events), default=line.end)
    moved = (p.constant or p.at(begin) == p.first for p in (line.frequency, line.voltage))
    return all(moved) and not any(f.kind == "start" for f in line.faults)


def whole_from(line: Timeline) -> float:
    """Since when a whole run is measured [s]: from the start of the cycle that holds time zero."""
    if line.opens > 0.0:
        return line.opens
    return line.time_of(-0.5) - SAME


def cycles_from(line: Timeline, start: float, cycles: int) -> tuple[float, float]:
    """Where the first of so many whole cycles after a time begins, and the last one ends [s].

    Cycles begin where switch 1 goes off.
    """
    later = line.boundaries(start, start + (cycles + 2) / line.frequency.at(start))
    first = 0 if line.upper_first(float(later[0])) else 1
    return float(later[first]), float(later[first + 2 * cycles])


def worst_spans(
    whole: Stretch, line: Timeline, wanted: frozenset[str]
) -> list[tuple[float, float]]:
    """Stretches [s] around the worst moment of every quantity, merged where they touch."""
    worst: dict[str, tuple[float, float]] = {}
    for series in whole.series:
        value, when = series.worst
        if series.quantity in wanted and value > worst.get(series.quantity, (0.0, 0.0))[0]:
            worst[series.quantity] = (value, when)
    spans = []
    for _, when in worst.values():
        period = 1.0 / line.frequency.at(when)
        low = max(when - 1.5 * period, float(whole.waves.time[0]) + 3.0 * period)
        spans.append((low, min(low + 3.0 * period, line.end)))
    merged: list[tuple[float, float]] = []
    for start, stop in sorted(spans):
        if merged and start <= merged[-1][1] + 3e-6:
            merged[-1] = (merged[-1][0], max(stop, merged[-1][1]))
        else:
            merged.append((start, stop))
    return merged
