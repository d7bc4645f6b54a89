"""Combinations of a few changes, the least change first, that the fast model has within limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.goal import KEPT, Goal
from simkit.studies.advice.levers import Step
from simkit.studies.advice.superposed import Base, Effects, told

MOST_STEPS = 3
"""Most changes in a combination [1]: more, and nobody knows what helped."""
ROOM = 0.92
"""Share of a limit that a combination must keep in the fast model [1]: it is a few per cent off."""
UNTOUCHED = 0.985
"""The same for what was within its limit and is not made worse [1]."""
WISHED = 6.0
"""Cost of each share of the power below what is wished for [1]."""
MORE_POWER = 0.05
"""Share of the power that another change beside those that suffice must bring [1]."""
SLACK = 0.01
"""What the fast model's share of power may be short of the goal's [1]."""
FAR = 30.0
"""Cost of each share by which a limit would be passed: such a combination comes last."""


@dataclass(frozen=True, eq=False)
class Option:
    """A combination: its steps, what it asks of a builder, and what it is thought to come to.

    Fields: cost [1]; excess: how far shares of limits would lie above what is asked, summed [1];
    power: kept [1]; shares by quantity.
    """

    steps: tuple[Step, ...]
    cost: float
    excess: float
    power: float
    shares: Mapping[str, float]

    @property
    def levers(self) -> frozenset[str]:
        """What is changed."""
        return frozenset(step.lever for step in self.steps)

    @property
    def plain(self) -> float:
        """Least change first, whatever becomes of the power."""
        return self.cost + FAR * self.excess

    def order(self, goal: Goal | None) -> float:
        """Least change first, then what misses least."""
        return self.plain + WISHED * shortfall(self.power, goal)


def kept_share(goal: Goal | None) -> float:
    """Least share of the power that is wished for [1]."""
    return KEPT if goal is None or goal.keep_power is None else goal.keep_power


def is_asked(goal: Goal | None) -> bool:
    """Whether somebody said how much power must be kept."""
    return goal is not None and goal.keep_power is not None


def shortfall(power: float, goal: Goal | None) -> float:
    """By how much the power kept is short of what is wished for [1]."""
    return max(kept_share(goal) - power - SLACK, 0.0)


def allowed(base: Base, room: float = ROOM) -> dict[str, float]:
    """Share of each limit that a combination may use in the fast model [1]."""
    return {q: max(room, min(1.005 * r, UNTOUCHED)) for q, r in base.ratios.items()}


def excess(shares: Mapping[str, float], most: Mapping[str, float]) -> float:
    """How far shares lie above what they may be, summed [1]."""
    return sum(max(shares[q] - top, 0.0) for q, top in most.items())


def options(
    base: Base,
    effects: Effects,
    goal: Goal | None,
    off: Mapping[str, float],
    room: float = ROOM,
    count: int = 10,
) -> list[Option]:
    """The best combinations: half by all that is wished for, half by the least change alone.

    Where somebody asked for power, what keeps less is left out. So is what only adds a change to a
    combination that does as well without it.
    """
    rows = _combinations(effects)
    if not len(rows):
        return []
    shares, power = told(base, effects, rows, off)
    names = effects.names[:-1]
    most = allowed(base, room)
    top = np.array([most[n] for n in names])
    beyond = np.maximum(shares - top, 0.0).sum(axis=1)
    costs = np.append([s.cost for s in effects.steps], 0.0)[rows].sum(axis=1)
    short = np.maximum(kept_share(goal) - power - SLACK, 0.0)
    plain = costs + FAR * beyond
    if is_asked(goal):
        plain[short > 0.0] = np.inf

    def made(k: int) -> Option:
        steps = tuple(effects.steps[i] for i in rows[k] if i >= 0)
        told_ = dict(zip(names, shares[k].tolist(), strict=True))
        return Option(steps, float(costs[k]), float(beyond[k]), float(power[k]), told_)

    found: list[Option] = []
    for order, most_of_it in ((plain + WISHED * short, count - count // 2), (plain, count)):
        for k in np.argsort(order, kind="stable"):
            if not np.isfinite(order[k]) or len(found) >= most_of_it:
                break
            option = made(int(k))
            if not any(_enough(other, option) for other in found):
                found.append(option)
    return found


def _enough(other: Option, option: Option) -> bool:
    """Whether a combination brings nothing beside another one: the same levers once more, or more
    of them for no more power."""
    if other.levers == option.levers:
        return other.excess <= option.excess and abs(other.power - option.power) < 0.1
    more = other.levers < option.levers and other.excess <= option.excess
    return more and option.power < other.power + MORE_POWER


def _combinations(effects: Effects) -> NDArray[np.intp]:
    """Every combination of one to three levers, a step of each; -1 where there are fewer."""
    levers: dict[str, list[int]] = {}
    for k, step in enumerate(effects.steps):
        levers.setdefault(step.lever, []).append(k)
    rows: list[Sequence[int]] = []
    for size in range(1, MOST_STEPS + 1):
        for chosen in combinations(levers.values(), size):
            fill = (-1,) * (MOST_STEPS - size)
            rows += [(*picked, *fill) for picked in product(*chosen)]
    return np.array(rows, dtype=np.intp).reshape(len(rows), MOST_STEPS)
