"""The page of a map: probabilities, what matters, and where the boundary runs."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from simkit.measure.waveforms import Array
from simkit.report.figures import RC, svg
from simkit.report.html import rendered
from simkit.report.style import GREEN, INK, MUTED, ORANGE, RED, drawing, library, themed
from simkit.report.text import typeset
from simkit.report.view import Fact

LOOK = {
    "within_limits": (GREEN, "o", ""), "over_limit": (RED, "X", "xx"),
    "no_verdict": (MUTED, "D", ".."), "boundary": (ORANGE, "s", "//"),
}  # fmt: skip
"""Colour, marker and hatch of each outcome: told apart without colour too."""
WORDS = {"within_limits": "within the limits checked", "over_limit": "over a limit",
         "no_verdict": "no verdict", "boundary": "boundary runs here"}  # fmt: skip


@dataclass(frozen=True)
class AxisView:
    """One axis: words, factor from SI to what is shown, and how it varies."""

    name: str
    unit: str
    scale: float
    spread: str
    source: str


@dataclass(frozen=True)
class Chance:
    """Probability of one limit being exceeded [1]."""

    title: str
    value: float
    low: float
    high: float
    over: int
    undecided: int


@dataclass(frozen=True)
class Weight:
    """What one parameter matters to the worst share of a limit [1]."""

    name: str
    first_order: float | None
    total: float | None
    rank: float | None


@dataclass(frozen=True)
class Region:
    """A rectangle of the plane of two axes, in the units shown."""

    left: float
    right: float
    low: float
    high: float
    outcome: str


@dataclass(frozen=True)
class MapView:
    """Everything the page shows; `values` has one row a case, in the units shown."""

    title: str
    scenario: str
    machine: str
    outcome: str
    reason: str
    axes: tuple[AxisView, ...]
    chances: tuple[Chance, ...]
    weights: tuple[Weight, ...]
    values: Array
    worst: Array
    outcomes: tuple[str, ...]
    full: tuple[bool, ...]
    regions: tuple[Region, ...]
    verification: tuple[Fact, ...]
    command: str


def write_map(folder: Path, view: MapView) -> None:
    """Write `index.html` and `figures/*.svg` into an existing folder."""
    from markupsafe import Markup

    drawn = draw(view)
    (folder / "figures").mkdir()
    for name, text in drawn.items():
        (folder / "figures" / f"{name}.svg").write_text(text, encoding="utf-8")
    top = max([c.high for c in view.chances], default=0.0) or 1.0
    page = rendered(
        "map.html.j2", "tables.js", view=view, top=top,
        figures={name: Markup(themed(text, name)) for name, text in drawn.items()},
    )  # fmt: skip
    (folder / "index.html").write_text(page, encoding="utf-8")


def draw(view: MapView) -> dict[str, str]:
    """Every figure as SVG, by name."""
    drawn = {"scatter": scatter(view)}
    if view.regions:
        drawn["plane"] = plane(view)
    return drawn


def _label(axis: AxisView) -> str:
    return typeset(f"{axis.name}, {axis.unit}" if axis.unit else axis.name)


def scatter(view: MapView) -> str:
    """The worst share of a limit against each parameter, the most important first."""
    library()
    from matplotlib.figure import Figure

    order = sorted(range(len(view.axes)), key=lambda k: -_importance(view, k))[:6]
    rows = -(-len(order) // 3)
    with drawing(RC):
        figure = Figure(figsize=(9.4, 2.5 * rows + 0.4), layout="constrained")
        figure.patch.set_alpha(0.0)
        axes = figure.subplots(rows, min(len(order), 3), sharey=True, squeeze=False)
        for panel in axes.flat[len(order) :]:
            panel.set_visible(False)
        for panel, k in zip(axes.flat, order, strict=False):
            panel.patch.set_alpha(0.0)
            panel.grid(True)
            panel.axhline(1.0, color=RED, lw=1.0, ls=(0, (7, 2)))
            _dots(panel, view, view.values[:, k], view.worst)
            panel.set_xlabel(_label(view.axes[k]))
        for row in axes:
            row[0].set_ylabel("worst share of a limit")
        _legend(figure, view)
        return svg(figure)


def _importance(view: MapView, k: int) -> float:
    return (view.weights[k].total or 0.0) if view.weights else 0.0


def _dots(panel: Any, view: MapView, x: Array, y: Array) -> None:
    """Filled where the circuit was run, hollow where the fast model told."""
    outcomes, full = np.array(view.outcomes), np.array(view.full)
    for name, (colour, marker, _) in LOOK.items():
        for ran in (False, True):
            mine = (outcomes == name) & (full == ran)
            if mine.any():
                panel.scatter(x[mine], y[mine], s=13, marker=marker, linewidths=0.8,
                              edgecolors=colour, facecolors=colour if ran else "none")  # fmt: skip


def _legend(figure: Any, view: MapView, regions: bool = False) -> None:
    library()
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [
        Line2D([], [], ls="", marker=marker, color=colour, markersize=4, label=WORDS[name])
        for name, (colour, marker, _) in LOOK.items()
        if name in view.outcomes
    ]
    if not all(view.full):
        handles.append(Line2D([], [], ls="", marker="o", markerfacecolor="none", color=INK,
                              markersize=4, label="hollow: fast model"))  # fmt: skip
    if regions and any(r.outcome == "boundary" for r in view.regions):
        colour, _, hatch = LOOK["boundary"]
        handles.append(Patch(facecolor="none", edgecolor=colour, hatch=hatch,
                             label=WORDS["boundary"]))  # fmt: skip
    figure.legend(handles=handles, loc="outside upper left", ncols=4, fontsize=7.5)


def plane(view: MapView) -> str:
    """Two parameters: regions of one verdict, the boundary between them, every case."""
    library()
    from matplotlib.figure import Figure
    from matplotlib.patches import Rectangle

    with drawing(RC):
        figure = Figure(figsize=(8.2, 5.2), layout="constrained")
        figure.patch.set_alpha(0.0)
        panel = figure.subplots()
        panel.patch.set_alpha(0.0)
        for r in view.regions:
            colour, _, hatch = LOOK[r.outcome]
            place, wide, high = (r.left, r.low), r.right - r.left, r.high - r.low
            # Twice: a hatch as pale as the filling could not be told from it.
            panel.add_patch(Rectangle(place, wide, high, facecolor=colour, alpha=0.2, lw=0.0))
            panel.add_patch(
                Rectangle(place, wide, high, fill=False, hatch=hatch, edgecolor=colour,
                          alpha=0.55, lw=0.4)
            )  # fmt: skip
        _dots(panel, view, view.values[:, 0], view.values[:, 1])
        panel.set_xlabel(_label(view.axes[0]))
        panel.set_ylabel(_label(view.axes[1]))
        panel.autoscale_view()
        _legend(figure, view, regions=True)
        return svg(figure)


__all__ = ["MapView", "draw", "plane", "scatter", "write_map"]
