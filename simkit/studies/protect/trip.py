"""An over-current trip: how late all gates may go off and still keep the limits.

A rehearsal without a trip tells when the bridge current passes each level and when each limit is
first exceeded: from the waveforms of the whole event where it is short, else from its samples and
the fast model's course at their scale. Between a moment before that and one after, rehearsals with
all gates going off at two moments at a time take the bracket in three until it is 5 % of the delay
at the lowest level; of a long event each samples what comes before and runs only what follows
(`rehearsal.tripping`). The delay for any other level follows, because what the circuit does until
the gates go off is the same.

A limit counts as one that a trip can keep when the earliest trip keeps it. What the going-off
itself exceeds (the tank drives its current on through transformer and diodes, into the link) is
said apart, and so is what was exceeded before the event.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from simkit.figures.table import sudden
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.closeup import SHORT
from simkit.rehearsal.comparators import Watch
from simkit.rehearsal.driving import driven_line
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.tripping import sensed
from simkit.run.at_once import at_once

LEVELS = (1.2, 1.25, 1.3, 1.4, 1.5, 1.7, 2.0, 2.25, 2.5, 3.0)
"""Trip levels, times the largest bridge current of the settled state [1]."""
RESOLUTION = 0.05
"""Width of the bracket around the last moment, as a share of the longest delay [1]."""
AFTER = 0.3e-3
"""How long a run goes on once the gates are off: the tank rings down, a few memory times [s]."""
CALM = 0.1e-3
"""Settled part of a run with a trip [s]."""
WIDENINGS = 5
"""How often a bracket is widened, twice as far each time [1]."""
PACE = 0.005
"""Most of the events' span by which the first bracket reaches out, a period at least [1]."""
BEFORE, AFTERWARD = 2.2, 1.2
"""Reach of the first bracket in times of the error with which the limit's crossing is known [1]."""
Row = Mapping[str, Any]
Runs = Callable[[Sequence[tuple[Machine, Scenario]]], list[Row]]
"""Circuit runs of some cases, in their order."""


@dataclass(frozen=True)
class Boundary:
    """The last moment for the gates to go off, in seconds after the event began.

    Fields: kept: quantities that are kept; inside, outside: gates off then keep, and do not;
    rows: what both runs found. inside is None when no trip keeps them, outside is None when none
    is needed.
    """

    name: str
    kept: tuple[str, ...]
    inside: float | None
    outside: float | None
    inside_row: Row | None
    outside_row: Row | None

    def delay(self, crossing: float, error: float = 0.0) -> tuple[float, float] | None:
        """Longest delay that keeps, shortest that does not [s], counted from a crossing with its
        error [s]."""
        if self.inside is None or self.outside is None:
            return None
        return self.inside - crossing - error, self.outside - crossing + error

    @property
    def ends(self) -> str:
        """What ends it: "over"; "near" a limit, too near to tell; "no_verdict"; empty: nothing."""
        return "" if self.outside_row is None else kept(self.outside_row, self.kept)


@dataclass(frozen=True)
class Level:
    """A trip level [A] and when the bridge current first passes it, after the event began [s]."""

    share: float
    """Times the largest current of the settled state [1]."""
    current: float
    crossing: float | None
    error: float = 0.0
    """Of the crossing, where the event was sampled [s]."""


@dataclass(frozen=True)
class Trip:
    """Everything about the trip.

    Fields: start: of the event [s]; levels; boundaries; going_off: quantities the earliest trip
    exceeds by itself, with their share of the limit; link_peak: largest link voltage then [V].
    """

    settled_current: float
    levels: tuple[Level, ...]
    boundaries: tuple[Boundary, ...]
    going_off: Mapping[str, float]
    earliest: Row


def kept(row: Row, wanted: Sequence[str]) -> str:
    """Whether all wanted limits are kept: "ok", "near", "no_verdict", "over", the worst of them.

    A value within its error of the limit is near, and what was not evaluated has no verdict; a run
    that came to nothing has none whatever is wanted.
    """
    if not row["limits"]:
        return "no_verdict"
    found = {row["limits"].get(q, {"status": "not_evaluated"})["status"] for q in wanted}
    if "over" in found:
        return "over"
    if "not_evaluated" in found:
        return "no_verdict"
    return "near" if "near" in found else "ok"


def is_short(machine: Machine, scenario: Scenario) -> bool:
    """Whether the circuit runs through a whole event, with and without a trip."""
    return driven_line(machine, scenario).cycles <= SHORT


def with_trip(scenario: Scenario, at: float) -> Scenario:
    """The scenario with all gates off from a time after the settled part on [s]."""
    data = scenario.model_dump(exclude_none=True, exclude={"map"})
    data["events"] = [*data["events"], {"kind": "trip", "at": at}]
    data["start"]["settled"] = min(data["start"]["settled"], CALM)
    data["ends"] = at + AFTER
    return Scenario.model_validate(data)


def levels_of(base: Rehearsal) -> tuple[float, tuple[Level, ...]]:
    """Settled peak of the bridge current [A], and when each level is passed."""
    if not base.is_whole:
        return _levels_of_samples(base)
    waves, start = base.whole.waves, base.line.events[0].start
    current = np.abs(waves.primary_current)
    calm = float(current[(waves.time >= 0.0) & (waves.time < start)].max())
    later = waves.time >= start

    def crossing(level: float) -> float | None:
        above = np.flatnonzero(later & (current > level))
        return float(waves.time[above[0]]) - start if len(above) else None

    return calm, tuple(Level(s, s * calm, crossing(s * calm)) for s in LEVELS)


def _levels_of_samples(base: Rehearsal) -> tuple[float, tuple[Level, ...]]:
    """The same by the fast model's current at the samples' scale.

    Error: when the course may pass the level at the soonest and at the latest, by what the scale
    misses of a sample that is left out; a period at least.
    """
    start, period = base.line.events[0].start, 1.0 / base.line.frequency.first
    found = sensed(base.scout, base.first_pass, base.line, Watch("output", 1.0, "A", 0.0, 0.0))
    calm = float(found.seen[found.times < start + period].max())

    def level(share: float) -> Level:
        at = found.first_above(share * calm)
        if at is None:
            return Level(share, share * calm, None)
        doubt = min(found.doubt, 0.5)
        near = [found.first_above(share * calm * (1.0 + d)) for d in (-doubt, doubt)]
        error = max(period, *(abs((n if n is not None else base.line.end) - at) for n in near))
        return Level(share, share * calm, at - start, error)

    return calm, tuple(level(s) for s in LEVELS)


def search(
    machine: Machine, scenario: Scenario, base: Rehearsal, runs: Runs, threaded: bool = False
) -> Trip:
    """The trip's boundaries: for every limit it can keep, and for what destroys in a cycle.

    `threaded`: whether both may be looked for side by side.
    """
    start = base.line.events[0].start
    period = 1.0 / driven_line(machine, scenario).frequency.first
    calm, levels = levels_of(base)
    earliest = runs([(machine, with_trip(scenario, 0.25 * period))])[0]
    lost = {q for q, r in earliest["limits"].items() if r["status"] != "ok"}
    crossed = {
        r.quantity: (r.first_over_s - start, r.first_over_error_s or 0.0)
        for r in base.rows
        if r.first_over_s is not None
    }
    first = next((level.crossing for level in levels if level.crossing is not None), None)
    hunts: list[Callable[[], Boundary]] = []
    groups = {
        "every limit a trip can keep": set(crossed) - lost,
        "what destroys within a cycle": set(crossed) & sudden() - lost,
    }
    for name, wanted in groups.items():
        if wanted and first is not None:
            span = max(e.end for e in base.line.events) - start
            when, error = min(crossed[q] for q in wanted)
            pace = max(period, min(PACE * span, error or PACE * span))
            hunt = _Hunt(machine, scenario, runs, name, tuple(sorted(wanted)), period, pace)
            hunts.append(partial(hunt.boundary, when, error, first))
    found = at_once(hunts, threaded)
    going = {q: float(earliest["limits"][q]["ratio"] or 0.0) for q in sorted(lost)
             if earliest["limits"][q]["status"] == "over"}  # fmt: skip
    return Trip(calm, levels, tuple(found), going, earliest)


@dataclass
class _Hunt:
    machine: Machine
    scenario: Scenario
    runs: Runs
    name: str
    wanted: tuple[str, ...]
    period: float
    pace: float

    def boundary(self, crossed: float, error: float, first: float) -> Boundary:
        """Bracket the last moment around the limit's crossing [s] with its error [s], then narrow
        the bracket, as fine as the delay from the first level's crossing [s] asks for."""
        # Before the limit is passed a figure is too near to it to tell for as long as its error
        # says, and what is under way when the gates go off goes on.
        low = max(crossed - max(1.5 * self.pace, BEFORE * error), 0.0)
        high = crossed + max(self.pace, AFTERWARD * error)
        good, bad = self._run([low, high])
        reach = 6.0 * self.pace
        for _ in range(WIDENINGS):
            if not self._keeps(good) and low > 0.0:
                high, bad = low, good
                low = max(low - reach, 0.0)
                good = self._run([low])[0]
            elif self._keeps(bad):
                low, good = high, bad
                high += reach
                bad = self._run([high])[0]
            else:
                break
            reach *= 2.0
        if not self._keeps(good):
            return Boundary(self.name, self.wanted, None, low, None, good)
        if self._keeps(bad):
            return Boundary(self.name, self.wanted, high, None, bad, None)
        while high - low > RESOLUTION * max(low - first, self.period):
            third = (high - low) / 3.0
            moments = [low + third, high - third]
            for moment, row in zip(moments, self._run(moments), strict=True):
                if not self._keeps(row):
                    high, bad = moment, row
                    break
                low, good = moment, row
        return Boundary(self.name, self.wanted, low, high, good, bad)

    def _run(self, times: Sequence[float]) -> list[Row]:
        return self.runs([(self.machine, with_trip(self.scenario, t)) for t in times])

    def _keeps(self, row: Row) -> bool:
        """Whether every wanted limit is clearly kept; a value within its error is not."""
        return kept(row, self.wanted) == "ok"
