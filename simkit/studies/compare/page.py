"""The page of a comparison: a table of changes, then each change beside the machine as it was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from simkit.report.figures import (
    LABEL,
    LEFT,
    RC,
    RIGHT,
    course_panel,
    event_names,
    mode_strip,
    place,
    svg,
)
from simkit.report.html import rendered
from simkit.report.style import MUTED, drawing, library, themed
from simkit.report.view import Course, Span

MARK_ICONS = {
    "better": "\u25bc", "worse": "\u25b2", "higher": "\u2191", "lower": "\u2193",
    "no difference": "=", "not evaluated": "?",
}  # fmt: skip
"""Sign beside each mark: a limit's share goes down when better."""


@dataclass(frozen=True)
class Side:
    """One machine in one scenario."""

    title: str
    outcome: str
    reason: str
    courses: tuple[Course, ...]
    modes: tuple[Span, ...]


@dataclass(frozen=True)
class Row:
    """One figure before and after; values and errors in `unit`."""

    title: str
    unit: str
    before: float | None
    before_error: float | None
    before_ratio: float | None
    before_status: str
    after: float | None
    after_error: float | None
    after_ratio: float | None
    after_status: str
    mark: str


@dataclass(frozen=True)
class Pair:
    """One change in one scenario."""

    key: str
    """Short, for links and figure names."""
    change: str
    scenario: str
    sentence: str
    before: Side
    after: Side
    limits: tuple[Row, ...]
    readings: tuple[Row, ...]
    events: tuple[Span, ...]
    stop: float
    """[s]"""

    def count(self, mark: str) -> int:
        """Limits with a mark."""
        return sum(row.mark == mark for row in self.limits)


@dataclass(frozen=True)
class ChangeView:
    """One change: its words, what it lays over the machine, and one pair for each scenario."""

    name: str
    title: str
    overlay: tuple[tuple[str, str], ...]
    pairs: tuple[Pair, ...]


@dataclass(frozen=True)
class ComparisonView:
    """Everything the page shows."""

    title: str
    machine: str
    outcome: str
    reason: str
    note: str
    scenarios: tuple[tuple[str, str], ...]
    """Title and outcome before."""
    changes: tuple[ChangeView, ...]
    command: str


def write_comparison(folder: Path, view: ComparisonView) -> None:
    """Write `index.html` and `figures/*.svg` into an existing folder."""
    from markupsafe import Markup

    drawn = draw(view)
    (folder / "figures").mkdir()
    for name, text in drawn.items():
        (folder / "figures" / f"{name}.svg").write_text(text, encoding="utf-8")
    page = rendered(
        "compare.html.j2", "tables.js", view=view, icons=MARK_ICONS,
        figures={name: Markup(themed(text, name)) for name, text in drawn.items()},
    )  # fmt: skip
    (folder / "index.html").write_text(page, encoding="utf-8")


def draw(view: ComparisonView) -> dict[str, str]:
    """Every pair as SVG; the pairs of one scenario share their axes."""
    pairs = [pair for change in view.changes for pair in change.pairs]
    drawn = {}
    for scenario in dict.fromkeys(pair.scenario for pair in pairs):
        mine = [p for p in pairs if p.scenario == scenario and p.before.courses and p.after.courses]
        limits = spans([course for p in mine for s in (p.before, p.after) for course in s.courses])
        for pair in mine:
            drawn[pair.key] = side_by_side(pair, limits)
    return drawn


def spans(courses: Sequence[Course]) -> dict[str, tuple[float, float]]:
    """Lowest and highest value of every kind of course, with a little room; zero where limited."""
    found: dict[str, tuple[float, float]] = {}
    for course in courses:
        values = np.concatenate([c.values for c in course.curves])
        low, high = float(np.min(values)), float(np.max(values))
        near = [level.value for level in course.levels if level.value <= 2.5 * high]
        low, high = (0.0 if course.levels else low), max([high, *near])
        a, b = found.get(course.title, (low, high))
        found[course.title] = min(a, low), max(b, high)
    return {k: (a - (0.05 * (b - a) if a else 0.0), b + 0.22 * (b - a) + 1e-9)
            for k, (a, b) in found.items()}  # fmt: skip


def side_by_side(pair: Pair, limits: Mapping[str, tuple[float, float]]) -> str:
    """Before on the left, after on the right, every row on the same scale."""
    library()
    from matplotlib.figure import Figure

    sides = (pair.before, pair.after)
    titles = list(dict.fromkeys(c.title for s in sides for c in s.courses))
    heights = [0.5, *[1.35] * len(titles)]
    with drawing(RC):
        figure = Figure(figsize=(WIDTH, sum(heights)))
        figure.patch.set_alpha(0.0)
        place(figure, WIDTH, heights, columns=2, top=TITLED)
        axes = figure.subplots(len(heights), 2, sharex=True, height_ratios=heights)
        for column, side in zip(axes.T, sides, strict=True):
            _column(column, side, pair, titles, limits)
        return svg(figure)


WIDTH = 9.4
"""[inch]"""
TITLED = 0.5
"""Room above the columns for their titles and the events' names [inch]."""


def _column(
    panels: Any, side: Side, pair: Pair, titles: Sequence[str],
    limits: Mapping[str, tuple[float, float]],
) -> None:  # fmt: skip
    for panel in panels:
        panel.patch.set_alpha(0.0)
        panel.grid(True)
        panel.set_axisbelow(True)
        for event in pair.events:
            panel.axvspan(event.start * 1e3, event.end * 1e3, color=MUTED, alpha=0.09, lw=0)
    mode_strip(panels[0], side.modes, pair.stop)
    event_names(panels[0], pair.events)
    panels[0].set_title(side.title, loc="left", fontsize=8.5, weight="bold", pad=17)
    by_title = {course.title: course for course in side.courses}
    for panel, title in zip(panels[1:], titles, strict=True):
        if title in by_title:
            course_panel(panel, _near(by_title[title], limits[title][1]))
        else:
            panel.text(0.5, 0.5, f"no {title}", transform=panel.transAxes, ha="center")
        panel.set_ylim(*limits[title])
        panel.yaxis.set_label_coords(-LABEL / (0.5 * WIDTH - LEFT - RIGHT), 0.5)
    panels[-1].set_xlabel("time since the settled part began, ms")
    panels[-1].set_xlim(0.0, pair.stop * 1e3)


def _near(course: Course, top: float) -> Course:
    """A course at half the width: short names, and no limit far above what is drawn."""
    return replace(
        course,
        levels=tuple(x for x in course.levels if x.value <= top),
        curves=tuple(replace(c, name=c.name.split(", ")[0]) for c in course.curves),
    )
