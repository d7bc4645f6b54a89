"""Tank, transformer and supply, per cycle.

* Bank voltage and coil current: largest magnitude.
* Per can: all cans alike, the bank's rms voltage, and the rms current of those that stay connected
  over their number.
* Flux: flux linkage of the primary over its turns and the core's area. Where the core's path is
  not given, the core is linear and so is the figure: beyond saturation it says "saturates", not
  how far.
* Drift of the flux: middle between its extremes in a cycle, the DC that walked in; its size.
* Supply current: average out of the source.
"""

import numpy as np

from simkit.measure.periodic import (
    Cycle,
    cycle_averages,
    cycle_middles,
    cycle_peaks,
    middles,
    with_rest,
)
from simkit.measure.series import Series
from simkit.measure.waveforms import Array, Waves


def machine_series(
    waves: Waves, cycles: tuple[Cycle, ...], end: float | None = None
) -> list[Series]:
    """Quantities of tank, transformer and supply, a value per cycle; peaks up to an end [s]."""
    spans = cycles if end is None else with_rest(cycles, end)
    rows = [(*row, spans) for row in _peaks(waves, spans)]
    rows += [(*row, cycles) for row in _means(waves, cycles)]
    return [
        Series(part, name, unit, middles(over), found) for part, name, unit, found, over in rows
    ]


def _peaks(waves: Waves, spans: tuple[Cycle, ...]) -> list[tuple[str, str, str, Array]]:
    flux = cycle_peaks(waves, waves.linkage, spans) * _per_weber(waves)
    magnetising = cycle_peaks(waves, waves.magnetising_current, spans)
    return [
        ("tank", "bank_voltage_peak", "V", cycle_peaks(waves, waves.bank_voltage, spans)),
        ("coil", "coil_current_peak", "A", cycle_peaks(waves, waves.coil_current, spans)),
        ("matching transformer", "flux_peak", "T", flux),
        ("matching transformer", "magnetising_current_peak", "A", magnetising),
        ("bridge", "primary_current_peak", "A", cycle_peaks(waves, waves.primary_current, spans)),
    ]


def _means(waves: Waves, cycles: tuple[Cycle, ...]) -> list[tuple[str, str, str, Array]]:
    voltage = np.sqrt(cycle_averages(waves, waves.bank_voltage**2, cycles))
    # Of a can that stays: once others have opened, it carries more than before and they nothing.
    current = np.sqrt(cycle_averages(waves, waves.left_current**2, cycles))
    drift = np.abs(cycle_middles(waves, waves.linkage, cycles)) * _per_weber(waves)
    return [
        ("tank capacitor", "can_voltage_rms", "V", voltage),
        ("tank capacitor", "can_current_rms", "A", current / waves.cans_left),
        ("matching transformer", "flux_drift", "T", drift),
        ("supply", "supply_current", "A", cycle_averages(waves, waves.supply_current, cycles)),
    ]


def _per_weber(waves: Waves) -> float:
    """Flux density over linkage [T/Wb]."""
    return 1.0 / (waves.machine.transformer.primary_turns * waves.machine.transformer.core_area)
