"""Figures whose error is too large to judge them are computed again, each as its cause demands.

Steps are made finer still; a start that is remembered gets a longer run-in; where a course rises
between the samples another is taken. What two rounds do not
bring below the bound stays without a verdict.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from simkit.circuit.analysis import Analysis
from simkit.parameters.machine import Machine
from simkit.rehearsal.closeup import APART, LOOK_CYCLES, apart, worse_elsewhere
from simkit.rehearsal.discretisation import ErrorByCause
from simkit.rehearsal.remains import Remains, link_memory
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import worst_of

ROUNDS = 2
FINER = Analysis(step=2e-9, reltol=1e-5)
MOST = 40
"""Cycles up to which a run is repeated on still finer steps [1]."""
LONGER = (2.0, 4.0)
"""Run-in of a stretch taken again, by round, in times of what it must forget [1]."""

Task = Callable[[], Stretch]


class Runs(Protocol):
    """The runs of a rehearsal, as refinement needs them."""

    machine: Machine

    def finer_at(self, rough: Stretch, fine: Stretch, analysis: Analysis) -> Task:
        """A finer run of what a fine one covers, from the first pass's states."""
        ...

    def again(self, seeds: Scouted, rough: Stretch, memories: float) -> Task:
        """A stretch of the first pass with a longer run-in."""
        ...

    def elsewhere(self, seeds: Scouted, start: float, cycles: int) -> Task:
        """A new sample from a time on [s]."""
        ...

    def gather(self, tasks: Sequence[Task]) -> list[Stretch]:
        """All results in the order of the tasks."""
        ...


@dataclass
class Passes:
    """What has been run so far; changed by each round."""

    stretches: list[Stretch]
    fine: list[Stretch]
    residues: dict[float, Remains]

    def copy(self) -> "Passes":
        """The same runs in containers of their own."""
        return Passes(list(self.stretches), list(self.fine), dict(self.residues))


def refine_round(
    runs: Runs,
    scout: Scouted,
    passes: Passes,
    inexact: dict[str, ErrorByCause],
    number: int,
    whole: bool,
) -> bool:
    """One round for the quantities whose error is too large; False when nothing was left to do."""
    asked = {"loss" if q.startswith("junction") else q: d for q, d in inexact.items()}
    steps = {q for q, d in asked.items() if d.cause == "steps"}
    starts = {q: d for q, d in asked.items() if d.cause in ("start", "link", "periodicity")}
    done = False
    if any(d.cause == "between_samples" for d in asked.values()) and not whole:
        done = _more_samples(runs, scout, passes)
    if starts and not whole:
        _longer_run_in(runs, scout, passes, starts, number)
        done = True
    return _finer_steps(runs, passes, steps) or done


def _more_samples(runs: Runs, scout: Scouted, passes: Passes) -> bool:
    """Samples where a course rises above all there are, and their finer runs."""
    better = scout.corrected(passes.stretches)
    taken = [s.cycles[0].start for s in passes.stretches]
    least = APART / scout.line.frequency.last
    starts = apart(worse_elsewhere(scout, passes.stretches), taken, least)
    news = runs.gather([runs.elsewhere(better, start, LOOK_CYCLES) for start in starts])
    level = passes.fine[0].analysis
    passes.fine += runs.gather([runs.finer_at(new, new, level) for new in news])
    passes.residues |= {s.cycles[0].start: better.sampled(s) for s in news}
    passes.stretches = sorted([*passes.stretches, *news], key=lambda s: s.cycles[0].start)
    return bool(news)


def _finer_steps(runs: Runs, passes: Passes, quantities: set[str]) -> bool:
    chosen: list[Stretch] = []
    for quantity in sorted(quantities):
        held = [s for s in passes.fine if worst_of(s, quantity) == worst_of(s, quantity)]
        if not held:
            continue
        stretch = max(held, key=lambda s: worst_of(s, quantity))
        finest = any(_covers(stretch, f) and f.analysis.step <= FINER.step for f in passes.fine)
        short = len(stretch.cycles) <= MOST
        if short and not finest and not any(stretch is c for c in chosen):
            chosen.append(stretch)
    tasks = [runs.finer_at(_covering(passes.stretches, s), s, FINER) for s in chosen]
    passes.fine += runs.gather(tasks)
    return bool(tasks)


def _longer_run_in(
    runs: Runs, scout: Scouted, passes: Passes, starts: dict[str, ErrorByCause], number: int
) -> None:
    better = scout.corrected(passes.stretches)
    wanted: dict[int, float] = {}
    for quantity, budget in sorted(starts.items()):
        worst = max(passes.stretches, key=lambda s: worst_of(s, quantity))
        k = next(k for k, s in enumerate(passes.stretches) if s is worst)
        memories = LONGER[number]
        if budget.cause == "link":
            memories *= link_memory(runs.machine) / better.memory(worst.cycles[0].start)
        wanted[k] = max(wanted.get(k, 0.0), memories)
    olds = [passes.stretches[k] for k in wanted]
    news = runs.gather(
        [runs.again(better, old, m) for old, m in zip(olds, wanted.values(), strict=True)]
    )
    for k, old, new in zip(wanted, olds, news, strict=True):
        passes.stretches[k] = new
        passes.residues.pop(old.cycles[0].start, None)
        passes.residues[new.cycles[0].start] = better.sampled(new)
        # Whatever had been run finer is, from the new start, at all its levels.
        levels = [f.analysis for f in passes.fine if _covers(old, f)]
        passes.fine = [f for f in passes.fine if not _covers(old, f)]
        passes.fine += runs.gather([runs.finer_at(new, new, level) for level in levels])


def _covering(stretches: Sequence[Stretch], fine: Stretch) -> Stretch:
    """The stretch of the first pass that a finer run repeats."""
    return next(s for s in stretches if _covers(s, fine))


def _covers(rough: Stretch, fine: Stretch) -> bool:
    middle = 0.5 * (fine.cycles[0].start + fine.cycles[-1].end)
    return rough.cycles[0].start <= middle <= rough.cycles[-1].end
