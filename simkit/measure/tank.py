"""Tank, transformer and supply, per cycle.

* Bank voltage and coil current: largest magnitude.
* Per can: all cans alike, the bank's rms voltage and its rms current over the number of cans.
* Flux: flux linkage of the primary over its turns and the core's area. Where the core's path is
  not given, the core is linear and so is the figure: beyond saturation it says "saturates", not
  how far.
* Drift of the flux: middle between its extremes in a cycle, the DC that walked in; its size.
* Supply current: average out of the source.
"""

import numpy as np

from simkit.measure.periodic import Cycle, cycle_averages, cycle_middles, cycle_peaks
from simkit.measure.series import Series
from simkit.measure.waveforms import Waves


def machine_series(waves: Waves, cycles: tuple[Cycle, ...]) -> list[Series]:
    """Quantities of tank, transformer and supply, a value per cycle."""
    tank, transformer = waves.machine.tank, waves.machine.transformer
    middle = np.array([0.5 * (c.start + c.end) for c in cycles])
    voltage = np.sqrt(cycle_averages(waves, waves.bank_voltage**2, cycles))
    current = np.sqrt(cycle_averages(waves, waves.bank_current**2, cycles)) / tank.cans
    per_weber = 1.0 / (transformer.primary_turns * transformer.core_area)
    flux = cycle_peaks(waves, waves.linkage, cycles) * per_weber
    drift = np.abs(cycle_middles(waves, waves.linkage, cycles)) * per_weber
    magnetising = cycle_peaks(waves, waves.magnetising_current, cycles)
    rows = [
        ("tank", "bank_voltage_peak", "V", cycle_peaks(waves, waves.bank_voltage, cycles)),
        ("coil", "coil_current_peak", "A", cycle_peaks(waves, waves.coil_current, cycles)),
        ("tank capacitor", "can_voltage_rms", "V", voltage),
        ("tank capacitor", "can_current_rms", "A", current),
        ("matching transformer", "flux_peak", "T", flux),
        ("matching transformer", "flux_drift", "T", drift),
        ("matching transformer", "magnetising_current_peak", "A", magnetising),
        ("bridge", "primary_current_peak", "A", cycle_peaks(waves, waves.primary_current, cycles)),
        ("supply", "supply_current", "A", cycle_averages(waves, waves.supply_current, cycles)),
    ]
    return [Series(part, name, unit, middle, values) for part, name, unit, values in rows]
