"""Statuses, verdict and reason.

A value counts as over when even its lower error bound exceeds the limit, as near when the limit
lies within the error, as ok below. What was not measured is "not_evaluated", and then no verdict
can be "within limits".
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite
from typing import Literal

from simkit.figures.table import figures, sudden
from simkit.judge.limits import Limit
from simkit.measure.series import Series
from simkit.units import format_quantity

Status = Literal["ok", "near", "over", "not_evaluated"]
Outcome = Literal["within_limits", "over_limit", "no_verdict"]


@dataclass(frozen=True)
class Judged:
    """One quantity of one part against its limit; value, error and limit in `unit`."""

    part: str
    quantity: str
    unit: str
    value: float | None
    error: float | None
    limit: float
    ratio: float | None
    time_s: float | None
    """When the value came."""
    first_over_s: float | None
    """When the limit was first exceeded."""
    status: Status
    source: str
    note: str = ""
    """Why there is no verdict on a figure that was computed."""
    second_opinion: "Opinion | None" = None
    error_parts: Mapping[str, float] | None = None
    """The error by its causes, in `unit`; None where it has one cause alone, or is not known."""
    over_s: tuple[float, float] | None = None
    """From when to when a mean or an rms was taken [s]; None for peaks, which miss no sample."""
    error_below: float | None = None
    """The error downward where it is larger than upward, in `unit`; None where both are alike."""
    first_over_error_s: float | None = None
    """How far `first_over_s` may be off; None where that is not known."""


@dataclass(frozen=True)
class Opinion:
    """What another engine makes of a figure, in the figure's unit."""

    value: float
    difference: float
    """Its value less ours."""


@dataclass(frozen=True)
class Unrated:
    """A part's figure that nothing judged; value and error in `unit`."""

    part: str
    quantity: str
    unit: str
    value: float | None
    """None where the machine file gives too little to work it out."""
    error: float | None
    needs: str
    """Key of the machine file that would judge it."""


@dataclass(frozen=True)
class Verdict:
    """What all judged quantities amount to."""

    outcome: Outcome
    reason: str
    first_over: Judged | None


def unjudged(limit: Limit) -> Judged:
    """The row of a limit whose figure could not be had."""
    return Judged(
        part="machine", quantity=limit.quantity, unit=limit.unit, value=None, error=None,
        limit=limit.bound, ratio=None, time_s=None, first_over_s=None, status="not_evaluated",
        source=limit.source,
    )  # fmt: skip


def judged(limit: Limit, candidates: Sequence[tuple[Series, float]]) -> Judged:
    """The worst part of one quantity against its limit; candidates are series and error."""
    usable = [(s, e) for s, e in candidates if isfinite(s.worst[0]) and isfinite(e)]
    if not usable or len(usable) < len(candidates):
        return unjudged(limit)
    series, error = max(usable, key=lambda pair: pair[0].worst[0])
    value, when = series.worst
    return Judged(
        part=series.part,
        quantity=limit.quantity,
        unit=limit.unit,
        value=value,
        error=error,
        limit=limit.bound,
        ratio=value / limit.bound,
        time_s=when,
        first_over_s=_first(usable, limit.bound),
        status=status(value, error, limit.bound),
        source=limit.source,
    )


TOLD = 0.005
"""Errors of a moment that are told in words, as a share of the time since the event began [1]."""
SETTLED = 0.01
"""Two engines that are this near, as a share of the value, agree [1]."""


def too_uncertain(row: Judged, reason: str) -> Judged:
    """A row whose figure is not good enough to be judged: not evaluated, the figure in the note."""
    shown = format_quantity(row.value or 0.0, row.unit, 3)
    error = format_quantity(row.error or 0.0, row.unit, 2)
    return replace(
        row, value=None, error=None, error_parts=None, error_below=None, ratio=None,
        first_over_s=None, first_over_error_s=None, status="not_evaluated",
        note=f"it came to {shown} with a numerical error of {error}, {reason}",
    )  # fmt: skip


def with_opinion(row: Judged, opinion: Opinion | None) -> Judged:
    """A row beside what another engine makes of it.

    Engines that differ by more than both errors and more than a per cent leave the figure near its
    limit at best, whatever it is: over only if it stays over with the difference taken off.
    """
    if opinion is None or row.value is None or row.error is None:
        return row
    gap, found = abs(opinion.difference), row.status
    if not isfinite(gap):  # an answer that is no number confirms nothing
        gap = float("inf")
    # The other engine ran the same steps, so its own error is taken to be like ours.
    if gap > max(2.0 * row.error, SETTLED * abs(row.value)):
        found = status(row.value, row.error + gap, row.limit)
        found = "near" if found == "ok" else found
    return replace(row, status=found, second_opinion=opinion)


def _first(usable: Sequence[tuple[Series, float]], bound: float) -> float | None:
    times = [t for s, e in usable if (t := s.first_above(bound + e)) is not None]
    return min(times, default=None)


def status(value: float, error: float, bound: float) -> Status:
    """Status of a value with its error against a bound; "not_evaluated" where one is no number.

    An infinite error leaves a figure near its limit.
    """
    if not isfinite(value) or not isfinite(bound) or not error >= 0.0:
        return "not_evaluated"
    if value - error > bound:
        return "over"
    return "near" if value + error > bound else "ok"


def verdict(
    rows: Sequence[Judged], event_start: float | None, context: str = "", cycle: float = 0.0
) -> Verdict:
    """Verdict over all rows; `context` is a clause on what the machine was doing.

    `cycle`: length of the cycles whose middles the times are [s].

    The reason leads with what destroys within a cycle, if anything of that kind is over its limit;
    `first_over` is the first in time, whatever its kind.
    """
    over = [r for r in rows if r.status == "over"]
    if over:
        quick = [r for r in over if r.quantity in sudden()]
        lead = min(quick or over, key=_order)
        reason = _reason_over(lead, over, _when(lead, event_start, cycle), context)
        return Verdict("over_limit", reason, min(over, key=_order))
    missing = [r for r in rows if r.status == "not_evaluated"]
    if missing or not rows:
        names = ", ".join(_missing(r) for r in missing) or "every quantity"
        return Verdict("no_verdict", f"Not evaluated: {names}.", None)
    near = [r for r in rows if r.status == "near"]
    if near:
        names = ", ".join(_name(r) for r in near)
        return Verdict("no_verdict", f"Too close to its limit to call: {names}.", None)
    closest = max(rows, key=lambda r: r.ratio or 0.0)
    reason = (
        f"No limit checked was exceeded; the closest was {_name(closest)} "
        f"at {closest.ratio:.0%} of its limit."
    )
    return Verdict("within_limits", reason, None)


def leading(rows: Sequence[Judged]) -> Judged | None:
    """The row the reason of an over-limit verdict leads with, None when nothing is over."""
    over = [r for r in rows if r.status == "over"]
    quick = [r for r in over if r.quantity in sudden()]
    return min(quick or over, key=_order, default=None)


def _order(row: Judged) -> tuple[float, float]:
    when = row.first_over_s if row.first_over_s is not None else float("inf")
    return when, -(row.ratio or 0.0)


def _name(row: Judged) -> str:
    return f"{row.part}: {figures()[row.quantity].words.title}"


def _missing(row: Judged) -> str:
    return f"{_name(row)} ({row.note})" if row.note else _name(row)


def _reason_over(lead: Judged, over: Sequence[Judged], when: str, context: str) -> str:
    value = format_quantity(lead.value or 0.0, lead.unit, 3)
    text = (
        f"{when}{context}{lead.part}'s "
        f"{figures()[lead.quantity].words.title} went over its limit and reached {value}, "
        f"{lead.ratio:.3g} times the limit{_why_it_leads(lead, over)}"
    )
    text = text[0].upper() + text[1:]
    others = sorted((r for r in over if r is not lead), key=lambda r: -(r.ratio or 0.0))
    if others:
        names = ", ".join(f"{_name(r)} ({r.ratio:.3g} times)" for r in others[:3])
        text += f"; also over: {names}"
        if len(others) > 3:
            text += f" and {len(others) - 3} more"
    return text + "."


def _why_it_leads(lead: Judged, over: Sequence[Judged]) -> str:
    """What puts a limit before one that was passed earlier; empty where none was."""
    first = min(over, key=_order)
    if first is lead or _order(first)[0] >= _order(lead)[0]:
        return ""
    return f", told first because it destroys within a cycle; over before it: {_name(first)}"


def _when(row: Judged, event_start: float | None, cycle: float) -> str:
    time, error = row.first_over_s, row.first_over_error_s or 0.0
    if time is None:
        return ""
    if event_start is not None and event_start - 0.5 * cycle <= time < event_start:
        return "in the cycle in which the event began, "
    if event_start is None or time < event_start:
        return "from the settled state on, "
    late = format_quantity(time - event_start, "s", 3)
    if error > max(cycle, TOLD * (time - event_start)):
        late += f" +/- {format_quantity(error, 's', 1)}"
    return f"{late} after the event began, "
