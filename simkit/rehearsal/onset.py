"""When limits went, of an event that was sampled.

The fast model's course, scaled to the samples, says when a limit is passed; how far it may be off
is the gap between the last sample that keeps the limit and the first that does not. Of what goes
smoothly with the tank less: where the course passes the limit when its scale is off by as much as
it misses a sample that is left out. For the limit that goes first, and for the first of those that
destroy within a cycle, more samples close what is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from simkit.figures.table import figures, sudden
from simkit.judge.limits import Limit
from simkit.rehearsal.closeup import APART, LOOK_CYCLES, latest_start
from simkit.rehearsal.refining import Passes, Runs
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import Curve, worst_of

ROUNDS = 4
"""How often the gaps are narrowed [1]."""
NARROW = 0.05
"""A gap below this share of the time since the event began is left [1]."""
FOLLOWED = 0.1
"""Scales that miss a sample by more say nothing of when [1]."""
JUMPING = ("gate", "winding")
"""States that only figures of gates remember; those jump with an edge."""
INSIDE = 0.2
"""Share of a gap that a new sample keeps from its ends [1], so that either outcome narrows it."""


@dataclass(frozen=True)
class Onset:
    """When a limit is passed, no sooner than `after` and no later than `until` [s]."""

    at: float
    after: float
    until: float

    @property
    def error(self) -> float:
        """[s]"""
        return max(self.at - self.after, self.until - self.at)


def onset(
    quantity: str, bound: float, stretches: Sequence[Stretch], curve: Curve | None,
    error: float = 0.0,
) -> Onset | None:  # fmt: skip
    """When a quantity first exceeds a bound; None where no sample does, or the first.

    `error`: of the samples' values, as a share [1].
    """
    seen = sorted((_middle(s), worst_of(s, quantity)) for s in stretches)
    times = np.array([t for t, _ in seen])
    over = np.array([v > bound for _, v in seen])
    if not over.any() or over[0]:
        return None
    until = float(times[over][0])
    expected = None if curve is None else curve.first_above(bound)
    at = until if expected is None else min(expected, until)
    before = times[(times < at) & ~over]
    if not len(before):
        return None
    after, until = float(before[-1]), float(min(times[times >= at][0], until))
    if curve is not None and is_smooth(quantity) and curve.missed < FOLLOWED:
        off = curve.missed + error
        early, late = (curve.first_above(bound * (1.0 + d)) for d in (-off, off))
        after = max(after, at if early is None else min(early, at))
        until = min(until, until if late is None else max(late, at))
    return Onset(at, after, until)


def is_smooth(quantity: str) -> bool:
    """Whether a quantity goes with the tank's and the link's currents: no edge jumps in it, as in
    gates and in whatever a diode that is forced off adds to."""
    return (
        quantity in figures()
        and figures()[quantity].remembers not in JUMPING
        and (quantity not in sudden())
    )


def narrow(runs: Runs, scout: Scouted, passes: Passes, limits: Mapping[str, Limit]) -> None:
    """More samples where the first limit went, and the first that destroys within a cycle."""
    begins = scout.line.events[0].start
    least = APART / scout.line.frequency.last
    for number in range(ROUNDS):
        wanted: list[float] = []
        taken = [s.cycles[0].start for s in passes.stretches]
        for found in _leading(scout, passes.stretches, limits):
            gap = found.until - found.after
            if gap <= max(2.0 * least, NARROW * (found.at - begins)):
                continue
            inside = found.after + INSIDE * gap, found.until - INSIDE * gap
            # By halves where the course's own crossing did not come nearer.
            aim = found.at if number % 2 == 0 else 0.5 * (found.after + found.until)
            start = min(max(aim, inside[0]), inside[1]) - 0.5 / scout.line.frequency.last
            start = min(max(start, 0.0), latest_start(scout))
            if all(abs(start - t) > least for t in (*taken, *wanted)):
                wanted.append(start)
        if not wanted:
            return
        better = scout.corrected(passes.stretches)
        news = runs.gather([runs.elsewhere(better, start, LOOK_CYCLES) for start in wanted])
        passes.residues |= {s.cycles[0].start: better.sampled(s) for s in news}
        passes.stretches = sorted([*passes.stretches, *news], key=lambda s: s.cycles[0].start)


def _leading(
    scout: Scouted, stretches: Sequence[Stretch], limits: Mapping[str, Limit]
) -> list[Onset]:
    curves = scout.scaled(stretches)
    known = {
        q: found
        for q, limit in limits.items()
        if (found := onset(q, limit.bound, stretches, curves.get(q))) is not None
    }
    quick = [known[q] for q in known if q in sudden()]
    return [min(some, key=lambda o: o.at) for some in (list(known.values()), quick) if some]


def _middle(stretch: Stretch) -> float:
    return 0.5 * (stretch.cycles[0].start + stretch.cycles[-1].end)
