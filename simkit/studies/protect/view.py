"""From a search for cures and its document to what the page shows."""

import shlex
from collections.abc import Mapping
from typing import Any

from simkit.figures.table import full_name
from simkit.report.view import Fact
from simkit.studies.advice.telling import advice_row
from simkit.studies.protect.page import CureRow, DelayCurve, ProtectView
from simkit.studies.protect.result import delay_of, trip_words
from simkit.studies.protect.study import Protection
from simkit.studies.protect.trip import Boundary, Trip
from simkit.units import format_quantity

ENDS = {
    "over": "one is exceeded",
    "near": "one is too near its limit to tell",
    "no_verdict": "the run reached no verdict",
}
"""What ends a boundary."""


def protect_view(found: Protection, result: Mapping[str, Any]) -> ProtectView:
    """Everything the page of a search shows."""
    trip = found.trip
    run = shlex.join(["simkit", "run", result["scenario"]["file"]])
    return ProtectView(
        title=found.scenario.title,
        machine=found.machine.title,
        outcome=result["verdict"],
        reason=result["reason"],
        without=str(found.base["reason"]),
        baseline=_baseline(result["without"]),
        advice=tuple(advice_row(row, run) for row in result["advice"] or ()),
        advice_note=result["advice_note"] or "",
        cures=tuple(_cure(row) for row in result["cures"]),
        settled=None if trip is None else trip.settled_current,
        curves=() if trip is None else tuple(_curve(trip, b) for b in trip.boundaries),
        trip=() if trip is None else tuple(trip_words(trip)),
        trip_facts=() if trip is None else tuple(_facts(trip)),
        clamp=found.clamp,
        command=shlex.join(["simkit", "protect", result["scenario"]["file"]]),
    )


def _baseline(row: Mapping[str, Any]) -> Fact:
    worst = row["worst_ratio"]
    share = "not evaluated" if worst is None else f"{worst:.0%} of the limit"
    name = full_name(row["worst_quantity"]) if row["worst_quantity"] else ""
    return Fact("as it is", share, name)


def _cure(row: Mapping[str, Any]) -> CureRow:
    kept = "nothing of what was over"
    if row["verdict"] == "within_limits":
        kept = "every limit"
    elif row["sudden_kept"]:
        kept = "what destroys within a cycle"
    elif row["cured"]:
        kept = "; ".join(full_name(q) for q in row["cured"])
    named = {k: full_name(row[k]) if row[k] else "" for k in ("worst_quantity",
                                                          "worst_sudden_quantity")}  # fmt: skip
    return CureRow(
        title=row["title"], amount=row["amount"], note=row["note"], too_little=row["too_little"],
        outcome=row["verdict"], kept=kept, worst=row["worst_ratio"],
        worst_name=named["worst_quantity"], sudden=row["worst_sudden_ratio"],
        sudden_name=named["worst_sudden_quantity"], power=_change(row["power_change_w"]),
        loss=_change(row["loss_change_w"]), parts=row["parts"],
    )  # fmt: skip


def _change(watts: float | None) -> str:
    if watts is None:
        return "not known"
    if abs(watts) < 0.5:
        return "the same"
    sign = "+" if watts > 0 else ""
    return sign + format_quantity(watts, "W", 3)


def _curve(trip: Trip, boundary: Boundary) -> DelayCurve:
    rows = []
    for level in trip.levels:
        delay = delay_of(level, boundary)
        if delay is not None and delay[0] > 0.0:
            rows.append((level.current, delay[0]))
    return DelayCurve(boundary.name, tuple(r[0] for r in rows), tuple(r[1] for r in rows))


def _facts(trip: Trip) -> list[Fact]:
    out = [Fact("bridge current, settled peak", f"{trip.settled_current:.3g} A"),
           Fact("link when going off at once", f"{trip.earliest['link_peak']:.0f} V",
                "the tank gives its energy back through the diodes")]  # fmt: skip
    for b in trip.boundaries:
        if b.inside is not None and b.outside is not None:
            inside, outside = (format_quantity(t, "s", 4) for t in (b.inside, b.outside))
            ends = ENDS[b.ends]
            out.append(Fact(b.name, f"gates off by {inside} after the event began",
                            f"at {outside} {ends}"))  # fmt: skip
    return out
