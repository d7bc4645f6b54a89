"""What warms while the last state of a rehearsal goes on: for result, page and terminal."""

from math import inf, isfinite

import numpy as np

from simkit.parts.slow_heat import time_to_limit, warming
from simkit.rehearsal.findings import Rehearsal
from simkit.report import view as page
from simkit.result.document import GoingOn

NAMES = {"junction_stay": "hottest junction", "heatsink_stay": "heatsink"}


def going_on(rehearsal: Rehearsal) -> tuple[GoingOn, ...]:
    """Hottest junction and the slow bodies, soonest at its limit first."""
    found = [
        GoingOn(b.part, b.settled, b.limit if isfinite(b.limit) else None, time_to_limit(b))
        for b in rehearsal.bodies
    ]
    junction = next((s for s in rehearsal.series if s.quantity == "junction_stay"), None)
    if junction is not None and np.isfinite(junction.values).all():
        held = next(r for r in rehearsal.rows if r.quantity == "junction_held")
        settled, left = float(junction.values[-1]), rehearsal.seconds_to_limit
        found.append(GoingOn(NAMES[junction.quantity], settled, held.limit, left))
    found.sort(key=lambda g: inf if g.time_to_limit_s is None else g.time_to_limit_s)
    return tuple(found)


def stay(rehearsal: Rehearsal) -> page.Stay | None:
    """The same as curves for the page; None without temperatures of the switches."""
    found = [s for s in rehearsal.series if s.quantity in NAMES]
    if not found or not all(np.isfinite(s.values).all() for s in found):
        return None
    since = found[0].times - found[0].times[0]
    shown = since >= 1e-3
    held = next(r for r in rehearsal.rows if r.quantity == "junction_held")
    curves = [(NAMES[s.quantity], tuple(s.values[shown].tolist())) for s in found]
    curves += [(b.part, tuple(warming(b, since[shown]).tolist())) for b in rehearsal.bodies]
    return page.Stay(
        tuple(since[shown].tolist()), tuple(curves), held.limit, rehearsal.seconds_to_limit,
        rehearsal.machine.limits.hold_time,
        tuple((g.part, g.settles_at_degc, g.limit_degc, g.time_to_limit_s)
              for g in going_on(rehearsal)),
    )  # fmt: skip
