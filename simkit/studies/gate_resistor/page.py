"""The page of a gate-resistor sweep: the band, the figures over the resistance, and the table."""

from collections.abc import Mapping, Sequence
from math import nan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simkit.report.figures import RC, canvas, svg
from simkit.report.html import rendered
from simkit.report.style import CYCLE, MUTED, ORANGE, drawing, themed
from simkit.report.text import quantity
from simkit.studies.maps.page import LOOK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Line = tuple[str, str, str]
"""Group of a point ("figures" or "limits"), key, and name of the curve."""
PANELS: tuple[tuple[str, float, tuple[Line, ...], tuple[str, ...]], ...] = (
    ("V, gate", 1.0,
     (("limits", "gate_voltage_peak", "largest magnitude"), ("figures", "overshoot", "overshoot"),
      ("figures", "undershoot", "undershoot")), ("gate_voltage_peak",)),
    ("V, gate off", 1.0,
     (("limits", "gate_lift", "gate of the off switch"),), ("gate_lift",)),
    ("us", 1e6,
     (("figures", "turn_off_delay", "turn-off delay"), ("figures", "turn_on_delay",
      "turn-on delay"), ("figures", "dead_time_eaten", "dead time eaten")), ()),
    ("uJ", 1e6,
     (("figures", "turn_off_energy", "turn-off energy"),
      ("figures", "turn_on_energy", "turn-on energy")), ()),
    ("degC", 1.0,
     (("limits", "junction_held", "junction"),), ("junction_held",)),
)  # fmt: skip
"""Unit, factor from SI, curves and drawn limits of each panel."""


def sweep_figure(result: Mapping[str, Any]) -> str:
    """Every figure over the gate resistor with its error, the band shaded, as SVG text."""
    points, dead = result["points"], result["dead_time_s"]
    with drawing(RC):
        figure, panels = canvas(8.2, [1.25] * len(PANELS))
        for panel, (unit, factor, lines, limits) in zip(panels, PANELS, strict=True):
            for line, (colour, dash) in zip(lines, CYCLE, strict=False):
                _curve(panel, points, line, factor, colour, dash)
            for key in limits:
                _limit(panel, points, key, factor)
            if unit == "us":
                panel.axhline(factor * dead, color=MUTED, lw=0.8, ls=(0, (4, 2)))
            _marks(panel, result)
            panel.set_ylabel(unit.replace("us", "µs").replace("uJ", "µJ").replace("degC", "°C"))
            panel.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=7)
        _outcomes(panels[-1], points)
        panels[-1].set_xscale("log")
        at = [p["resistance"] for p in points]
        panels[-1].set_xticks(at, [f"{r:.3g}" for r in at])
        panels[-1].set_xticks([], minor=True)
        panels[-1].set_xlabel("gate resistor, Ω")
        return svg(figure)


def _curve(
    panel: "Axes", points: Sequence[Mapping[str, Any]], line: Line, factor: float,
    colour: str, dash: Any,
) -> None:  # fmt: skip
    group, key, name = line
    found = [p[group].get(key) or {} for p in points]
    value, error = (
        [nan if f.get(what) is None else factor * f[what] for f in found]
        for what in ("value", "error")
    )
    at = [p["resistance"] for p in points]
    panel.errorbar(at, value, yerr=error, color=colour, linestyle=dash, label=name, marker=".",
                   markersize=4, capsize=2)  # fmt: skip


def _limit(panel: "Axes", points: Sequence[Mapping[str, Any]], key: str, factor: float) -> None:
    bounds = {p["limits"][key]["limit"] for p in points if key in p["limits"]}
    for bound in bounds:  # one: the limits do not depend on the resistor
        panel.axhline(factor * bound, color=MUTED, lw=0.8, ls=(0, (4, 2)))


def _marks(panel: "Axes", result: Mapping[str, Any]) -> None:
    if result["band"]:
        ends = (result["band"][end]["resistance"] for end in ("low", "high"))
        panel.axvspan(*ends, color=ORANGE, alpha=0.2, linewidth=0)
    panel.axvline(result["own_resistor_ohm"], color=MUTED, linewidth=0.8)


def _outcomes(panel: "Axes", points: Sequence[Mapping[str, Any]]) -> None:
    """What every resistance came to, along the lower edge."""
    for point in points:
        colour, marker, _ = LOOK[point["verdict"]]
        panel.plot([point["resistance"]], [0.06], color=colour, marker=marker, markersize=5,
                   transform=panel.get_xaxis_transform(), clip_on=False)  # fmt: skip


def write_sweep(folder: Path, result: Mapping[str, Any], titles: Mapping[str, str]) -> None:
    """Write `index.html` and the figure into an existing folder; `titles`: words for quantities."""
    drawn = sweep_figure(result)
    (folder / "figures").mkdir()
    (folder / "figures" / "gate-resistor.svg").write_text(drawn, encoding="utf-8")
    page = sweep_page(result, titles, drawn)
    (folder / "index.html").write_text(page, encoding="utf-8")


def sweep_page(result: Mapping[str, Any], titles: Mapping[str, str], drawn: str) -> str:
    """The page as HTML text."""
    from markupsafe import Markup

    return rendered(
        "gate_resistor.html.j2",
        "tables.js",
        view=result,
        sentence=band_words(result),
        titles=titles,
        figure=Markup(themed(drawn, "gate-resistor")),
        left=dead_time_left,
    )


def band_words(result: Mapping[str, Any]) -> str:
    """The suggested band in words, or that there is none."""
    band = result["band"]
    if band is None:
        return "No tried value is within the limits checked: there is no band to suggest."
    low, high = (quantity(band[end]["resistance"], "ohm") for end in ("low", "high"))
    own = quantity(result["own_resistor_ohm"], "ohm")
    inside = band["low"]["resistance"] <= result["own_resistor_ohm"] <= band["high"]["resistance"]
    place = "inside it" if inside else "outside it"
    return f"Suggested band: {low} to {high}; the machine's {own} lies {place}."


def dead_time_left(point: Mapping[str, Any], dead_time: float) -> float | None:
    """Dead time left at the gates [s]; None when it could not be had."""
    eaten = point["figures"].get("dead_time_eaten", {}).get("value")
    return None if eaten is None else dead_time - eaten
