"""Tank, transformer and supply, per cycle.

* Bank voltage and coil current: largest magnitude.
* Per can: all cans alike, the bank's rms voltage and its rms current over the number of cans.
* Flux: magnetising inductance times magnetising current over primary turns and core area; linear,
  so a figure beyond saturation says "saturates", not how far.
* Supply current: average out of the source.
"""

import numpy as np

from simkit.measure.periodic import Cycle, cycle_averages, cycle_peaks
from simkit.measure.series import Series
from simkit.measure.waveforms import Waves


def machine_series(waves: Waves, cycles: tuple[Cycle, ...]) -> list[Series]:
    """Quantities of tank, transformer and supply, a value per cycle."""
    tank, transformer = waves.machine.tank, waves.machine.transformer
    middle = np.array([0.5 * (c.start + c.end) for c in cycles])
    voltage = np.sqrt(cycle_averages(waves, waves.bank_voltage**2, cycles))
    current = np.sqrt(cycle_averages(waves, waves.bank_current**2, cycles)) / tank.cans
    per_ampere = transformer.magnetising_inductance / (
        transformer.primary_turns * transformer.core_area
    )
    flux = cycle_peaks(waves, waves.magnetising_current, cycles) * per_ampere
    rows = [
        ("tank", "bank_voltage_peak", "V", cycle_peaks(waves, waves.bank_voltage, cycles)),
        ("coil", "coil_current_peak", "A", cycle_peaks(waves, waves.coil_current, cycles)),
        ("tank capacitor", "can_voltage_rms", "V", voltage),
        ("tank capacitor", "can_current_rms", "A", current),
        ("matching transformer", "flux_peak", "T", flux),
        ("bridge", "primary_current_peak", "A", cycle_peaks(waves, waves.primary_current, cycles)),
        ("supply", "supply_current", "A", cycle_averages(waves, waves.supply_current, cycles)),
    ]
    return [Series(part, name, unit, middle, values) for part, name, unit, values in rows]
