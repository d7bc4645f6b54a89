"""The search for what prevents an overstress: every cure's ladder, the trip, and the ranking.

Each step of each ladder is a full rehearsal; a ladder ends where every limit is kept. A cure is
ranked by what it keeps (every limit; what destroys within a cycle; neither), then by the worst
share of a limit that is left.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from simkit.figures.table import sudden
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.cache import Store
from simkit.run.pool import Executor, collected
from simkit.studies.maps.cases import case_of, key_of, work
from simkit.studies.protect.cures import Cure, Step, cures
from simkit.studies.protect.trip import Row, Trip, search

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
        rows = {q: r for q, r in self.row["limits"].items() if among is None or q in among}
        if not rows or any(r["ratio"] is None for r in rows.values()):
            return float("inf"), ""
        name = max(rows, key=lambda q: rows[q]["ratio"])
        return float(rows[name]["ratio"]), name

    def sudden_kept(self) -> bool:
        """Whether everything that destroys within a cycle is clearly within its limit."""
        rows = {q: r for q, r in self.row["limits"].items() if q in sudden()}
        return bool(rows) and all(r["status"] == "ok" for r in rows.values())


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
        at = self.tried.index(self.best)
        if at == 0 or not (self.best.within or self.best.sudden_kept()):
            return ""
        return self.tried[at - 1].step.amount


@dataclass(frozen=True)
class Protection:
    """Everything a search found; without an overstress there is nothing in it but the base."""

    machine: Machine
    scenario: Scenario
    base: Row
    remedies: tuple[Remedy, ...] = ()
    trip: Trip | None = None
    clamp: str = ""


@dataclass
class Searcher:
    """Runs cases through a pool and a store."""

    executor: Executor | None = None
    store: Store | None = None
    progress: Any = None
    _done: float = 0.0

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
        remedies = self.ladders(cures(machine, scenario))
        trip = self.trip(machine, scenario)
        ranked = tuple(sorted(remedies, key=lambda r: r.rank))
        return Protection(machine, scenario, base, ranked, trip, clamp(machine, base))

    def ladders(self, wanted: Sequence[Cure]) -> list[Remedy]:
        """Every cure's ladder, one step of all of them at a time."""
        tried: dict[str, list[Tried]] = {cure.key: [] for cure in wanted}
        for k in range(max((len(c.steps) for c in wanted), default=0)):
            open_ = [c for c in wanted if k < len(c.steps) and not _ended(tried[c.key])]
            rows = self.runs([(c.steps[k].machine, c.steps[k].scenario) for c in open_])
            for cure, row in zip(open_, rows, strict=True):
                tried[cure.key].append(Tried(cure.steps[k], row))
        return [Remedy(c, _best(tried[c.key]), tuple(tried[c.key])) for c in wanted]

    def trip(self, machine: Machine, scenario: Scenario) -> Trip | None:
        """The over-current trip; None where the event is no change of the load by itself."""
        if not scenario.events or any(not e.about.fast for e in scenario.events):
            return None
        base = Rehearser(settings=Settings(whole=True)).rehearse(machine, scenario)
        return search(machine, scenario, base, self.runs)


def _ended(tried: Sequence[Tried]) -> bool:
    return bool(tried) and tried[-1].within


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
