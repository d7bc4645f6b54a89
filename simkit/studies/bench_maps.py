"""The two maps of a machine over drive frequency, from the fast model: no verdict, a picture."""

import numpy as np

from simkit.parameters.machine import Machine
from simkit.report.bench_maps import PANELS, dead_time_figure, operating_figure
from simkit.scout.operating import operating_map
from simkit.studies.dead_time_window import by_formula
from simkit.studies.situations.base import main_load

POINTS = 120
"""Frequencies of the operating map [1]."""
SHARES = (0.3, 0.6, 1.0)
"""Supply voltages of the dead-time map, over the machine's own [1]."""
BAND = 0.5
"""The working band: the machine's margin over resonance, this much of it less or more [1]."""


def figures_of(machine: Machine) -> dict[str, str]:
    """Operating map and dead-time map as SVG by name, for the machine's first workpiece."""
    load = main_load(machine)
    resonance = machine.resonance(machine.load(load).inductance)
    return {
        "operating-map": _operating(machine, load, resonance),
        "dead-time-map": _dead_time(machine, load, resonance),
    }


def frequencies(machine: Machine, low: float, high: float, points: int) -> list[float]:
    """Evenly spaced frequencies within the drive's range [Hz]."""
    drive = machine.drive
    ends = max(low, drive.frequency_min), min(high, drive.frequency_max)
    return [float(f) for f in np.linspace(*ends, points)]


def _operating(machine: Machine, load: str, resonance: float) -> str:
    grid = frequencies(machine, 0.9 * resonance, 1.3 * resonance, POINTS)
    points = operating_map(machine, machine.load(load), grid)
    curves = {key: [getattr(p, key) for p in points] for _, lines in PANELS for key, _ in lines}
    margin = machine.drive.working_margin
    band = tuple(1e-3 * resonance * (1.0 + x * margin) for x in (1.0 - BAND, 1.0 + BAND))
    return operating_figure([1e-3 * f for f in grid], curves, 1e-3 * resonance, (band[0], band[1]))


def _dead_time(machine: Machine, load: str, resonance: float) -> str:
    grid = frequencies(machine, 1.01 * resonance, 1.3 * resonance, 24)
    voltages = [share * machine.supply.voltage for share in SHARES]
    found = by_formula(machine, load, voltages, grid)
    rows = {
        f"{v:.0f} V": (
            [1e6 * w.needed for w in found if w.voltage == v],
            [1e6 * w.reversal for w in found if w.voltage == v],
        )
        for v in voltages
    }
    return dead_time_figure([1e-3 * f for f in grid], rows, 1e6 * machine.drive.dead_time)
