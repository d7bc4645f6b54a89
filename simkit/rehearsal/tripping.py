"""A rehearsal of a machine whose drive protects itself: find what trips, then let it trip.

What a circuit does until its gates go off does not depend on whether they will. So a first pass
runs without the trip, the comparators are read from its waveforms, and the gates go off in the next
pass at the moment that comparator and delay say. Where the event was sampled, the fast model's
current at the samples' scale says where to look; a run there finds the crossing, samples judge what
came before the gates went off, and a run of its own what follows. So it is where a scenario itself
tells the gates of a long event to go off.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from simkit.circuit.faults import locked_out
from simkit.circuit.timeline import NamedEvent, Timeline, timeline
from simkit.errors import EngineError
from simkit.judge.limits import machine_limits
from simkit.judge.verdict import Judged, Verdict, verdict
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.aftermath import with_aftermath
from simkit.rehearsal.closeup import SHORT, merged
from simkit.rehearsal.comparators import Crossing, Watch, first_turned, largest, watches
from simkit.rehearsal.findings import Rehearsal, Tripped, context_of
from simkit.rehearsal.job import Job
from simkit.rehearsal.part_limits import with_parts
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import missed_share
from simkit.rehearsal.tripped_heat import HEAT, heat_rows, junctions_through
from simkit.units import format_quantity

AFTER = 0.3e-3
"""How long a run goes on once a trip has latched [s]: the tank rings down, a few memory times."""
BEFORE = 5.0
"""Tank memories that the run of a trip begins before the comparator turns [1]."""
LEAST = 25.0
"""The same in cycles, at least [1]."""
WINDOW = 40.0
"""Cycles on either side of where the fast model expects a crossing that are run to find it [1]."""
MOVES = 6
"""How often that window is moved [1]."""


class Running(Protocol):
    """A rehearsal on its way, its first pass done."""

    scenario: Scenario
    machine: Machine
    line: Timeline
    scout: Scouted
    job: Job

    @property
    def whole(self) -> bool:
        """Whether the circuit runs through the whole event."""

    @property
    def seen(self) -> Sequence[Stretch]:
        """The first pass."""

    def done(self) -> Rehearsal:
        """What it comes to, once refined."""


Begin = Callable[[Scenario, float, Running | None], Running]
"""A scenario, from when on it is run whole [s], and whose loop it follows -> its first pass."""


@dataclass(frozen=True)
class _Trips:
    """What has tripped so far, and the scenario with it."""

    case: Scenario
    found: tuple[Tripped, ...] = ()

    @property
    def latched(self) -> bool:
        return bool(self.found) and self.found[-1].again is None


def protected(machine: Machine, scenario: Scenario, begin: Begin, whole: bool = False) -> Rehearsal:
    """The rehearsal of a scenario with what the drive's protection does; `whole`: whether it is
    asked to run whole.

    Errors: EngineError, also where the comparators' crossing could not be found.
    """
    wanted = watches(machine)
    at = None if wanted or whole else told_off(machine, scenario)
    if at is not None:
        return _told_off(scenario, at, begin)
    trips, since, listens = _Trips(scenario), 0.0, bool(wanted)
    while True:
        run = begin(trips.case, 0.0, None)
        if trips.latched or not listens:
            break
        if not run.whole:
            return _of_samples(run, wanted, begin)
        hit = first_turned(run.seen[0].waves, run.seen[0].line or run.line, wanted, since)
        if hit is None:
            break
        trips = tripped(trips, hit, run.line)
        since = trips.found[-1].again or since
    return told(run.done(), (*trips.found, *lock_outs(run.machine, run.line)))


def tripped(so_far: _Trips, hit: Crossing, line: Timeline) -> _Trips:
    """One trip more: gates off, and on again where the drive tries again."""
    case, tries = so_far.case, len(so_far.found)
    settled = case.start.settled
    at = max(hit.off - settled, 0.0)
    again = hit.watch.retry_after if tries < hit.watch.retries else None
    events = [{"kind": "trip", "at": at}]
    if again is not None:
        events.append({"kind": "restart", "at": at + again})
    found = Tripped(hit.watch.by, hit.time, settled + at, hit.watch.level, hit.watch.unit,
                    None if again is None else settled + at + again)  # fmt: skip
    later = [e for e in line.events if e.start > settled + at + AFTER]
    ends = min(at + AFTER, line.end - settled) if again is None and not later else None
    return _Trips(_changed(case, more=events, ends=ends), (*so_far.found, found))


def _changed(
    case: Scenario,
    keep: Callable[[Mapping[str, Any]], bool] = lambda _event: True,
    more: Sequence[Mapping[str, Any]] = (),
    ends: float | None = None,
) -> Scenario:
    """A scenario with the events that are kept and some more; it ends after `ends` [s] or as
    before."""
    data = case.model_dump(exclude_none=True, exclude={"map"})
    data["events"] = [*(e for e in data["events"] if keep(e)), *more]
    if ends is not None:
        data["ends"] = ends
    return Scenario.model_validate(data)


def lock_outs(machine: Machine, line: Timeline) -> tuple[Tripped, ...]:
    """The drivers' lock-out, where their supply falls below it."""
    least = machine.drive.lock_out
    gone = locked_out(line.faults, machine.drive.voltage_on, least)
    if gone is None or least is None:
        return ()
    return (Tripped("drivers' lock-out", gone, gone, least, "V"),)


def _of_samples(run: Running, wanted: Sequence[Watch], begin: Begin) -> Rehearsal:
    """A slow event: what was sampled until the gates go off, and a run from shortly before."""
    hit = _found(run, wanted)
    if hit is None:
        return run.done()
    trips = tripped(_Trips(run.scenario), hit, run.line)
    last = trips.found[-1]
    off = last.off - run.scenario.start.settled
    if last.again is not None:  # the pause is too long to be run: what follows it is not rehearsed
        case = _changed(trips.case, lambda e: e["kind"] != "restart", ends=off + AFTER)
        trips = replace(trips, case=case)
    found = _around(run.scenario, trips.case, off, min(hit.time, last.off), begin, run)
    return told(found, trips.found)


def told_off(machine: Machine, scenario: Scenario) -> float | None:
    """When a scenario tells the gates to go off for good, after the settled part [s].

    None where the circuit has to run whole, or may as well: what happens before is no change of
    load or drive, something happens later, or it is short.
    """
    trips = [e.at for e in scenario.events if e.kind == "trip"]
    others = [e for e in scenario.events if e.kind != "trip"]
    if len(trips) != 1 or not all(e.about.fast and e.at < trips[0] for e in others):
        return None
    line = timeline(machine, scenario)
    cycles = line.phase(scenario.start.settled + trips[0]) - line.phase(0.0)
    return trips[0] if others and cycles > SHORT else None


def _told_off(scenario: Scenario, at: float, begin: Begin) -> Rehearsal:
    """The same where the scenario says when."""
    ends = at + AFTER if scenario.ends is None else min(at + AFTER, scenario.ends)
    return _around(scenario, _changed(scenario, ends=ends), at, scenario.start.settled + at, begin)


def _around(
    scenario: Scenario,
    tripped: Scenario,
    off: float,
    turned: float,
    begin: Begin,
    like: Running | None = None,
) -> Rehearsal:
    """Samples of a scenario until its gates go off, after the settled part [s], and a run of the
    tripped one from shortly before its comparator turned [s], its loop as in another run."""
    first = begin(_changed(scenario, lambda e: e["at"] < off, ends=off), 0.0, None)
    known = like or first
    gone = scenario.start.settled + off
    early = max(BEFORE * known.scout.memory(gone), LEAST / known.line.frequency.at(gone))
    return both(first.done(), begin(tripped, max(turned - early, 0.0), known).done())


def _found(run: Running, wanted: Sequence[Watch]) -> Crossing | None:
    """The crossing in a sampled event, by runs where it is expected; None where none is."""
    hits = [h for h in (_crossing(run, w) for w in wanted) if h is not None]
    return min(hits, key=lambda h: h.off, default=None)


def _crossing(run: Running, watch: Watch) -> Crossing | None:
    at = expected(run, watch)
    if at is None:
        return None
    period = 1.0 / run.line.frequency.at(at)
    first, last = 0.0, run.line.end
    for _ in range(MOVES):
        low = max(at - WINDOW * period, first)
        cycles = int(min(2.0 * WINDOW, (last - low) / period - 3.0))
        seen = run.job.look(run.scout, low, cycles, 0.0)
        begun = seen.cycles[0].start
        hit = first_turned(seen.waves, seen.line or run.line, [watch], begun)
        if hit is not None and (hit.time > begun + period or low <= first + period):
            return hit
        if hit is None and low + (cycles + 4) * period >= last:
            return None
        at += (1.5 if hit is None else -1.5) * WINDOW * period
    said = f"the moment at which the {watch.by} passes its level could not be found"
    raise EngineError(said)


@dataclass(frozen=True)
class Sensed:
    """What a comparator sees over its level along a sampled event.

    Fields: time, values: the fast model's current at the samples' scale [s] [1]; times, seen: the
    samples' own [s] [1]; fast: the fast model's there [A].
    """

    time: Array
    values: Array
    times: Array
    seen: Array
    fast: Array

    def first_above(self, share: float) -> float | None:
        """When it first passes a share of its level [s], straight between cycles; None: never."""
        above = np.flatnonzero((self.time >= 0.0) & (self.values > share))
        if not len(above):
            return None
        k = int(above[0])
        if k == 0 or self.values[k - 1] > share:
            return float(self.time[k])
        a, b = self.values[k - 1], self.values[k]
        return float(self.time[k - 1] + (share - a) / (b - a) * (self.time[k] - self.time[k - 1]))

    @property
    def doubt(self) -> float:
        """By how much each sample between others is missed without it, the most, as a share [1]."""
        return missed_share(self.times, self.seen / np.maximum(self.fast, 1e-9))


def sensed(scout: Scouted, seen: Sequence[Stretch], line: Timeline, watch: Watch) -> Sensed:
    """The fast model's current at the scale of what a comparator sees in some samples."""
    cycles = scout.event.cycles
    most = [largest(s.waves, s.line or line, watch, s.cycles[0].start) for s in seen]
    most.sort(key=lambda m: m[1])
    share, times = np.array([m[0] for m in most]), np.array([m[1] for m in most])
    fast = np.interp(times, cycles.time, cycles.primary_current_peak)
    scale = np.interp(cycles.time, times, share / np.maximum(fast, 1e-9))
    return Sensed(cycles.time, scale * cycles.primary_current_peak, times, share, fast)


def expected(run: Running, watch: Watch) -> float | None:
    """Where the fast model's current, at the samples' scale, first passes a level [s]."""
    found = sensed(run.scout, run.seen, run.line, watch)
    known = [float(t) for t in found.times[found.seen > 1.0]]
    between = found.first_above(1.0)
    return min([*known, *([] if between is None else [between])], default=None)


def both(before: Rehearsal, after: Rehearsal) -> Rehearsal:
    """What samples found until the gates went off, and what a run found around and after that.

    What warms for minutes is judged from the settled state and from the last, whose gates are off:
    that of the moment at which they went off lasts no longer.
    """
    judged = {limit.quantity for limit in machine_limits(before.machine)}
    heat, left = junctions_through(before, after)
    warm = heat_rows(heat, before, after)
    rows = tuple(
        warm.get(row.quantity) or _worse(row, other)
        for row, other in zip(before.rows, after.rows, strict=True)
        if row.quantity in judged
    )
    line = replace(after.line, opens=0.0)
    said = verdict(rows, line.events[0].start, context_of(rows, before.modes, line),
                   1.0 / line.frequency.first)  # fmt: skip
    cold = [s for s in (*before.series, *after.series) if s.quantity not in HEAT]
    found = replace(
        before, scenario=after.scenario, line=line, rows=rows, verdict=said,
        whole=merged((before.whole, after.whole)),
        first_pass=(*before.first_pass, *after.first_pass),
        close=(*before.close, *after.close),
        series=(*cold, *heat),
        after=after.after, modes=before.modes, seconds_to_limit=left,
        later_error=after.later_error, slow=(),
        retries=tuple(sorted({*before.retries, *after.retries})),
    )  # fmt: skip
    return with_aftermath(with_parts(found))


RANK = {"ok": 0, "near": 1, "not_evaluated": 2, "over": 3}


def _worse(one: Judged, other: Judged) -> Judged:
    """The worse of two rows; one that was not evaluated counts for more than one that is kept."""
    return max(one, other, key=lambda r: (RANK[r.status], r.ratio or 0.0))


def told(rehearsal: Rehearsal, found: Sequence[Tripped]) -> Rehearsal:
    """The rehearsal, its events and its verdict telling what tripped."""
    if not found:
        return rehearsal
    names = {t.off: f"tripped by {t.by}" for t in found}
    events = tuple(
        NamedEvent(names[e.start], e.start, e.end) if e.name == "trip" and e.start in names else e
        for e in rehearsal.line.events
    )
    said = _said(rehearsal.verdict, found)
    line = replace(rehearsal.line, events=events)
    return replace(rehearsal, line=line, verdict=said, tripped=tuple(found))


def _said(found: Verdict, tripped: Sequence[Tripped]) -> Verdict:
    return replace(found, reason=" ".join([found.reason, *(sentence(t) for t in tripped)]))


def sentence(trip: Tripped) -> str:
    """What a trip did, in words."""
    off, level = format_quantity(trip.off, "s", 4), format_quantity(trip.level, trip.unit, 3)
    late = format_quantity(max(trip.off - trip.crossed, 0.0), "s", 3)
    text = f"Tripped at {off} by {trip.by}, {late} after it had passed {level}"
    if trip.again is not None:
        text += f"; on again at {format_quantity(trip.again, 's', 4)}"
    return text + "."
