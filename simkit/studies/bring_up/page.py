"""The bring-up sheet as a page to print: A4 or Letter, black and white enough."""

from functools import lru_cache
from typing import Any

import numpy as np

from simkit.judge.cautions import CAUTIONS
from simkit.judge.words import WORDS
from simkit.report.style import TEMPLATES
from simkit.report.text import percent, typeset
from simkit.studies.bring_up.page_view import Screen, SheetView, Trace
from simkit.units import format_quantity

ACROSS, UP = 10, 8
"""Divisions of a screen [1]."""
CELL = 30.0
"""Size of a division in the drawing's own units [1]."""
DASHES = ("none", "7 3")
"""Dashes of the first and the second trace: told apart without colour."""


def sheet_page(view: SheetView) -> str:
    """The sheet as HTML text; one file, no script, nothing fetched."""
    from markupsafe import Markup

    style = Markup((TEMPLATES / "sheet.css").read_text(encoding="utf-8"))
    pictures = {
        f"{stage.number}-{k}": Markup(drawn(screen))
        for stage in view.stages
        for k, screen in enumerate(stage.screens)
    }
    template = environment().get_template("sheet.html.j2")
    return str(
        template.render(
            view=view, style=style, words=WORDS, pictures=pictures, settings=settings_of
        )
    )


def settings_of(screen: Screen) -> list[str]:
    """The settings of a screen in words, a line for each channel."""
    base = f"{_text(screen.seconds_per_division, 's')}/div"
    lines = []
    for number, trace in enumerate(screen.traces, 1):
        note = f" ({typeset(trace.note)})" if trace.note else ""
        line = "solid" if number == 1 else "dashed"
        lines.append(f"{trace.name}, {line}: {_text(trace.per_division, 'V')}/div{note}")
    return [base, *lines]


def _text(value: float, unit: str) -> str:
    return typeset(format_quantity(value, unit, 2))


def drawn(screen: Screen) -> str:
    """One screen as SVG text: the grid in divisions, its middle marked, traces on the middle."""
    width, height = ACROSS * CELL, UP * CELL
    grid = "".join(
        [f'<path d="M{k * CELL:g} 0V{height:g}"/>' for k in range(ACROSS + 1)]
        + [f'<path d="M0 {k * CELL:g}H{width:g}"/>' for k in range(UP + 1)]
    )
    traces = "".join(_path(screen, t, DASHES[k % 2]) for k, t in enumerate(screen.traces))
    words = ", ".join(settings_of(screen)).replace("&", "and").replace("<", "")
    return (
        f'<svg viewBox="-2 -2 {width + 4:g} {height + 4:g}" role="img" aria-label="{words}">'
        f'<g class="grid">{grid}</g><path class="axis" d="M0 {height / 2:g}H{width:g}"/>'
        f"{traces}</svg>"
    )


def _path(screen: Screen, trace: Trace, dashes: str) -> str:
    x = screen.time / screen.seconds_per_division * CELL
    up = np.clip(trace.volts / trace.per_division, -UP / 2, UP / 2)
    y = (UP / 2 - up) * CELL
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
    return f'<polyline class="trace" stroke-dasharray="{dashes}" points="{points}"/>'


@lru_cache(maxsize=1)
def environment() -> Any:
    """Templates of pages without script; every text is escaped."""
    import jinja2

    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        undefined=jinja2.StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["caution_lines"] = CAUTIONS
    # The parts that all pages share use them; a template with an unknown filter does not compile.
    made.filters |= {"typeset": typeset, "percent": percent}
    return made
