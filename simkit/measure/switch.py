"""Stress and loss of the switches, per cycle.

* Drain voltage: largest drain-source voltage at the chip.
* Channel current, diode current: largest forward current.
* Gate voltage: largest magnitude at the chip.
* RMS current: of the drain lead.
* Loss: average of lead voltage times drain current over a whole cycle; what the output
  capacitance stores and returns within the cycle cancels.
"""

import numpy as np

from simkit.measure.periodic import Cycle, cycle_averages, cycle_peaks
from simkit.measure.series import Series
from simkit.measure.waveforms import Array, SwitchWaves, Waves


def switch_series(waves: Waves, cycles: tuple[Cycle, ...]) -> list[Series]:
    """Every quantity of every switch, a value per cycle."""
    middle = np.array([0.5 * (c.start + c.end) for c in cycles])
    out = []
    for switch in waves.switches:
        for quantity, unit, values in _of_one(waves, switch, cycles):
            out.append(Series(f"Q{switch.number}", quantity, unit, middle, values))
    return out


def _of_one(
    waves: Waves, switch: SwitchWaves, cycles: tuple[Cycle, ...]
) -> list[tuple[str, str, Array]]:
    def largest(values: Array) -> Array:
        return cycle_peaks(waves, values, cycles)

    def mean(values: Array) -> Array:
        return cycle_averages(waves, values, cycles)

    return [
        ("drain_voltage_peak", "V", largest(np.maximum(switch.drain_source, 0.0))),
        ("channel_current_peak", "A", largest(np.maximum(switch.channel_current, 0.0))),
        ("diode_current_peak", "A", largest(np.maximum(switch.diode_current, 0.0))),
        ("gate_voltage_peak", "V", largest(switch.gate_source)),
        ("drain_current_rms", "A", np.sqrt(mean(switch.drain_current**2))),
        ("loss", "W", mean(switch.lead_voltage * switch.drain_current)),
    ]
