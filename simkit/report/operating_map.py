"""Figures over frequency: a machine as it is tuned down, and what its dead time must hit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from simkit.report.figures import RC, legend_above, mode_strip, stack, svg
from simkit.report.style import CYCLE, MUTED, ORANGE, drawing
from simkit.report.view import OperatingMap, Span

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANELS = (
    ("A", (("supply_current", "supply current"), ("turn_off_current", "turn-off current"),
           ("primary_current_peak", "bridge current, peak"))),
    ("W", (("load_power", "coil and load"), ("bridge_loss", "loss of the switches"))),
    ("V", (("tank_voltage_peak", "tank voltage, peak"),)),
    ("deg", (("phase", "phase"),)),
)  # fmt: skip
"""Unit, then key and name of each curve, for each panel of the operating map."""
WIDTH, HEIGHT, STRIP = 6.6, 1.25, 0.45
"""Of a panel, and the height of the strip of modes [inch]."""


def operating_figure(view: OperatingMap) -> str:
    """Operating map over drive frequency, mode strip above, the working band marked, as SVG."""

    with drawing(RC):
        kilohertz = [1e-3 * f for f in view.frequency]
        figure, panels = stack(WIDTH, [STRIP, *[HEIGHT] * len(PANELS)])
        mode_strip(panels[0], mode_spans(view), view.frequency[-1] - view.frequency[0], 1e-3)
        for panel, (unit, lines) in zip(panels[1:], PANELS, strict=True):
            for (key, name), (colour, dash) in zip(lines, CYCLE, strict=False):
                panel.plot(kilohertz, view.curves[key], color=colour, linestyle=dash, label=name)
            _marks(panel, 1e-3 * view.resonance, (1e-3 * view.band[0], 1e-3 * view.band[1]))
            panel.set_ylabel("°" if unit == "deg" else unit)
            legend_above(panel)
        panels[-1].set_xlim(kilohertz[0], kilohertz[-1])
        panels[-1].set_xlabel("drive frequency, kHz")
        return svg(figure)


def mode_spans(view: OperatingMap) -> list[Span]:
    """Stretches of one mode [Hz], parted half-way between the frequencies that differ."""
    spans: list[Span] = []
    for k, mode in enumerate(view.modes):
        start = view.frequency[0] if k == 0 else 0.5 * sum(view.frequency[k - 1 : k + 1])
        if spans and spans[-1].name == mode:
            continue
        if spans:
            spans[-1] = replace(spans[-1], end=start)
        spans.append(Span(start, view.frequency[-1], mode))
    return spans


@dataclass(frozen=True)
class MapRow:
    """One frequency of an operating map, in print."""

    frequency: float
    """[Hz]"""
    above: float
    """Over resonance [1]."""
    in_band: bool
    mode: str
    values: tuple[tuple[float, str], ...]
    """Value and unit by curve, in the order of `COLUMNS`; nan where there is no solution."""


COLUMNS = tuple((key, name, unit) for unit, lines in PANELS for key, name in lines)
"""Key, name and unit of every curve."""


def map_rows(view: OperatingMap, count: int = 13) -> list[MapRow]:
    """Evenly spaced frequencies of a map, about so many."""
    step = max((len(view.frequency) - 1) // (count - 1), 1)
    return [
        MapRow(
            f, f / view.resonance, view.band[0] <= f <= view.band[1], view.modes[k],
            tuple((view.curves[key][k], unit) for key, _, unit in COLUMNS),
        )
        for k, f in enumerate(view.frequency) if k % step == 0
    ]  # fmt: skip


def _marks(panel: "Axes", resonance: float, band: tuple[float, float]) -> None:
    panel.axvspan(*band, color=ORANGE, alpha=0.25, linewidth=0)
    panel.axvline(resonance, color=MUTED, linewidth=0.8, linestyle=(0, (4, 2)))


def dead_time_figure(
    kilohertz: Sequence[float],
    windows: Mapping[str, tuple[Sequence[float], Sequence[float]]],
    dead_time: float,
) -> str:
    """Window of the dead time over frequency, one panel per supply voltage; times in us."""

    with drawing(RC):
        figure, panels = stack(WIDTH, [HEIGHT] * len(windows))
        for panel, (name, (needed, reversal)) in zip(panels, windows.items(), strict=True):
            low, high = np.array(needed, dtype=float), np.array(reversal, dtype=float)
            (first, dash), (second, other) = CYCLE[:2]
            panel.plot(kilohertz, low, color=first, linestyle=dash, label="node is over")
            panel.plot(kilohertz, high, color=second, linestyle=other, label="current reverses")
            both = np.isfinite(low) & np.isfinite(high) & (low < high)
            panel.fill_between(kilohertz, low, high, where=both.tolist(), color=ORANGE, alpha=0.25)
            panel.axhline(dead_time, color=MUTED, linewidth=0.8, linestyle=(0, (4, 2)))
            panel.set_ylabel(f"µs at {name}")
            legend_above(panel)
        panels[-1].set_xlabel("drive frequency, kHz")
        return svg(figure)
