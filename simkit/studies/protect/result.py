"""A search for cures as data, and in sentences."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from simkit.figures.table import full_name, sudden
from simkit.judge.cautions import CAUTIONS
from simkit.parameters.load import Loaded
from simkit.studies.advice.telling import advice_of, note
from simkit.studies.protect.study import Protection, Remedy, Tried, worst_of
from simkit.studies.protect.trip import Boundary, Level, Trip
from simkit.units import format_quantity

SCHEMA = "simkit.protect/1"


def verdict(found: Protection) -> str:
    """Within limits when a cure, or nothing at all, keeps every limit; else that of the base."""
    outcome = str(found.base["outcome"])
    cured = any(r.best.within for r in found.remedies)
    cured = cured or (found.advised is not None and found.advised.best is not None)
    return "within_limits" if cured else outcome


def document(found: Protection, scenario: Loaded[Any], machine: Loaded[Any]) -> dict[str, Any]:
    """The search as data; numbers in SI units."""
    from simkit.result.plain import plain

    worst = worst_of(found.base)
    over = [q for q, r in found.base["limits"].items() if r["status"] == "over"]
    result: dict[str, Any] = plain(
        {
            "schema": SCHEMA,
            "cautions": list(CAUTIONS),
            "scenario": _file(scenario),
            "machine": _file(machine),
            "verdict": verdict(found),
            "reason": reason(found),
            "without": {"verdict": found.base["outcome"], "reason": found.base["reason"],
                        "limits": found.base["limits"], "worst_ratio": worst[0],
                        "worst_quantity": worst[1], "power_w": found.base["power"],
                        "over": over},
            "advice": None if found.advised is None else
                [asdict(advice_of(a)) for a in found.advised.attempts],
            "advice_note": None if found.advised is None else note(found.advised),
            "cures": [_remedy(r, found) for r in found.remedies],
            "clamp": found.clamp,
            "trip": None if found.trip is None else trip_data(found.trip),
        }
    )  # fmt: skip
    return result


def _file(loaded: Loaded[Any]) -> dict[str, str]:
    return {"name": loaded.model.name, "file": str(loaded.file), "digest": loaded.digest}


def _remedy(found: Remedy, whole: Protection) -> dict[str, Any]:
    base = whole.base
    return {
        "cure": found.cure.key,
        "title": found.cure.title,
        "note": found.cure.note,
        "too_little": found.too_little,
        **tried_data(found.best, base),
        "sudden_kept": whole.sudden_over and found.best.sudden_kept(),
        "cured": list(found.cured(base)),
        "tried": [tried_data(t, base) for t in found.tried],
    }


def tried_data(found: Tried, base: Mapping[str, Any]) -> dict[str, Any]:
    """One step: verdict, margins, and what it costs in the settled state."""
    worst, quick = found.worst(), found.worst(sudden())
    return {
        "amount": found.step.amount,
        "parts": found.step.parts,
        "verdict": found.row["outcome"],
        "sudden_kept": found.sudden_kept(),
        "worst_ratio": worst[0],
        "worst_quantity": worst[1],
        "worst_sudden_ratio": quick[0],
        "worst_sudden_quantity": quick[1],
        "power_w": found.row["power"],
        "power_change_w": _step(found.row["power"], base["power"]),
        "loss_change_w": _step(found.row["bridge_loss"], base["bridge_loss"]),
    }


def _step(after: float | None, before: float | None) -> float | None:
    return None if after is None or before is None else after - before


def trip_data(found: Trip) -> dict[str, Any]:
    """The trip: levels with their delays, boundaries with what both runs found."""
    return {
        "settled_current_peak_a": found.settled_current,
        "going_off_exceeds": dict(found.going_off),
        "link_peak_going_off_v": found.earliest["link_peak"],
        "boundaries": [_boundary(b) for b in found.boundaries],
        "levels": [
            {
                "share": level.share, "current_a": level.current,
                "crossing_after_event_s": level.crossing,
                "crossing_error_s": None if level.crossing is None else level.error,
                "longest_delay_s": {
                    b.name: None if (delay := delay_of(level, b)) is None else delay[0]
                    for b in found.boundaries
                },
            }
            for level in found.levels
        ],
    }  # fmt: skip


def delay_of(level: Level, boundary: Boundary) -> tuple[float, float] | None:
    """Longest delay that keeps, shortest that does not [s]; None where there is none."""
    return None if level.crossing is None else boundary.delay(level.crossing, level.error)


def _boundary(found: Boundary) -> dict[str, Any]:
    return {
        "name": found.name,
        "kept": list(found.kept),
        "last_moment_kept_s": found.inside,
        "first_moment_exceeded_s": found.outside,
        "first_moment_exceeded_says": found.ends or None,
        "inside": None if found.inside_row is None else found.inside_row["limits"],
        "outside": None if found.outside_row is None else found.outside_row["limits"],
    }


def reason(found: Protection) -> str:
    """The search in a sentence or two."""
    if found.base["outcome"] == "within_limits":
        return "Nothing to prevent: no limit checked is exceeded."
    if found.base["outcome"] == "no_verdict":
        return f"No verdict without any cure: {found.base['reason']}"
    whole = [r for r in found.remedies if r.best.within]
    partly = [r for r in found.remedies if found.partly(r)]
    if whole:
        names = "; ".join(f"{r.cure.title.lower()} ({r.best.step.amount})" for r in whole)
        text = f"Within every limit checked: {names}."
    else:
        text = "No cure tried keeps every limit by itself."
    if found.advised is not None and found.advised.attempts:
        text = f"{note(found.advised)} {text}"
    if partly:
        names = "; ".join(f"{r.cure.title.lower()} ({r.best.step.amount})" for r in partly)
        text += f" Only what destroys within a cycle is kept by: {names}."
    if found.trip is not None:
        text += " " + " ".join(trip_words(found.trip))
    return text


TOO_LATE = {
    "over": "{} is too late",
    "near": "at {} one is too near its limit to tell",
    "no_verdict": "at {} the run reached no verdict",
}
"""What ends a boundary, with the delay."""


def trip_words(found: Trip) -> list[str]:
    """What a trip can do, in sentences."""
    level = next((x for x in found.levels if x.crossing is not None), None)
    said = [_of_boundary(b, level) for b in found.boundaries]
    if found.going_off:
        over = ", ".join(f"{full_name(q)} ({r:.2f} times)" for q, r in found.going_off.items())
        said.append(
            f"Going off by itself, when the event has hardly begun, already exceeds: {over}; how "
            "much depends on where in the period it comes."
        )
    return said


def _of_boundary(found: Boundary, level: Level | None) -> str:
    delay = None if level is None else delay_of(level, found)
    if level is None or delay is None:
        if found.inside is not None:
            return f"A trip at any time keeps {found.name}."
        no = "No trip keeps" if found.ends == "over" else "No trip is known to keep"
        return f"{no} {found.name}."
    if delay[0] <= 0.0:
        return f"A trip at {level.current:.3g} A comes too late to keep {found.name}."
    longest, late = (format_quantity(d, "s", 3) for d in delay)
    text = (
        f"A trip at {level.current:.3g} A keeps {found.name} with up to {longest} of delay; "
        f"{TOO_LATE[found.ends].format(late)}"
    )
    if level.error > 0.0:
        text += f" (when it passes the level is known to {format_quantity(level.error, 's', 2)})"
    going = [] if found.inside_row is None else [
        f"{full_name(q)} ({r['ratio']:.2f} times)" for q, r in found.inside_row["limits"].items()
        if r["status"] == "over"
    ]  # fmt: skip
    return (
        f"{text}."
        if not going
        else f"{text}; by then, or as the gates go off, over: {', '.join(going)}."
    )
