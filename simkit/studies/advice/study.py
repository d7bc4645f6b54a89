"""Advice: what to change, searched by the fast model, then tried by circuit.

The fast model looks at some steps of every lever, their effects are put together (superposed.py),
the best combinations (search.py) are looked at as they are, and the first few are rehearsed by
circuit runs. Where none of these is within the limits, the search goes on with what they showed,
as long as there is time. What is told is the rehearsals and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from math import log
from typing import Any

from simkit.errors import InputError
from simkit.parameters.goal import Goal
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.backend import Budget, Progress
from simkit.run.cache import Store
from simkit.run.pool import Executor, collected
from simkit.studies.advice import looking
from simkit.studies.advice.changes import Change, changes_of
from simkit.studies.advice.levers import Changed, Step, ladders, taken
from simkit.studies.advice.search import (
    ROOM,
    Option,
    allowed,
    excess,
    is_asked,
    kept_share,
    options,
    shortfall,
)
from simkit.studies.advice.superposed import Base, effects_of, predicted

LOOKS = {"margin": 5, "turns": 2, "cans": 2, "dead time": 2, "gate": 2, "turn-off": 2,
         "snubber": 1, "supply": 1, "link": 1}  # fmt: skip
"""Steps of each lever that the fast model looks at [1]; the ends always."""
CLOSER = 6
"""Combinations that the fast model looks at as they are, in each round [1]."""
AT_ONCE = 2
"""Rehearsals of a round [1]."""
TIMING = ("dead time", "gate", "turn-off")
"""Levers that end an overlap of the gates."""
TOLD = 3
"""Changes that a run tells [1]."""
LESS_ROOM = 0.05
"""By how much less of each limit is used after a round in which nothing was within [1]."""
CLEAR = 0.01
"""Share of a limit by which a figure must rise to be told as worse [1]."""
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Attempt:
    """A combination that was rehearsed: what was changed, and what its circuit runs found."""

    option: Option
    changes: tuple[Change, ...]
    row: Row
    before: Row
    goal: Goal | None

    @property
    def within(self) -> bool:
        """Whether every limit checked is kept, and not by a drive that trips now."""
        trips = self.row.get("tripped") and not self.before.get("tripped")
        return self.row["outcome"] == "within_limits" and not trips

    @property
    def power_kept(self) -> float | None:
        """Share of the settled power [1]; None where it is not known."""
        now, was = self.row["power"], self.before["power"]
        return now / was if now is not None and was is not None and was > 0.0 else None

    @property
    def keeps_goal(self) -> bool:
        """Whether as much power is kept as is wished for."""
        kept = self.power_kept
        return kept is not None and kept >= kept_share(self.goal)

    @property
    def worst(self) -> tuple[float | None, str]:
        """Largest share of a limit [1] and its quantity."""
        rows = {q: r["ratio"] for q, r in self.row["limits"].items()}
        if not rows or any(r is None for r in rows.values()):
            return None, ""
        name = max(rows, key=lambda q: rows[q])
        return float(rows[name]), name

    @property
    def worse(self) -> tuple[str, ...]:
        """Quantities that use clearly more of their limit than before, the worst first."""
        found = {}
        for name, after in self.row["limits"].items():
            before = self.before["limits"].get(name)
            if before is None or after["ratio"] is None or before["ratio"] is None:
                continue
            rise = after["ratio"] - before["ratio"]
            if rise > max(CLEAR, (after["error"] or 0.0) + (before["error"] or 0.0)):
                found[name] = after["ratio"]
        return tuple(sorted(found, key=lambda q: -found[q]))

    @property
    def rank(self) -> tuple[bool, bool, float]:
        """Within and as much power as wished for first, then the least change; of those that are
        not within, what misses least."""
        if self.within:
            return False, not self.keeps_goal, self.option.cost
        worst = self.worst[0]
        return True, True, float("inf") if worst is None else worst


@dataclass(frozen=True)
class Advised:
    """What was tried, best first; looked: combinations and steps the fast model looked at."""

    attempts: tuple[Attempt, ...]
    looked: int
    goal: Goal | None
    why_not: str = ""
    """Why nothing was tried; empty where something was."""

    @property
    def best(self) -> Attempt | None:
        """The one to take: within the limits checked, and the power as asked; None without one."""
        for attempt in self.attempts:
            if attempt.within and (attempt.keeps_goal or not is_asked(self.goal)):
                return attempt
        return None


Rebuilt = Callable[[Mapping[str, str]], tuple[Machine, Scenario]]
"""Machine and scenario from their files with values replaced, as a person would replace them."""


@dataclass
class Adviser:
    """Where advice is looked for and how long.

    Fields: rebuilt: None where there are no files; written: keys that stand in the machine file;
    rounds: of rehearsals, at most; progress: told the share of them that is done.
    """

    executor: Executor | None = None
    store: Store | None = None
    engine: str = "ngspice"
    whole: bool = False
    budget: Budget = field(default_factory=Budget)
    rebuilt: Rebuilt | None = None
    written: frozenset[str] | None = None
    rounds: int = 3
    progress: Progress | None = None
    looked: int = 0
    tried: int = 0

    def advise(self, machine: Machine, scenario: Scenario, full: Row) -> Advised:
        """Search and try, for a rehearsal that is over a limit.

        `full`: what that rehearsal found, as `maps.cases.row_of` has it.
        """
        if why := not_followed(scenario, full):
            return Advised((), 0, scenario.goal, why)
        steps = ladders(machine, scenario)
        found = self.first_looks(machine, scenario, steps)
        base = Base.of(machine, full, found.pop(None))
        hunt = _Hunt(self, machine, scenario, base, steps, found)
        if not base.fast["limits"]:
            hunt.why_not = f"the fast model has no answer to search by: {base.fast['said']}"
            hunt.attempt(self.answered(machine, scenario, steps))
        for _ in range(self.rounds if base.fast["limits"] else 0):
            if not hunt.round() or hunt.done:
                break
        ranked = tuple(sorted(hunt.attempts, key=lambda a: a.rank))
        return Advised(ranked, self.looked, scenario.goal, "" if ranked else hunt.why_not)

    def first_looks(
        self, machine: Machine, scenario: Scenario, known: Mapping[str, Sequence[Step]]
    ) -> dict[Step | None, Row]:
        """The machine as it is (None), and chosen steps of every lever."""
        steps = [s for name, ladder in known.items() for s in chosen(name, ladder)]
        made: list[tuple[Step | None, Machine, Scenario]] = [(None, machine, scenario)]
        for step in steps:
            if (changed := taken(machine, scenario, (step,))) is not None:
                made.append((step, changed.machine, changed.scenario))
        rows = self.looks([(m, s) for _, m, s in made])
        return {step: row for (step, _, _), row in zip(made, rows, strict=True)}

    def answered(
        self, machine: Machine, scenario: Scenario, known: Mapping[str, Sequence[Step]]
    ) -> list[Option]:
        """Where the fast model has no answer for the machine as it is, as with gates that overlap:
        single steps of the gates' timing for which it has one, the least change first."""
        steps = [s for name in TIMING for s in known.get(name, ())]
        made = [(s, c) for s in steps if (c := taken(machine, scenario, (s,))) is not None]
        rows = self.looks([(c.machine, c.scenario) for _, c in made])
        found = [
            Option((s,), s.cost, sum(max(r - ROOM, 0.0) for r in row["limits"].values()), 1.0,
                   row["limits"])
            for (s, _), row in zip(made, rows, strict=True) if row["limits"]
        ]  # fmt: skip
        return sorted(found, key=lambda o: o.plain)

    def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """What the fast model says of some machines, in their order."""
        self.looked += len(pairs)
        cases = [looking.look_case(m, s) for m, s in pairs]
        return self._asked(cases, looking.looked)

    def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """What circuit runs of some machines come to, in their order."""
        cases = [looking.rehearse_case(m, s, self.engine, self.whole, self.budget)
                 for m, s in pairs]  # fmt: skip
        before, most = self.tried, self.rounds * AT_ONCE
        self.tried += len(pairs)

        def shown(share: float) -> None:
            if self.progress:
                self.progress((before + share * len(pairs)) / most)

        return self._asked(cases, looking.rehearsed, shown)

    def _asked(
        self,
        cases: Sequence[Mapping[str, Any]],
        work: Callable[[Any], Any],
        shown: Progress | None = None,
    ) -> list[Row]:
        keyed = {looking.key_of(case): case for case in cases}
        found = collected(keyed, work, self.store, self.executor, shown)
        return [found[looking.key_of(case)] for case in cases]


def chosen(lever: str, ladder: Sequence[Step]) -> list[Step]:
    """Steps of a lever that the fast model looks at: the ends, and some between them."""
    wanted = min(LOOKS[lever], len(ladder))
    if wanted == 1:
        return [max(ladder, key=lambda s: abs(s.x))]
    places = {round(k * (len(ladder) - 1) / (wanted - 1)) for k in range(wanted)}
    return [ladder[k] for k in sorted(places)]


def not_followed(scenario: Scenario, full: Row) -> str:
    """Why there is nothing to search by: what went over came of what the fast model does not know.

    What was over in the settled state already may be searched for by that alone.
    """
    faults = [e for e in scenario.events if not e.about.fast]
    if not faults:
        return ""
    first = scenario.start.settled + min(e.at for e in faults)
    over = [r for r in full["limits"].values() if r["status"] == "over"]
    early = [r for r in over if r["first_over_s"] is not None and r["first_over_s"] < first]
    if early:
        return ""
    kinds = ", ".join(dict.fromkeys(e.kind for e in faults))
    return f"what went over its limit came of {kinds}, which the fast model does not follow"


@dataclass
class _Hunt:
    """Rounds of options and rehearsals."""

    adviser: Adviser
    machine: Machine
    scenario: Scenario
    base: Base
    ladders: Mapping[str, Sequence[Step]]
    seen: Mapping[Step | None, Row]
    attempts: list[Attempt] = field(default_factory=list)
    off: dict[str, float] = field(default_factory=dict)
    room: float = ROOM
    tried: set[tuple[tuple[str, float], ...]] = field(default_factory=set)
    why_not: str = ""
    promising: bool = True
    """Whether the fast model knows of combinations that keep every limit and the goal."""

    @property
    def done(self) -> bool:
        """Whether something is within the limits, and nothing is left that promises more of the
        power that is wished for."""
        within = [a for a in self.attempts if a.within]
        return any(a.keeps_goal for a in within) or (bool(within) and not self.promising)

    def round(self) -> bool:
        """Try the next few combinations; False where there is none."""
        if self.attempt(self._picked()):
            return True
        self.why_not = self.why_not or "no change of what may be changed moves what is over"
        return False

    def attempt(self, picked: Sequence[Option]) -> bool:
        """Rehearse the first few combinations that can be made; False where there is none."""
        possible = (m for o in picked if (m := self._made(o)) is not None)
        made = list(islice(possible, AT_ONCE))
        if not made:
            return False
        rows = self.adviser.runs([(m, s) for _, _, m, s in made])
        goal = self.scenario.goal
        fresh = [Attempt(option, changes, row, self.base.full, goal)
                 for (option, changes, _, _), row in zip(made, rows, strict=True)]  # fmt: skip
        self.attempts += fresh
        self._learn(fresh)
        return True

    def _picked(self) -> list[Option]:
        """The best combinations as the fast model has them, of different levers first."""
        seen = {s: r for s, r in self.seen.items() if s is not None}
        effects = effects_of(self.base, self.ladders, seen)
        goal = self.scenario.goal
        near = options(self.base, effects, goal, self.off, self.room, CLOSER + len(self.tried))
        fresh = [o for o in near if _mark(o) not in self.tried][:CLOSER]
        if not fresh and is_asked(goal):
            self.why_not = (f"no combination the fast model knows of keeps "
                            f"{kept_share(goal):.0%} of the power")  # fmt: skip
        looked = sorted(self._looked_at(fresh), key=lambda o: o.order(goal))
        if is_asked(goal):
            looked = [o for o in looked if shortfall(o.power, goal) == 0.0]
        self.promising = any(o.excess == 0.0 and shortfall(o.power, goal) == 0.0 for o in looked)
        # Beside what keeps most of what is wished for, the least change.
        least = sorted(looked, key=lambda o: o.plain)
        first = looked[:1] + [o for o in least if o not in looked[:1]][:1]
        return [*first, *(o for o in looked if o not in first)]

    def _looked_at(self, fresh: Sequence[Option]) -> list[Option]:
        """Combinations with the fast model's own answer in place of the effects put together."""
        pairs = []
        for option in fresh:
            if (changed := taken(self.machine, self.scenario, option.steps)) is not None:
                pairs.append((option, changed))
        rows = self.adviser.looks([(c.machine, c.scenario) for _, c in pairs])
        most = allowed(self.base, self.room)
        found = []
        for (option, _), row in zip(pairs, rows, strict=True):
            if row["limits"]:
                shares = predicted(self.base, row, self.off)
                power = shares.pop("power")
                found.append(replace(option, shares=shares, power=power,
                                     excess=excess(shares, most)))  # fmt: skip
        return found

    def _made(self, option: Option) -> tuple[Option, tuple[Change, ...], Machine, Scenario] | None:
        """A combination as a person would write it into the files; None where that is refused."""
        self.tried.add(_mark(option))
        changed = taken(self.machine, self.scenario, option.steps)
        if changed is None:
            return None
        changes = changes_of(self.machine, self.scenario, changed, self.adviser.written)
        made = self._rebuilt(changed, changes)
        return None if made is None else (option, changes, *made)

    def _rebuilt(
        self, changed: Changed, changes: tuple[Change, ...]
    ) -> tuple[Machine, Scenario] | None:
        if self.adviser.rebuilt is None:
            return changed.machine, changed.scenario
        try:
            return self.adviser.rebuilt({c.key: c.text for c in changes})
        except InputError:
            return None

    def _learn(self, fresh: Sequence[Attempt]) -> None:
        """What the circuit showed beyond what was told: it counts against what comes next."""
        if self.done:
            return
        self.room -= LESS_ROOM
        gaps: dict[str, list[float]] = {}
        for attempt in fresh:
            told = dict(attempt.option.shares) | {"power": attempt.option.power}
            real = {q: r["ratio"] for q, r in attempt.row["limits"].items()}
            for name, seen in (real | {"power": attempt.power_kept}).items():
                # A gate held below zero and a coil without a piece have shares of none or less.
                if seen is not None and seen > 0.0 and told.get(name, 0.0) > 0.0:
                    gaps.setdefault(name, []).append(log(seen / told[name]))
        for name, found in gaps.items():
            self.off[name] = self.off.get(name, 0.0) + sum(found) / len(found)


def _mark(option: Option) -> tuple[tuple[str, float], ...]:
    return tuple(sorted((s.lever, s.x) for s in option.steps))
