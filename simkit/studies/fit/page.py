"""The fit's page: values with intervals, residuals drawn, what is open and what is suspected."""

from typing import Any

import numpy as np

from simkit.report.style import TEMPLATES
from simkit.report.text import typeset
from simkit.studies.bring_up.page import environment
from simkit.studies.inputs.uncertain_values import Array
from simkit.units import format_quantity

WIDE, ROW = 420.0, 22.0
"""Width of the drawing and height of a row, in its own units [1]."""
SPAN = 5.0
"""Standard deviations from the middle to either edge [1]."""
TALL = 80.0
"""Half the height of an overlay, in its own units [1]."""


def fit_page(result: dict[str, Any]) -> str:
    """A fit's document as HTML text; one file, no script, nothing fetched."""
    from markupsafe import Markup

    style = Markup((TEMPLATES / "sheet.css").read_text(encoding="utf-8"))
    template = environment().get_template("fit.html.j2")
    return str(template.render(r=result, style=style, show=show, plot=Markup(residuals(result)),
                               overlay=lambda one: Markup(overlaid(one))))  # fmt: skip


def show(value: float | None, unit: str, digits: int = 4) -> str:
    """A value with its unit; a dash when there is none."""
    return "\u2013" if value is None else typeset(format_quantity(value, unit, digits))


def residuals(result: dict[str, Any]) -> str:
    """Misfit of every reading in standard deviations, two and three of them marked."""
    rows = result["compared"]
    height = ROW * len(rows) + 24.0
    middle, unit = 0.5 * WIDE, 0.5 * WIDE / SPAN
    marks = "".join(
        f'<path d="M{middle + k * unit:g} 0V{height - 18:g}" '
        f'stroke="var(--{"line" if k else "ink"})" stroke-width="{0.9 if abs(k) < 3 else 1.4}"/>'
        f'<text x="{middle + k * unit:g}" y="{height - 4:g}" text-anchor="middle">{k:+d}</text>'
        for k in (-3, -2, 0, 2, 3)
    )
    dots = "".join(
        _dot(middle + unit * max(min(one["misfit"], SPAN - 0.2), 0.2 - SPAN), ROW * (k + 0.5),
             one["outlier"], k + 1)
        for k, one in enumerate(rows)
    )  # fmt: skip
    return (
        f'<svg viewBox="-24 0 {WIDE + 30:g} {height:g}" role="img" font-size="11" aria-label='
        '"Misfit of each reading in standard deviations, by number of the table">'
        f"{marks}{dots}</svg>"
    )


def overlaid(one: dict[str, Any]) -> str:
    """A scope's channel, dots, over the circuit's, a line, and their difference below as SVG."""
    time, read, simulated = (np.array(one[k]) for k in ("time_s", "read", "simulated"))
    top = 1.15 * max(float(np.abs(read).max()), float(np.abs(simulated).max()), 1e-12)

    def path(values: Array, middle: float) -> str:
        x, y = WIDE * time / time[-1], middle - TALL * values / top
        return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))

    dots = path(read, TALL).split()
    marks = "".join(
        f'<circle cx="{d.split(",")[0]}" cy="{d.split(",")[1]}" r="1.6" fill="var(--ink)"/>'
        for d in dots[::3]
    )
    return (
        f'<svg viewBox="-2 -2 {WIDE + 4:g} {2.9 * TALL:g}" role="img" aria-label="{one["shows"]}: '
        f"the scope's samples over the circuit's trace, and their difference\">"
        f'<path class="axis" d="M0 {TALL:g}H{WIDE:g}M0 {2.4 * TALL:g}H{WIDE:g}"/>'
        f'<polyline class="trace" points="{path(simulated, TALL)}"/>{marks}'
        f'<polyline class="trace" stroke-dasharray="4 3" '
        f'points="{path(read - simulated, 2.4 * TALL)}"/></svg>'
    )


def _dot(x: float, y: float, outlier: bool, number: int) -> str:
    label = f'<text x="-22" y="{y + 4:g}">{number}</text>'
    if outlier:
        return label + f'<path d="M{x - 5:g} {y - 5:g}l10 10m0 -10l-10 10" stroke="var(--ink)" ' \
            'stroke-width="2"/>'  # fmt: skip
    return label + f'<circle cx="{x:g}" cy="{y:g}" r="4.5" fill="var(--ink)"/>'
