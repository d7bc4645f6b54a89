"""Rounds of options and rehearsals: what the circuit showed counts in the next one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from math import log
from typing import Any, Protocol

from simkit.errors import InputError
from simkit.parameters.goal import Goal
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.advice.attempts import Attempt
from simkit.studies.advice.changes import Change, changes_of
from simkit.studies.advice.levers import Changed, Step, taken
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

CLOSER = 6
"""Combinations that the fast model looks at as they are, in each round [1]."""
AT_ONCE = 2
"""Rehearsals of the first round, at most [1]; later ones have one each."""
LESS_ROOM = 0.05
"""By how much less of each limit is used after a round in which nothing was within [1]."""
Row = Mapping[str, Any]


class Models(Protocol):
    """What a hunt asks: the fast model and circuit runs, and the files built anew."""

    rebuilt: Callable[[Mapping[str, str]], tuple[Machine, Scenario]] | None
    written: frozenset[str] | None

    def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """What the fast model says of some machines."""

    def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Row]:
        """What circuit runs of some machines come to."""


@dataclass
class Hunt:
    """Rounds of options and rehearsals."""

    adviser: Models
    machine: Machine
    scenario: Scenario
    base: Base
    ladders: Mapping[str, Sequence[Step]]
    seen: Mapping[Step | None, Row]
    before: Row
    """What the run found of the machine as it is."""
    rounds: int = 0
    attempts: list[Attempt] = field(default_factory=list)
    off: dict[str, float] = field(default_factory=dict)
    room: float = ROOM
    tried: set[tuple[tuple[str, float], ...]] = field(default_factory=set)
    why_not: str = ""
    begun: Changed | None = None
    """What is changed before anything else, with the option that did; None where nothing is."""
    first: Option | None = None
    less: bool = False
    """Whether less power than was asked for is looked at, as nothing tried keeps it."""
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
        picked = self._picked()
        if is_asked(self.scenario.goal) and not self.less and self._hopeless(picked):
            self.less = True
            picked = self._picked()
        # Two at a time only where the least change is another one than what is wished for.
        two = bool(picked) and not self.attempts and picked[0] is not min(picked, key=_plain)
        if self.attempt(picked, AT_ONCE if two else 1):
            self.rounds += 1
            return True
        self.why_not = self.why_not or "no change of what may be changed moves what is over"
        return False

    def _hopeless(self, picked: Sequence[Option]) -> bool:
        """Whether what was asked for cannot be kept: the fast model knows of nothing that does, or
        a round of rehearsals has shown that."""
        return not any(o.excess == 0.0 for o in picked) or self.rounds > 0

    def attempt(self, picked: Sequence[Option], count: int) -> bool:
        """Rehearse the first few combinations that can be made; False where there is none."""
        possible = (m for o in picked if (m := self._made(o)) is not None)
        made = list(islice(possible, count))
        if not made:
            return False
        rows = self.adviser.runs([(m, s) for _, _, m, s in made])
        goal = self.scenario.goal
        fresh = [Attempt(option, changes, row, self.before, goal)
                 for (option, changes, _, _), row in zip(made, rows, strict=True)]  # fmt: skip
        self.attempts += fresh
        self._learn(fresh)
        return True

    def _picked(self) -> list[Option]:
        """The best combinations as the fast model has them, of different levers first."""
        seen = {s: r for s, r in self.seen.items() if s is not None}
        effects = effects_of(self.base, self.ladders, seen)
        goal = self.goal
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

    @property
    def goal(self) -> Goal | None:
        """What is to be kept; where less is looked at, no power is asked for, only wished for."""
        said = self.scenario.goal
        return said.model_copy(update={"keep_power": None}) if said and self.less else said

    def _looked_at(self, fresh: Sequence[Option]) -> list[Option]:
        """Combinations with the fast model's own answer in place of the effects put together."""
        pairs = []
        for option in fresh:
            if (changed := self._taken(option)) is not None:
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
        changed = self._taken(option)
        if changed is None:
            return None
        if self.first is not None:
            option = replace(option, steps=(*self.first.steps, *option.steps),
                             cost=self.first.cost + option.cost)  # fmt: skip
        changes = changes_of(self.machine, self.scenario, changed, self.adviser.written)
        made = self._rebuilt(changed, changes)
        return None if made is None else (option, changes, *made)

    def _taken(self, option: Option) -> Changed | None:
        """Machine and scenario with a combination, and with what was changed before it."""
        if self.begun is None:
            return taken(self.machine, self.scenario, option.steps)
        now = self.begun
        more = taken(now.machine, now.scenario, option.steps)
        return None if more is None else replace(
            more, values={**now.values, **more.values}, settings={**now.settings, **more.settings}
        )  # fmt: skip

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


def _plain(option: Option) -> float:
    return option.plain


def _mark(option: Option) -> tuple[tuple[str, float], ...]:
    return tuple(sorted((s.lever, s.x) for s in option.steps))
