"""The page of one workpiece: L and R against level, temperature and place."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simkit.report.figures import RC, canvas, logarithmic, svg
from simkit.report.html import rendered
from simkit.report.style import CYCLE, MUTED, drawing, themed


@dataclass(frozen=True)
class Curve:
    """One curve: L [H] and R [ohm] against x."""

    name: str
    x: tuple[float, ...]
    inductance: tuple[float, ...]
    resistance: tuple[float, ...]


@dataclass(frozen=True)
class Mark:
    """A place on the x axis worth a name."""

    x: float
    text: str


@dataclass(frozen=True)
class LoadFigure:
    """What one figure of a load shows; the empty coil's values are drawn as a line."""

    key: str
    title: str
    caption: str
    label: str
    """Of the x axis, with its unit."""
    curves: tuple[Curve, ...]
    empty: tuple[float, float]
    """L [H] and R [ohm] with nothing in the coil."""
    marks: tuple[Mark, ...] = ()
    logarithmic: bool = False


@dataclass(frozen=True)
class PieceView:
    """A piece's page."""

    machine: str
    title: str
    sentence: str
    facts: tuple[tuple[str, str], ...]
    figures: tuple[LoadFigure, ...]
    warnings: tuple[str, ...]


def load_figure(view: LoadFigure) -> str:
    """L above R on one x axis, with the empty coil's as a dotted line, as SVG text."""

    with drawing(RC):
        figure, panels = canvas(8.2, [1.9, 1.9])
        for panel, which, unit in zip(panels, ("inductance", "resistance"), _UNITS, strict=True):
            said, factor = unit
            for curve, (colour, dashes) in zip(view.curves, CYCLE, strict=False):
                values = [factor * value for value in getattr(curve, which)]
                panel.plot(curve.x, values, color=colour, ls=dashes, label=curve.name,
                           marker=".", markersize=3.2)  # fmt: skip
            empty = factor * view.empty[which == "resistance"]
            panel.axhline(empty, color=MUTED, ls=(0, (1, 2)), lw=1.0, label="empty coil")
            panel.set_ylabel(said)
            if view.logarithmic:
                logarithmic(panel)
            for mark in view.marks:
                panel.axvline(mark.x, color=MUTED, lw=0.8)
        panels[1].set_ylim(bottom=0.0)
        _named(panels[0], view.marks)
        panels[0].legend(loc="lower left", bbox_to_anchor=(0.0, 1.16), ncols=4, fontsize=7.5,
                         borderpad=0.0, borderaxespad=0.15)  # fmt: skip
        panels[-1].set_xlabel(view.label)
        return svg(figure)


_UNITS = (("L, µH", 1e6), ("R, mΩ", 1e3))


def _named(panel: Any, marks: Sequence[Mark]) -> None:
    # One above the other: neighbours may stand closer than their names are long.
    for k, mark in enumerate(sorted(marks, key=lambda mark: mark.x)):
        panel.annotate(
            mark.text, (mark.x, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2 + 9 * k),
            textcoords="offset points", ha="center", va="bottom", fontsize=7.5,
            annotation_clip=False,
        )  # fmt: skip


def write_piece(folder: Path, view: PieceView) -> None:
    """The page and its figures into a folder."""
    from markupsafe import Markup

    drawn = {figure.key: load_figure(figure) for figure in view.figures}
    (folder / "figures").mkdir()
    for name, text in drawn.items():
        (folder / "figures" / f"{name}.svg").write_text(text, encoding="utf-8")
    page = rendered(
        "piece.html.j2", "tables.js", view=view,
        figures={name: Markup(themed(text, name)) for name, text in drawn.items()},
    )  # fmt: skip
    (folder / "index.html").write_text(page, encoding="utf-8")
