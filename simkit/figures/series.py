"""Figures read from waveforms as their records say, a value per cycle."""

import numpy as np

from simkit.figures.table import figures
from simkit.measure.periodic import Cycle
from simkit.measure.series import Series
from simkit.measure.waveforms import Waves


def figure_series(
    waves: Waves, cycles: tuple[Cycle, ...], with_rest: tuple[Cycle, ...]
) -> list[Series]:
    """Every figure whose record says how it is measured.

    `with_rest`: the cycles, and after them what is left of one where the run ends within it.
    """
    out = []
    for figure in figures().values():
        measured = figure.measured
        if measured is None or not figure.there(waves.machine):
            continue
        spans = with_rest if measured.is_peak else cycles
        middle = np.array([0.5 * (c.start + c.end) for c in spans])
        for part, values in measured.values(waves, spans).items():
            out.append(Series(part, figure.name, figure.unit, middle, values))
    return out
