"""Whether a figure still rises where a run ends, and how much further the run must go on.

The last stretch of a course is cut into three equal parts. What its means rise by from part to part
falls, in anything that settles, by the same ratio each time, so that the rise to come is the sum of
a geometric series; where it does not fall, nothing says where it will end.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf, log

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.judge.limits import Limit
from simkit.measure.series import Series
from simkit.measure.waveforms import Array

SMALL = 0.2
"""Below this share of its limit a figure counts as that share of it [1]."""

WINDOW = 1.0 / 3.0
"""Share of the time since the last event ended that is looked at [1]."""
WHOLE = 0.9
"""Distance from the value before, in cycles, from which on a value stands for a whole one [1]."""
LEAST = 6
"""Cycles looked at, at least [1]."""
RISE = 0.02
"""What a figure may still rise by, as a share of it [1]: as much as an engineer reads off."""
STEADY = 0.95
"""Ratio of one part's rise to the one before from which on nothing says where it will end [1]."""
FAR = 100.0
"""How much more of such a rise counts as to come, in parts [1]."""
NOISE = 0.1
"""Share of a rise that counts which has to be seen over the three parts [1]."""
SCATTER = 3.0
"""How much more than the scatter of a part's mean a rise must be [1]."""
OVER = 1.05
"""A first pass so far over a limit needs no carrying on [1]."""
LONGEST = 500.0
"""Cycles to which a run is carried on [1], or to twice its length where that is more."""
SPARE = 1.25
"""On the time a course needs [1]: what is read off its end is not exact."""
MORE = 12.0
"""Cycles by which a run is carried on, at least [1]."""
ROUNDS = 4
"""How often a run is carried on [1]."""


@dataclass(frozen=True)
class Rising:
    """A course that rises where it ends."""

    quantity: str
    last: float
    """Mean of its last part, in its unit."""
    to_come: float
    """By how much more it will rise, in its unit; `FAR` where nothing says that it stops."""
    slope: float
    """Now, in its unit per second."""
    ratio: float
    """Of the last two rises [1]."""
    part: float
    """Length of a part [s]."""

    def reaches(self, bound: float) -> bool:
        """Whether it may come to exceed a bound; what is to come counts half as much again."""
        return self.last + 1.5 * self.to_come > bound


def rising(quantity: str, times: Array, values: Array, since: float, least: float) -> Rising | None:
    """The rise at the end of a course; None where it has settled, or has been higher before.

    `since`: end of the last event [s]; `least`: the rise that counts, in the course's unit.
    """
    if len(times) < 4:
        return None
    step = float(np.median(np.diff(times)))
    if times[-1] - times[-2] < WHOLE * step:  # what is left of a cycle holds less than a cycle
        times, values = times[:-1], values[:-1]
    length = max(WINDOW * (float(times[-1]) - since), LEAST * step)
    count = int(np.sum(times > times[-1] - length)) // 3
    if count < 1 or not np.isfinite(values).all():
        return None
    parts = np.arange(len(times) - 3 * count, len(times)).reshape(3, count)
    means = np.array([values[part].mean() for part in parts])
    first, last = np.diff(means)
    scatter = SCATTER * float(np.abs(np.diff(values[parts.ravel()])).mean()) / np.sqrt(count)
    if last <= 0.0 or means[2] - means[0] <= max(NOISE * least, scatter):
        return None
    ratio = float(last / first) if first > 0.0 else inf
    to_come = float(last) * (ratio / (1.0 - ratio) if ratio < STEADY else FAR)
    if means[2] + to_come - values.max() <= least:
        return None
    span = float(times[parts[2]].mean() - times[parts[1]].mean())
    return Rising(quantity, float(means[2]), to_come, float(last) / span, ratio, span)


def rises(
    courses: Iterable[tuple[str, Array, Array]], limits: Mapping[str, Limit], since: float
) -> dict[str, Rising]:
    """The steepest rise of each quantity among some courses (name, times, values)."""
    out: dict[str, Rising] = {}
    for name, times, values in courses:
        size = float(values.max(initial=0.0))
        least = RISE * max(size, SMALL * limits[name].bound if name in limits else 0.0)
        found = rising(name, times, values, since, least)
        if found and (name not in out or found.slope > out[name].slope):
            out[name] = found
    return out


def courses_of(series: Sequence[Series], wanted: frozenset[str]) -> list[tuple[str, Array, Array]]:
    """Judged courses among some series, a value per cycle or transition."""
    return [(s.quantity, s.times, s.values) for s in series if s.quantity in wanted]


def is_over(series: Sequence[Series], limits: Mapping[str, Limit]) -> bool:
    """Whether some figure is plainly over its limit already."""
    return any(s.worst[0] > OVER * limits[s.quantity].bound for s in series if s.quantity in limits)


def seen_after(line: Timeline) -> Timeline | None:
    """The timeline with an end late enough after its last event that a rise would be seen; None
    where it is so already, or nothing happens."""
    if not line.events:
        return None
    end = max(e.end for e in line.events) + LEAST / line.frequency.last
    return replace(line, stop=end, end=end, _clock=None) if end > line.end else None


def carried_on(
    line: Timeline, found: Mapping[str, Rising], limits: Mapping[str, Limit], longest: float
) -> Timeline | None:
    """The timeline with as much more of an end as these rises need; None when no more is allowed.

    A rise that may reach its limit is followed to it, the first of them if there are several; any
    other until it has settled. At most as long again as since the last event: what is read off a
    short course may be wrong. `longest`: end that no run is carried beyond [s].
    """
    period = 1.0 / line.frequency.last
    since = max((e.end for e in line.events), default=0.0)
    crossings = [
        (limits[n].bound - r.last) / r.slope
        for n, r in found.items()
        if n in limits and r.reaches(limits[n].bound)
    ]
    needed = min(crossings) if crossings else max(settling(r) for r in found.values())
    more = min(max(SPARE * needed, MORE * period), max(line.end - since, MORE * period))
    end = min(line.end + more, longest)
    if end - line.end < 0.9 * MORE * period:
        return None
    return replace(line, stop=end, end=end, _clock=None)


def longest_of(line: Timeline) -> float:
    """End that a run is not carried beyond [s]."""
    return max(LONGEST / line.frequency.first, 2.0 * line.end)


def settling(found: Rising) -> float:
    """Time until what a course has still to rise no longer counts [s]; as long again as it was
    looked at where nothing says when."""
    if found.ratio >= STEADY:
        return 3.0 * found.part
    left = found.to_come / (RISE * max(found.last, 1e-300))
    return ceil(log(max(left, 1.0)) / -log(max(found.ratio, 1e-3))) * found.part
