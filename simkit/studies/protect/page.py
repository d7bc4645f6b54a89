"""The page of a search for cures: ranked list, trip level against delay."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simkit.report.figures import RC, svg
from simkit.report.html import rendered
from simkit.report.style import CYCLE, drawing, library, themed
from simkit.report.view import AdviceRow, Fact


@dataclass(frozen=True)
class CureRow:
    """One cure of the ranked list; ratios are shares of a limit [1]."""

    title: str
    amount: str
    note: str
    too_little: str
    outcome: str
    kept: str
    """What is kept, in words."""
    worst: float | None
    worst_name: str
    sudden: float | None
    sudden_name: str
    power: str
    loss: str
    parts: str


@dataclass(frozen=True)
class DelayCurve:
    """Longest delay [s] at each trip level [A]."""

    name: str
    levels: tuple[float, ...]
    delays: tuple[float, ...]


@dataclass(frozen=True)
class ProtectView:
    """Everything the page shows."""

    title: str
    machine: str
    outcome: str
    reason: str
    without: str
    cures: tuple[CureRow, ...]
    settled: float | None
    """Largest bridge current of the settled state [A]."""
    curves: tuple[DelayCurve, ...]
    trip: tuple[str, ...]
    trip_facts: tuple[Fact, ...]
    clamp: str
    command: str
    baseline: Fact | None = None
    """The closest to its limit, or most above it, without any cure."""
    advice: tuple[AdviceRow, ...] = ()
    advice_note: str = ""


def write_protection(folder: Path, view: ProtectView) -> None:
    """Write `index.html` and `figures/*.svg` into an existing folder."""
    from markupsafe import Markup

    drawn = {"trip": delays(view)} if any(c.levels for c in view.curves) else {}
    (folder / "figures").mkdir()
    for name, text in drawn.items():
        (folder / "figures" / f"{name}.svg").write_text(text, encoding="utf-8")
    page = rendered(
        "protect.html.j2", "tables.js", view=view,
        figures={name: Markup(themed(text, name)) for name, text in drawn.items()},
    )  # fmt: skip
    (folder / "index.html").write_text(page, encoding="utf-8")


def delays(view: ProtectView) -> str:
    """Trip level against the longest delay that still keeps the limits."""
    library()
    from matplotlib.figure import Figure

    with drawing(RC):
        figure = Figure(figsize=(8.2, 4.2), layout="constrained")
        figure.patch.set_alpha(0.0)
        panel = figure.subplots()
        panel.patch.set_alpha(0.0)
        panel.grid(True)
        longest = max((d for c in view.curves for d in c.delays), default=0.0)
        scale, unit = (1e3, "ms") if longest > 5e-3 else (1e6, "µs")
        for curve, (colour, dashes) in zip(view.curves, CYCLE, strict=False):
            x, y = np.array(curve.levels), np.array(curve.delays) * scale
            panel.plot(x, y, color=colour, ls=dashes, marker="o", markersize=3.5, label=curve.name)
            panel.fill_between(x, 0.0, np.maximum(y, 0.0), color=colour, alpha=0.10, lw=0)
        if view.settled:
            panel.axvline(view.settled, color="#68635a", lw=0.8, ls=":")
            panel.annotate("settled peak", (view.settled, 1.0),
                           xycoords=("data", "axes fraction"), xytext=(3, -10),
                           textcoords="offset points", fontsize=7.5)  # fmt: skip
        panel.set_xlabel("trip level, bridge current in A")
        panel.set_ylabel(f"longest delay, {unit}")
        panel.set_ylim(bottom=0.0)
        panel.legend(loc="upper right", title="kept below the line", fontsize=7.5)
        return svg(figure)
