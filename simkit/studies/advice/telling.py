"""What was tried, as the result and the pages tell it."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import Any

from simkit.figures.table import full_name
from simkit.parameters.goal import Goal
from simkit.report.view import AdviceRow
from simkit.result.advice import Advice, ChangedValue
from simkit.studies.advice.attempts import Advised, Attempt
from simkit.studies.advice.changes import told
from simkit.studies.advice.search import is_asked, kept_share
from simkit.units import format_quantity


def advice_of(found: Attempt) -> Advice:
    """One change as the result tells it."""
    worst, name = found.worst
    worse = found.worse
    over = {q for q, r in found.before["limits"].items() if r["status"] == "over"}
    shown = [q for q in found.before["limits"] if q in over or q in worse]
    rows = found.row["limits"]
    return Advice(
        change={c.key: c.text for c in found.changes},
        values=tuple(ChangedValue(c.key, c.before, c.after, c.unit) for c in found.changes),
        said=told(found.changes),
        verdict=found.row["outcome"],
        reason=found.row["reason"],
        worst_share=worst,
        worst_quantity=name or None,
        before={q: found.before["limits"][q]["ratio"] for q in shown},
        after={q: rows[q]["ratio"] if q in rows else None for q in shown},
        power_before_w=found.before["power"],
        power_after_w=found.row["power"],
        power_share=found.power_kept,
        keeps_goal=found.keeps_goal,
        became_worse=worse,
        tried="circuit",
    )


def note(found: Advised) -> str:
    """What was tried in a sentence or two."""
    if not found.attempts:
        return f"Nothing was tried: {found.why_not}."
    best = found.best or found.less
    rehearsed = len(found.attempts)
    count = f"{found.looked} looked at by the fast model, {rehearsed} rehearsed by circuit"
    if best is None:
        nearest = found.attempts[0]
        return (f"Nothing tried helps ({count}); nearest: {told(nearest.changes)}, "
                f"{_share(nearest)}.")  # fmt: skip
    worse = ", ".join(full_name(q) for q in best.worse[:3])
    short = f"Nothing tried keeps the {kept_share(found.goal):.0%} of the power asked for; "
    return (
        f"{'' if found.best else short}{told(best.changes)}: within the limits checked, "
        f"{_share(best)}; {_power(best, found.goal)}; worse: {worse or 'nothing'}."
    )


def _share(attempt: Attempt) -> str:
    worst, name = attempt.worst
    if worst is None:
        return f"no answer: {attempt.row['reason']}"
    return f"the closest {full_name(name)} at {worst:.0%} of its limit"


def _power(attempt: Attempt, goal: Goal | None) -> str:
    kept = attempt.power_kept
    if kept is None:
        return "the power kept is not known"
    short = (
        ""
        if attempt.keeps_goal
        else f", less than the {kept_share(goal):.0%} "
        + ("asked for" if is_asked(goal) else "wished for")
    )
    return f"keeps {kept:.0%} of the power{short}"


def advice_row(row: Mapping[str, Any], command: str) -> AdviceRow:
    """A change, as the result has it, for a page; `command` runs the scenario without it."""
    power = "not known"
    if row["power_after_w"] is not None and row["power_share"] is not None:
        watts = format_quantity(row["power_after_w"], "W", 3)
        power = f"{watts}, {row['power_share']:.0%} of before"
        power += "" if row["keeps_goal"] else "; less than wanted"
    sets = [f for key, text in row["change"].items() for f in ("--set", f"{key}={text}")]
    worst = row["worst_quantity"]
    return AdviceRow(
        said=row["said"],
        outcome=row["verdict"],
        worst=row["worst_share"],
        worst_name=full_name(worst) if worst else "",
        shares=tuple(
            sorted(
                ((full_name(q), row["before"][q], row["after"][q]) for q in row["before"]),
                key=lambda told: -max(told[1] or 0.0, told[2] or 0.0),
            )
        ),
        power=power,
        worse=tuple(full_name(q) for q in row["became_worse"]),
        command=f"{command} {shlex.join(sets)}",
    )
