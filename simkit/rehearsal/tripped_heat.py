"""Junctions over a sampled event at whose end the gates go off, and a run of its own begins.

That run begins in the midst of the event. What warmed the switches until then is known from the
samples before: the two losses make one course.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from simkit.judge.limits import Limit, machine_limits
from simkit.judge.verdict import Judged, judged
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.parts.heat_path import heat_path
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.heat import junctions
from simkit.rehearsal.heat_in_cycle import LossCourse, within_cycles

HEAT = ("junction_peak", "junction_held", "junction_stay", "heatsink_stay", "junction_later",
        "heatsink_later")  # fmt: skip
"""What is worked out from the losses."""


def junctions_through(before: Rehearsal, after: Rehearsal) -> tuple[list[Series], float]:
    """Junction temperatures over both, as `heat.junctions` has them, and the time left [s]."""
    run = after.whole
    losses = [s for s in after.series if s.quantity == "loss"]
    if not losses:
        return [], np.inf
    curves = before.scout.scaled(before.first_pass, [s.part for s in losses])
    known = [curves.get(f"loss {s.part}") for s in losses]
    opens = run.cycles[0].start
    time = next((c.time[c.time < opens] for c in known if c is not None), np.zeros(0))
    rows = [np.zeros(len(time)) if c is None else c.values[: len(time)] for c in known]
    joined = [
        replace(s, times=np.append(time, s.times), values=np.append(r, s.values))
        for s, r in zip(losses, rows, strict=True)
    ]
    closely = within_cycles(run.waves, run.cycles, losses, heat_path(after.machine))
    if closely is not None:
        closely = _preceded(closely, time, np.array(rows), opens)
    line = replace(after.line, opens=0.0)
    return junctions(after.machine, after.scenario, line, joined, {}, closely)


def _preceded(course: LossCourse, time: Array, rows: Array, opens: float) -> LossCourse:
    """A course with what came before it, from cycle to cycle, up to where it begins [s]."""
    return LossCourse(
        np.append(time, course.starts),
        np.concatenate((time[1:], [opens] if len(time) else [], course.ends)),
        np.hstack((rows, course.values)),
        np.append(np.zeros(len(time), dtype=int), course.cycle),
    )


def heat_rows(heat: Sequence[Series], before: Rehearsal, after: Rehearsal) -> dict[str, Judged]:
    """The junctions' rows over both; the errors of both runs add up."""
    limits = {limit.quantity: limit for limit in machine_limits(after.machine)}
    pairs = {
        r.quantity: (r, next(o for o in after.rows if o.quantity == r.quantity))
        for r in before.rows
        if r.quantity in HEAT and r.quantity in limits
    }
    return {name: _row(limits[name], heat, *pair) for name, pair in pairs.items()}


def _row(limit: Limit, heat: Sequence[Series], one: Judged, other: Judged) -> Judged:
    for known in (one, other):
        if known.status == "not_evaluated":
            return known
    error = (one.error or 0.0) + (other.error or 0.0)
    mine = [(s, error) for s in heat if s.quantity == limit.quantity]
    return replace(judged(limit, mine), note=other.note, error_parts=one.error_parts)
