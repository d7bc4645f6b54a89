"""From a comparison and its document to what the page shows."""

import shlex
from collections.abc import Mapping
from typing import Any

from simkit.figures.table import figures
from simkit.judge.difference import Difference
from simkit.parameters.change import TOGETHER
from simkit.report.html import POINT_ROWS
from simkit.report.view import Span
from simkit.studies.compare.page import ChangeView, ComparisonView, Pair, Row, Side
from simkit.studies.compare.study import Comparison, Held, Result
from simkit.studies.scenario.course_view import courses

READINGS = {key: name for name, key, _ in POINT_ROWS} | {"coil_current_rms_a": "Coil current, rms"}


def comparison_view(found: Comparison, result: Mapping[str, Any]) -> ComparisonView:
    """Everything the page of a comparison shows."""
    names = list(dict.fromkeys(h.variant.name for h in found.held))
    rows = result["results"]
    pairs = [
        _pair(h, row["conclusion"], k)
        for k, (h, row) in enumerate(zip(found.held, rows, strict=True))
    ]
    scenarios = {h.scenario.name: (h.scenario.title, h.before.outcome) for h in found.held}
    return ComparisonView(
        title=result["change"]["title"],
        machine=found.held[0].variant.machine.model.title,
        outcome=result["verdict"],
        reason=result["reason"],
        note=result["note"],
        scenarios=tuple(scenarios.values()),
        changes=tuple(_change(name, found, pairs) for name in names),
        command=shlex.join(["simkit", "compare", result["machine"]["file"],
                            result["change"]["file"]]),
    )  # fmt: skip


def _change(name: str, found: Comparison, pairs: list[Pair]) -> ChangeView:
    mine = [(h, p) for h, p in zip(found.held, pairs, strict=True) if h.variant.name == name]
    variant = mine[0][0].variant
    overlay = tuple((key, text.strip('"')) for key, text in variant.values.items())
    return ChangeView(name, variant.title, overlay, tuple(p for _, p in mine))


def _pair(held: Held, sentence: str, number: int) -> Pair:
    whole = held.before.rehearsal or held.after.rehearsal
    line = whole.line if whole else None
    after = "All changes together" if held.variant.name == TOGETHER else held.variant.title
    return Pair(
        key=f"pair-{number}",
        change=held.variant.name,
        scenario=held.scenario.title,
        sentence=sentence,
        before=_side("As it is", held.before),
        after=_side(after, held.after),
        limits=tuple(
            _row(d, f"{d.part}: {figures()[d.quantity].words.title}")
            for d in _by_ratio(held.limits)
        ),
        readings=tuple(_row(d, READINGS[d.quantity]) for d in held.readings),
        events=() if line is None else tuple(Span(e.start, e.end, e.name) for e in line.events),
        stop=line.stop if line else 0.0,
    )


def _title(found: Difference) -> str:
    return f"{found.part}: {figures()[found.quantity].words.title}"


def _by_ratio(found: tuple[Difference, ...]) -> list[Difference]:
    return sorted(found, key=lambda d: -max(d.before.ratio or 0.0, d.after.ratio or 0.0))


def _side(title: str, result: Result) -> Side:
    found = result.rehearsal
    if found is None:
        return Side(title, result.outcome, result.reason, (), ())
    modes = tuple(Span(m.start, m.end, m.mode) for m in found.modes)
    return Side(title, result.outcome, result.reason, tuple(courses(found)), modes)


def _row(found: Difference, title: str) -> Row:
    a, b = found.before, found.after
    return Row(
        title=title, unit=found.unit,
        before=a.value, before_error=a.error, before_ratio=a.ratio, before_status=a.status,
        after=b.value, after_error=b.error, after_ratio=b.ratio, after_status=b.status,
        mark=found.mark,
    )  # fmt: skip
