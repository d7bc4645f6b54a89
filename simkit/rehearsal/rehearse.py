"""A rehearsal of one scenario: settle, let the events happen, measure, judge.

As a rule the event is sampled by close-ups (see closeup.py); with `whole` the circuit runs through
the whole event. Either way the stretches that decide run again with finer steps, started from the
first run's slow states; the finer figures count, and the difference between the two, with what
the start from the fast model may have left, is the stated numerical error. Where that is too
large to judge a figure, it is computed again (see refining.py).
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.timeline import Timeline, timeline
from simkit.circuit.values import Seed
from simkit.errors import EngineError
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal import closeup
from simkit.rehearsal.aftermath import with_aftermath
from simkit.rehearsal.discretisation import SAME, periodicity
from simkit.rehearsal.error_budget import Findings, SecondRuns, assessed
from simkit.rehearsal.findings import Rehearsal, findings
from simkit.rehearsal.refining import ROUNDS, Passes, Task, refine_round
from simkit.rehearsal.scouting import Scouted, scouted
from simkit.rehearsal.settings import Settings
from simkit.rehearsal.start_flux import with_kick
from simkit.rehearsal.stretches import Runner, Stretch, run_stretch, seed_at
from simkit.rehearsal.warming import expected, warmed
from simkit.run.backend import EngineRun, Progress

WORKING = Analysis(step=20e-9, reltol=1e-4)
LOOK = Analysis(step=40e-9, reltol=3e-4)
"""Of the samples: what decides is run again with FINE."""
FINE = Analysis(step=10e-9, reltol=5e-5)
RUN_IN = 8
"""Cycles before anything is measured in a whole run [1]."""
FAULT_RUN_IN = 4
"""The same with a fault, before which some settled cycles are shown anyway [1]."""
FINE_RUN_IN = 1
"""Cycles of run-in of a finer run started from an engine run [1]."""
STEP = 2.0
"""Cycles within which any change is a step that the fast model's averages blur [1]."""
SHORT = 500.0
"""Cycles up to which an event that samples cannot follow runs whole [1]: a gigabyte, 12 s."""
WATCHED = 1.2e-6
"""Time after the last boundary that its commutation needs to be measured [s]."""

DoorRunner = Callable[[Deck, Progress | None], EngineRun]

LADDER: tuple[tuple[str, Callable[[Analysis], Analysis]], ...] = (
    ("as planned", lambda a: a),
    ("nodes from zero", lambda a: replace(a, start_nodes=False)),
    ("abstol 1e-5", lambda a: replace(a, abstol=1e-5)),
    ("trtol 3", lambda a: replace(a, trtol=3.0)),
    ("gear", lambda a: replace(a, method="gear", step=a.step / 2)),
    ("gear, reltol 5e-4",
     lambda a: replace(a, method="gear", step=a.step / 2, reltol=max(a.reltol, 5e-4))),
)  # fmt: skip
"""What is tried, in order, when the engine stops early. A coarse tolerance only with gear, whose
peaks it makes a little wrong; those of the trapezoidal rule it can double."""


def scenario_deck(machine: Machine, scenario: Scenario, analysis: Analysis = WORKING) -> Deck:
    """Deck of the whole run of a scenario."""
    line = timeline(machine, scenario)
    part = line.stretch(-RUN_IN / line.frequency.first, line.end)
    return machine_deck(machine, part, scouted(machine, line).seed(part.begin), analysis)


def rehearse(
    machine: Machine,
    scenario: Scenario,
    runner: DoorRunner,
    progress: Progress | None = None,
    settings: Settings = Settings(),  # noqa: B008 - frozen
    second: DoorRunner | None = None,
) -> Rehearsal:
    """Run, measure and judge one scenario; `second` runs the deciding decks on another engine.

    Errors: EngineError when the engine gives no whole answer even on the last rung of the ladder.
    """
    line = timeline(machine, scenario)
    if line.faults or abrupt(line):  # nothing may be sampled by a model that does not follow them
        settings = replace(settings, whole=True)
    counter, retries, warm, calm = _Counter(progress), list[str](), None, list[Stretch]()
    settled = closeup.settled_until(line)
    scouts: list[Scouted] = []

    def settled_run(trial: Machine) -> Stretch:
        scouts.append(scouted(trial, line))
        return _Job(trial, scouts[-1], runner, settings, counter, retries).calm(settled)

    if machine.switch.warming is not None:
        machine, warm, last = warmed(machine, settled_run, expected(machine, line))
        calm.append(last)
    scout = scouts[-1] if scouts else scouted(machine, line)
    job = _Job(machine, scout, runner, settings, counter, retries)
    passes = Passes([], [], {})
    if settings.whole:
        passes.stretches = [job.whole()]
    else:
        passes.stretches, passes.residues = closeup.sample(
            scout, settled, job.look, job.gather, calm
        )
    residue = _settled(passes, scout, settled)

    def found(second: SecondRuns | None = None) -> Findings:
        return Findings(
            machine, scenario, line, scout, tuple(passes.stretches), tuple(passes.fine),
            passes.residues, tuple(sorted(retries)), settings.whole, warm, residue, second,
        )  # fmt: skip

    if settings.refine:
        passes.fine = job.finer(passes.stretches)
        for number in range(ROUNDS):
            doubtful = assessed(found()).doubtful(machine)
            kept = passes.copy()
            try:
                if not doubtful or not refine_round(
                    job, scout, passes, doubtful, number, settings.whole
                ):
                    break
            except EngineError as error:  # what it was to make certain stays in doubt
                retries.append(f"refinement: {error.reason}")
                passes = kept
                break
            residue = _settled(passes, scout, settled)
    asked = job.second_runs(passes.fine, second) if second else None
    counter.finish()
    return with_aftermath(findings(found(asked)))


def abrupt(line: Timeline) -> bool:
    """Whether something changes within so few cycles that its worst may lie in one between samples,
    in an event short enough to run whole."""
    steps = [e for e in line.events if (e.end - e.start) * line.frequency.at(e.start) < STEP]
    return (bool(steps) or closeup.quick(line)) and line.end * line.frequency.first < SHORT


def _settled(passes: Passes, scout: Scouted, settled: float) -> float | None:
    """How far the settled part is from periodic; what decides there may be off by as much."""
    calm = [s for s in passes.stretches if s.cycles[0].end <= settled + 1e-9]
    if not calm:
        return None
    last = calm[-1]
    cycles = tuple(c for c in last.cycles if c.end <= settled + 1e-9)
    left = periodicity(replace(last, cycles=cycles), scout.memory(cycles[0].start))
    if not np.isfinite(left):
        return None
    start = last.cycles[0].start
    passes.residues[start] = max(passes.residues.get(start, 0.0), left)
    return left


class _Counter:
    """Progress over a number of runs not known beforehand: never backwards, never done early."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress
        self._done = 0
        self._share = 0.0

    def tick(self) -> None:
        """One run is done."""
        self._done += 1
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
class _Job:
    """The runs of one rehearsal."""

    machine: Machine
    scout: Scouted
    runner: DoorRunner
    settings: Settings
    counter: _Counter
    retries: list[str]

    def __post_init__(self) -> None:
        self.parts: dict[str, tuple[Timeline, Seed, float]] = {}
        """By a deck's digest: the part of the timeline, its start, since when it is measured."""

    def whole(self) -> Stretch:
        """The circuit through the whole event."""
        part = self._all()
        show = self.counter.show

        def runner(deck: Deck) -> EngineRun:
            return self.runner(deck, lambda p: show(0.7 * p))

        seed = self.scout.seed(part.begin)
        return climb(self.machine, part, seed, WORKING, runner, 0.0, self.retries)

    def _all(self) -> Timeline:
        """The whole event with its run-in."""
        line = self.scout.line
        cycles = FAULT_RUN_IN if line.faults else RUN_IN
        return line.stretch(-cycles / line.frequency.first, line.end)

    def look(self, seeds: Scouted, start: float, cycles: int, memories: float) -> Stretch:
        """A few cycles from a time on, started from the fast model's state."""
        line = self.scout.line
        first, last = _cycles_from(line, start, cycles)
        part = line.stretch(first - seeds.run_in(first, memories), min(last + WATCHED, line.end))
        seed = with_kick(self.machine, part, part.begin, seeds.seed(part.begin))
        return self._run(part, seed, LOOK, start)

    def calm(self, settled: float) -> Stretch:
        """The last cycles of the settled part, which ends at a time [s]."""
        start, cycles = closeup.first_times(self.scout, settled)[0]
        return self.look(self.scout, start, cycles, 0.0)

    def finer(self, stretches: Sequence[Stretch]) -> list[Stretch]:
        """The stretches that decide, with finer steps."""
        wanted = closeup.wanted_quantities(self.machine)
        if self.scout.line.faults:
            return self.gather([lambda: self._fine_whole(FINE)])
        if self.settings.whole:
            spans = worst_spans(stretches[0], self.scout.line, wanted)
            return self.gather([self._fine_at(stretches[0], a, b) for a, b in spans])
        chosen = [stretches[k] for k in closeup.deciding(stretches, wanted)]
        spans = [closeup.deciding_cycles(s, wanted) for s in chosen]
        return self.gather([self._fine_at(s, *span) for s, span in zip(chosen, spans, strict=True)])

    def finer_at(self, rough: Stretch, fine: Stretch, analysis: Analysis) -> Task:
        """A finer run of what a fine one covers, from the first pass's states."""
        if self.scout.line.faults:
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
        """The whole event again: what a fault leaves behind is in no seed."""
        part = self._all()
        return self._run(part, self.scout.seed(part.begin), analysis, 0.0)

    def _fine_at(
        self, rough: Stretch, start: float, end: float, analysis: Analysis | None = None
    ) -> Task:
        line = self.scout.line
        period = 1.0 / line.frequency.at(start)
        stop = min(end + WATCHED, line.end)
        part = line.stretch(start - FINE_RUN_IN * period, stop)
        seed = with_kick(self.machine, part, part.begin, seed_at(rough.waves, part.begin))
        return lambda: self._run(part, seed, analysis or FINE, start - 0.1 * period)

    def _run(self, part: Timeline, seed: Seed, analysis: Analysis, measured: float) -> Stretch:
        def runner(deck: Deck) -> EngineRun:
            return self.runner(deck, None)

        done = climb(self.machine, part, seed, analysis, runner, measured, self.retries)
        self.parts[done.deck.digest] = (part, seed, measured)
        self.counter.tick()
        return done

    def gather(self, tasks: Sequence[Task]) -> list[Stretch]:
        """All results in the order of the tasks, some tasks at a time."""
        if self.settings.jobs == 1 or len(tasks) < 2:
            return [task() for task in tasks]
        with ThreadPoolExecutor(self.settings.jobs) as pool:
            return list(pool.map(lambda task: task(), tasks))


def _cycles_from(line: Timeline, start: float, cycles: int) -> tuple[float, float]:
    """Where the first of so many whole cycles after a time begins, and the last one ends [s].

    Cycles begin where switch 1 goes off.
    """
    later = line.boundaries(start, start + (cycles + 2) / line.frequency.at(start))
    first = 0 if line.upper_first(float(later[0])) else 1
    return float(later[first]), float(later[first + 2 * cycles])


def climb(
    machine: Machine,
    line: Timeline,
    seed: Seed,
    analysis: Analysis,
    runner: Runner,
    measured_from: float,
    retries: list[str],
) -> Stretch:
    """Run a stretch, going down the ladder when the engine stops early; every rung is recorded."""
    last: EngineError | None = None
    for name, change in LADDER:
        try:
            return run_stretch(machine, line, seed, change(analysis), runner, measured_from)
        except EngineError as error:
            if not error.retry:
                raise
            retries.append(f"from {line.begin * 1e3:.4g} ms, {name}: {error.reason}")
            last = error
    assert last is not None
    raise last


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
