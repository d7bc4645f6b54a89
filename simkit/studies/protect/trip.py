"""An over-current trip: how late all gates may go off and still keep the limits.

One circuit run without a trip tells when the bridge current passes each level and when each limit
is first exceeded. Between a moment just before that and one just after, runs with all gates going
off at a moment halve the bracket until it is 5 % of the delay at the lowest level. The delay for
any other level follows, because what the circuit does until the gates go off is the same.

A limit counts as one that a trip can keep when the earliest trip keeps it. What the going-off
itself exceeds (the tank drives its current on through transformer and diodes, into the link) is
said apart, and so is what was exceeded before the event.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.figures.table import sudden
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.driving import driven_line
from simkit.rehearsal.findings import Rehearsal

LEVELS = (1.2, 1.25, 1.3, 1.4, 1.5, 1.7, 2.0, 2.25, 2.5, 3.0)
"""Trip levels, times the largest bridge current of the settled state [1]."""
RESOLUTION = 0.05
"""Width of the bracket around the last moment, as a share of the longest delay [1]."""
AFTER = 0.3e-3
"""How long a run goes on once the gates are off: the tank rings down, a few memory times [s]."""
CALM = 0.1e-3
"""Settled part of a run with a trip [s]."""
WIDENINGS = 5
LONGEST = 5e-3
"""Event whose trip is searched [s]: every try runs the circuit all the way there."""
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

    def delay(self, crossing: float) -> tuple[float, float] | None:
        """Longest delay that keeps, shortest that does not [s], counted from a crossing [s]."""
        if self.inside is None or self.outside is None:
            return None
        return self.inside - crossing, self.outside - crossing


@dataclass(frozen=True)
class Level:
    """A trip level [A] and when the bridge current first passes it, after the event began [s]."""

    share: float
    """Times the largest current of the settled state [1]."""
    current: float
    crossing: float | None


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


def unsearched(machine: Machine, scenario: Scenario) -> str:
    """Why no last moment is searched for an event that takes long; empty where one is."""
    line = driven_line(machine, scenario)
    taken = max((e.end for e in line.events), default=0.0) - min(
        (e.start for e in line.events), default=0.0
    )
    if taken <= LONGEST:
        return ""
    return (
        f"The last moment for a trip was not searched: the event takes {taken * 1e3:.3g} ms, and "
        "every try would run the circuit all the way. So slow an event leaves a trip milliseconds; "
        "declare one as drive.trip, and rehearse it."
    )


def with_trip(scenario: Scenario, at: float) -> Scenario:
    """The scenario with all gates off from a time after the settled part on [s]."""
    data = scenario.model_dump(exclude_none=True, exclude={"map"})
    data["events"] = [*data["events"], {"kind": "trip", "at": at}]
    data["start"]["settled"] = min(data["start"]["settled"], CALM)
    data["ends"] = at + AFTER
    return Scenario.model_validate(data)


def levels_of(base: Rehearsal) -> tuple[float, tuple[Level, ...]]:
    """Settled peak of the bridge current [A], and when each level is passed in a whole run."""
    waves, start = base.whole.waves, base.line.events[0].start
    current = np.abs(waves.primary_current)
    calm = float(current[(waves.time >= 0.0) & (waves.time < start)].max())
    later = waves.time >= start

    def crossing(level: float) -> float | None:
        above = np.flatnonzero(later & (current > level))
        return float(waves.time[above[0]]) - start if len(above) else None

    return calm, tuple(Level(s, s * calm, crossing(s * calm)) for s in LEVELS)


def search(machine: Machine, scenario: Scenario, base: Rehearsal, runs: Runs) -> Trip:
    """The trip's boundaries: for every limit it can keep, and for what destroys in a cycle."""
    start = base.line.events[0].start
    period = 1.0 / driven_line(machine, scenario).frequency.first
    calm, levels = levels_of(base)
    earliest = runs([(machine, with_trip(scenario, 0.25 * period))])[0]
    lost = {q for q, r in earliest["limits"].items() if r["status"] != "ok"}
    crossed = {r.quantity: r.first_over_s - start for r in base.rows if r.first_over_s is not None}
    first = next((level.crossing for level in levels if level.crossing is not None), None)
    found = []
    groups = {
        "every limit a trip can keep": set(crossed) - lost,
        "what destroys within a cycle": set(crossed) & sudden() - lost,
    }
    for name, wanted in groups.items():
        if wanted and first is not None:
            hunt = _Hunt(machine, scenario, runs, name, tuple(sorted(wanted)), period)
            found.append(hunt.boundary(min(crossed[q] for q in wanted), first))
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

    def boundary(self, crossed: float, first: float) -> Boundary:
        """Bracket the last moment, then halve the bracket."""
        low, high = max(crossed - 1.5 * self.period, 0.0), crossed + self.period
        good, bad = self._run([low, high])
        for _ in range(WIDENINGS):
            if not self._keeps(good) and low > 0.0:
                high, bad = low, good
                low = max(low - 6.0 * self.period, 0.0)
                good = self._run([low])[0]
            elif self._keeps(bad):
                low, good = high, bad
                high += 6.0 * self.period
                bad = self._run([high])[0]
        if not self._keeps(good):
            return Boundary(self.name, self.wanted, None, low, None, good)
        if self._keeps(bad):
            return Boundary(self.name, self.wanted, high, None, bad, None)
        while high - low > RESOLUTION * max(low - first, self.period):
            middle = 0.5 * (low + high)
            row = self._run([middle])[0]
            if self._keeps(row):
                low, good = middle, row
            else:
                high, bad = middle, row
        return Boundary(self.name, self.wanted, low, high, good, bad)

    def _run(self, times: Sequence[float]) -> list[Row]:
        return self.runs([(self.machine, with_trip(self.scenario, t)) for t in times])

    def _keeps(self, row: Row) -> bool:
        """Whether every wanted limit is clearly kept; a value within its error is not."""
        return bool(row["limits"]) and all(row["limits"][q]["status"] == "ok" for q in self.wanted)
