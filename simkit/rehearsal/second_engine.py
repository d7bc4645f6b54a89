"""What another engine makes of the stretches that decide, figure by figure."""

from dataclasses import replace

import numpy as np

from simkit.figures.table import of_loss
from simkit.judge.verdict import Judged, Opinion
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.rehearsal.discretisation import SAME, spread
from simkit.rehearsal.error_budget import Assessed, Findings
from simkit.rehearsal.heat import junctions


def opinion(row: Judged, found: Findings, have: Assessed) -> Opinion | None:
    """The other engine's figure for a judged row; None when it was not asked or has none.

    Where the two are compared our figure is its worst of all that both engines ran; what differs
    there is laid upon the row's value.
    """
    if found.second is None or row.value is None:
        return None
    if row.quantity in of_loss():
        gap = _heat_gap(row, found, have)
    else:
        gap = _worst_gap(row.quantity, found, have)
    return None if gap is None else Opinion(row.value + gap, gap)


def _worst_gap(quantity: str, found: Findings, have: Assessed) -> float | None:
    best: tuple[float, float] | None = None
    for series in have.series:
        if series.quantity != quantity:
            continue
        gaps = _gaps(series, found)
        known = np.flatnonzero(np.isfinite(gaps))
        for k in known:
            value = float(series.values[k])
            if best is None or value > best[0]:
                best = (value, float(gaps[k]))
    return None if best is None else best[1]


def _heat_gap(row: Judged, found: Findings, have: Assessed) -> float | None:
    """What the other engine's losses do to a temperature."""
    losses = [s for s in have.refined.series if s.quantity == "loss"]
    other = [replace(s, values=s.values + spread(s, _gaps(s, found))) for s in losses]
    if not all(np.isfinite(s.values).all() for s in other):
        return None
    mine, theirs = (
        {
            s.part: s.worst[0]
            for s in junctions(found.machine, found.scenario, found.line, of, {})[0]
            if s.quantity == row.quantity
        }
        for of in (losses, other)
    )
    return theirs[row.part] - mine[row.part]


def _gaps(series: Series, found: Findings) -> Array:
    """By value of a series, the other engine's less ours of the same deck; nan where none ran."""
    out = np.full(len(series.values), np.nan)
    if found.second is None:
        return out
    for ours, theirs in found.second.pairs:
        pool = [
            dict(zip(s.times.tolist(), s.values.tolist(), strict=True))
            for stretch in (ours, theirs)
            for s in stretch.series
            if (s.part, s.quantity) == (series.part, series.quantity)
        ]
        if len(pool) != 2:
            continue
        for when, value in pool[0].items():
            k = int(np.argmin(np.abs(series.times - when))) if len(series.times) else -1
            near = [v for t, v in pool[1].items() if abs(t - when) <= SAME]
            if k >= 0 and abs(series.times[k] - when) <= SAME and near:
                out[k] = near[0] - value
    return out
