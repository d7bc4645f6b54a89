"""The two maps of a machine over drive frequency, from the fast model: no verdict, a picture."""

import numpy as np

from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.findings import Rehearsal
from simkit.report.operating_map import COLUMNS, dead_time_figure, operating_figure
from simkit.report.view import OperatingMap
from simkit.scout.drive import refuse_overlap
from simkit.scout.operating import operating_map
from simkit.studies.operating_map.dead_time_window import by_formula
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
        "operating-map": operating_figure(
            operating_view(machine, machine.load(load), 0.9 * resonance, 1.3 * resonance)
        ),
        "dead-time-map": _dead_time(machine, load, resonance),
    }


def frequencies(machine: Machine, low: float, high: float, points: int) -> list[float]:
    """Evenly spaced frequencies within the drive's range [Hz]."""
    drive = machine.drive
    ends = max(low, drive.frequency_min), min(high, drive.frequency_max)
    return [float(f) for f in np.linspace(*ends, points)]


def operating_view(
    machine: Machine, load: Load, low: float, high: float, supply_voltage: float | None = None
) -> OperatingMap:
    """Operating map of a load between two frequencies [Hz], within the drive's range.

    At the machine's own supply voltage unless given [V]. Errors: ValueError from the fast model.
    """
    refuse_overlap(machine)
    resonance = machine.resonance(load.inductance)
    grid = frequencies(machine, low, high, POINTS)
    points = operating_map(machine, load, grid, supply_voltage)
    margin = machine.drive.working_margin
    band = [resonance * (1.0 + x * margin) for x in (1.0 - BAND, 1.0 + BAND)]
    return OperatingMap(
        frequency=tuple(grid),
        curves={key: tuple(getattr(p, key) for p in points) for key, _, _ in COLUMNS},
        modes=tuple(p.mode for p in points),
        resonance=resonance,
        band=(band[0], band[1]),
        supply_voltage=points[0].supply_voltage,
    )


def tuned(rehearsal: Rehearsal) -> OperatingMap | None:
    """Map of the frequencies a rehearsal's drive goes through, and the working band.

    For the load and the supply it begins with; None where the drive stands still or the fast model
    has no answer.
    """
    line, machine = rehearsal.line, rehearsal.machine
    if line.frequency.constant or line.faults:
        return None
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)
    resonance = machine.resonance(load.inductance)
    top = resonance * (1.0 + (1.0 + BAND) * machine.drive.working_margin)
    ends = [line.frequency.first, *(c.after for c in line.frequency.changes), resonance, top]
    try:
        return operating_view(machine, load, min(ends), max(ends), line.voltage.first)
    except ValueError:
        return None


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
