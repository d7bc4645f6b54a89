"""The search for what prevents an overstress: combinations, every cure's ladder, the trip.

Combinations of a few changes are searched as in `simkit run` (studies/advice), for longer. Each
step of each ladder is a full rehearsal; it begins where the fast model has the machine within its
limits, and ends where every limit is kept. A cure is ranked by what it keeps (every limit; what
destroys within a cycle; neither), then by the worst share of a limit that is left. It counts as a
cure only for what was over without it.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from simkit.figures.table import sudden
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.at_once import at_once
from simkit.run.cache import Store
from simkit.run.pool import Executor, collected
from simkit.studies.advice.attempts import Advised
from simkit.studies.advice.study import Adviser
from simkit.studies.advice.superposed import Base, predicted
from simkit.studies.maps.cases import case_of, key_of, work
from simkit.studies.protect.cures import Cure, Step, cures
from simkit.studies.protect.trip import Row, Trip, is_short, search

CLAMP_ROOM = 1.05
"""Link voltage over its settled value below which no clamp would conduct [1]: a clamp must stand
mains at its highest and ripple."""


@dataclass(frozen=True)
class Tried:
    """One step of a ladder and what its rehearsal found."""

    step: Step
    row: Row

    @property
    def within(self) -> bool:
        """Whether every limit is kept."""
        return bool(self.row["outcome"] == "within_limits")

    def worst(self, among: frozenset[str] | None = None) -> tuple[float, str]:
        """Largest share of a limit [1] and its quantity; inf when something was not evaluated."""
        return worst_of(self.row, among)

    def sudden_kept(self) -> bool:
        """Whether everything that destroys within a cycle is clearly within its limit."""
        rows = {q: r for q, r in self.row["limits"].items() if q in sudden()}
        return bool(rows) and all(r["status"] == "ok" for r in rows.values())


def worst_of(row: Row, among: frozenset[str] | None = None) -> tuple[float, str]:
    """Largest share of a limit [1] and its quantity; inf when something was not evaluated."""
    rows = {q: r for q, r in row["limits"].items() if among is None or q in among}
    if not rows or any(r["ratio"] is None for r in rows.values()):
        return float("inf"), ""
    name = max(rows, key=lambda q: rows[q]["ratio"])
    return float(rows[name]["ratio"]), name


@dataclass(frozen=True)
class Remedy:
    """One cure: the step it came to, and the largest one that was too little."""

    cure: Cure
    best: Tried
    tried: tuple[Tried, ...]

    @property
    def rank(self) -> tuple[bool, bool, float]:
        """Best first."""
        kept = self.best.sudden_kept()
        # What is kept counts by what is left of all limits, else by what destroys at once.
        left = self.best.worst(None if self.best.within else sudden())[0]
        return not self.best.within, not kept, left

    @property
    def too_little(self) -> str:
        """The amount just before, where the best keeps something it does not; empty otherwise."""
        steps = self.cure.steps
        at = steps.index(self.best.step)
        before = next((t for t in self.tried if at and t.step is steps[at - 1]), None)
        kept = self.best.within or self.best.sudden_kept()
        return before.step.amount if before is not None and kept and not before.within else ""

    def cured(self, base: Row) -> tuple[str, ...]:
        """What was over its limit without it and is clearly within with it."""
        rows = self.best.row["limits"]
        over = [q for q, r in base["limits"].items() if r["status"] == "over"]
        return tuple(q for q in over if q in rows and rows[q]["status"] == "ok")


def sudden_over(row: Row) -> bool:
    """Whether anything that destroys within a cycle is over its limit."""
    return any(q in sudden() and r["status"] == "over" for q, r in row["limits"].items())


@dataclass(frozen=True)
class Protection:
    """Everything a search found; without an overstress there is nothing in it but the base."""

    machine: Machine
    scenario: Scenario
    base: Row
    remedies: tuple[Remedy, ...] = ()
    trip: Trip | None = None
    clamp: str = ""
    advised: Advised | None = None

    @property
    def sudden_over(self) -> bool:
        """Whether anything that destroys within a cycle was over without any cure."""
        return sudden_over(self.base)

    def partly(self, remedy: Remedy) -> bool:
        """Whether a cure keeps what destroys within a cycle, where that was not kept without it."""
        return self.sudden_over and not remedy.best.within and remedy.best.sudden_kept()


@dataclass
class Searcher:
    """Runs cases through a pool and a store."""

    executor: Executor | None = None
    store: Store | None = None
    progress: Any = None
    _done: float = 0.0
    _lock: Any = field(default_factory=threading.Lock)

    def runs(self, cases: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """Circuit runs of some cases, in their order."""
        keyed = {}
        order = []
        for machine, scenario in cases:
            case = case_of(machine, scenario, "full")
            key = key_of(case)
            keyed[key] = case
            order.append(key)
        found: Mapping[str, Any] = collected(keyed, work, self.store, self.executor)
        with self._lock:
            self._done += len(keyed)
            if self.progress:
                self.progress(self._done / (self._done + 10.0))
        return [found[key] for key in order]

    def protect(self, machine: Machine, scenario: Scenario) -> Protection:
        """Search every cure and the trip.

        Errors: EngineError when the engine gives no whole answer without any cure.
        """
        base = self.runs([(machine, scenario)])[0]
        if base["outcome"] != "over_limit":
            return Protection(machine, scenario, base)
        adviser = Adviser(executor=self.executor, store=self.store)
        advised = adviser.advise(machine, scenario, base)
        wanted = cures(machine, scenario)
        starts = self.starts(adviser, wanted, machine, scenario, base)
        tasks: list[Callable[[], Any]] = [
            partial(self.trip, machine, scenario),
            partial(self.ladders, wanted, starts, sudden_over(base)),
        ]
        trip, remedies = at_once(tasks, self.executor is not None)
        ranked = tuple(sorted(remedies, key=lambda r: r.rank))
        return Protection(machine, scenario, base, ranked, trip, clamp(machine, base), advised)

    def starts(
        self,
        adviser: Adviser,
        wanted: Sequence[Cure],
        machine: Machine,
        scenario: Scenario,
        base: Row,
    ) -> dict[str, int]:
        """The step of each ladder at which the fast model has everything within its limits; the
        last where it has that of none."""
        steps = [step for cure in wanted for step in cure.steps]
        pairs = [(machine, scenario), *((s.machine, s.scenario) for s in steps)]
        now, *rows = adviser.looks(pairs)
        if not now["limits"]:
            return {}
        known = Base.of(machine, base, now)
        found: dict[str, int] = {}
        for cure in wanted:
            mine, rows = rows[: len(cure.steps)], rows[len(cure.steps) :]
            found[cure.key] = next(
                (k for k, row in enumerate(mine) if _within(known, row)), len(mine) - 1
            )
        return found

    def ladders(
        self,
        wanted: Sequence[Cure],
        starts: Mapping[str, int] | None = None,
        at_least_sudden: bool = False,
    ) -> list[Remedy]:
        """Every cure's ladder, all of them side by side; up from where it starts until every limit
        is kept, or down where it is kept at once. `at_least_sudden`: where no step keeps every
        limit, down as far as what destroys within a cycle is kept."""
        tasks = [
            partial(self._climbed, cure, (starts or {}).get(cure.key, 0), at_least_sudden)
            for cure in wanted
        ]
        found = at_once(tasks, self.executor is not None)
        return [Remedy(c, _best(done), done) for c, done in zip(wanted, found, strict=True) if done]

    def _climbed(self, cure: Cure, first: int, at_least_sudden: bool) -> tuple[Tried, ...]:
        """What was tried of one ladder, from little to much."""
        tried: list[Tried] = []
        at = first
        while 0 <= at < len(cure.steps):
            step = cure.steps[at]
            (row,) = self.runs([(step.machine, step.scenario)])
            tried.append(Tried(step, row))
            at = _next(cure, at, first, tried, at_least_sudden)
        return _sorted(cure, tried)

    def trip(self, machine: Machine, scenario: Scenario) -> Trip | None:
        """The over-current trip, the machine's own comparators left out; None where the event is no
        change of load or drive. Errors: EngineError when it gives no whole answer without a trip.
        """
        if not scenario.events or any(not e.about.fast for e in scenario.events):
            return None
        drive = machine.drive.model_copy(update={"trip": None, "desaturation": None})
        bare = machine.model_copy(update={"drive": drive})
        whole = Settings(whole=is_short(bare, scenario))
        base = Rehearser(settings=whole).rehearse(bare, scenario)
        return search(bare, scenario, base, self.runs, self.executor is not None)


def _sorted(cure: Cure, tried: Sequence[Tried]) -> tuple[Tried, ...]:
    """What was tried from little to much, in whatever order it ran."""
    return tuple(t for step in cure.steps for t in tried if t.step is step)


def _next(cure: Cure, at: int, first: int, tried: Sequence[Tried], at_least_sudden: bool) -> int:
    """The ladder's next step, -1 where it ends."""
    last = tried[-1]
    if any(t.within for t in tried):  # found: downward from the first, if it was that
        return at - 1 if last.within and at <= first else -1
    if first <= at < len(cure.steps) - 1:
        return at + 1
    if not at_least_sudden:
        return -1
    start = next(t for t in tried if t.step is cure.steps[first])
    begun = last if at < first else start
    return min(at, first) - 1 if begun.sudden_kept() else -1


def _within(base: Base, row: Row) -> bool:
    """Whether the fast model has what is over within its limit, and nothing else over."""
    if not row["limits"]:
        return False
    shares = predicted(base, row)
    return all(shares[q] <= max(1.0, r) if q not in base.over else shares[q] <= 1.0
               for q, r in base.ratios.items())  # fmt: skip


def _best(tried: Sequence[Tried]) -> Tried:
    """Of those that keep as much, the least; of those that keep nothing, the one nearest to it."""

    def order(t: Tried) -> tuple[bool, bool, float]:
        kept = t.sudden_kept()
        return not t.within, not kept, 0.0 if kept else t.worst(sudden())[0]

    return min(tried, key=order)


def clamp(machine: Machine, base: Row) -> str:
    """What a clamp on the link would do, from how far the link rose without one."""
    peak, settled = base["link_peak"], machine.supply.voltage
    if peak <= CLAMP_ROOM * settled:
        return (
            f"A clamp on the DC link would not act: the link never rises above {peak:.0f} V, and "
            f"a clamp must let {settled:.0f} V of mains and its ripple pass."
        )
    return (
        f"The link rises to {peak:.0f} V. A clamp on it was not tried: the circuit has none, and a "
        "larger link capacitor, which was, takes the same energy."
    )
