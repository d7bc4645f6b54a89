"""Figures over frequency: a machine as it is tuned down, and what its dead time must hit."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from simkit.report.figures import RC, canvas, svg
from simkit.report.style import CYCLE, MUTED, ORANGE, drawing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANELS = (
    ("A", (("supply_current", "supply current"), ("turn_off_current", "turn-off current"))),
    ("W", (("load_power", "coil and load"), ("bridge_loss", "loss of the switches"))),
    ("V", (("tank_voltage_peak", "tank voltage, peak"),)),
    ("deg", (("phase", "phase"),)),
)
"""Unit, then key and name of each curve, for each panel of the operating map."""
WIDTH, HEIGHT = 6.6, 1.25
"""Of a panel [inch]."""


def operating_figure(
    kilohertz: Sequence[float],
    curves: Mapping[str, Sequence[float]],
    resonance: float,
    band: tuple[float, float],
) -> str:
    """Operating map over drive frequency, the working band marked; frequencies in kHz."""

    with drawing(RC):
        figure, panels = canvas(WIDTH, [HEIGHT] * len(PANELS))
        for panel, (unit, lines) in zip(panels, PANELS, strict=True):
            for (key, name), (colour, dash) in zip(lines, CYCLE, strict=False):
                panel.plot(kilohertz, curves[key], color=colour, linestyle=dash, label=name)
            _marks(panel, resonance, band)
            panel.set_ylabel(unit)
            panel.legend(loc="upper right", fontsize=7)
        panels[-1].set_xlabel("drive frequency, kHz")
        return svg(figure)


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
        figure, panels = canvas(WIDTH, [HEIGHT] * len(windows))
        for panel, (name, (needed, reversal)) in zip(panels, windows.items(), strict=True):
            low, high = np.array(needed, dtype=float), np.array(reversal, dtype=float)
            (first, dash), (second, other) = CYCLE[:2]
            panel.plot(kilohertz, low, color=first, linestyle=dash, label="node is over")
            panel.plot(kilohertz, high, color=second, linestyle=other, label="current reverses")
            both = np.isfinite(low) & np.isfinite(high) & (low < high)
            panel.fill_between(kilohertz, low, high, where=both.tolist(), color=ORANGE, alpha=0.25)
            panel.axhline(dead_time, color=MUTED, linewidth=0.8, linestyle=(0, (4, 2)))
            panel.set_ylabel(f"us at {name}")
            panel.legend(loc="upper left", fontsize=7)
        panels[-1].set_xlabel("drive frequency, kHz")
        return svg(figure)
