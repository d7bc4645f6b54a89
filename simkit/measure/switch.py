"""Stress and loss of the switches, per cycle.

* Drain voltage: largest drain-source voltage at the chip.
* Channel current, diode current: largest forward current.
* Gate voltage: largest magnitude at the chip.
* RMS current: of the drain lead.
* Loss: average of lead voltage times drain current over a whole cycle; what the output
  capacitance stores and returns within the cycle cancels.
"""

import numpy as np

from simkit.measure.periodic import Cycle, cycle_averages, cycle_peaks, middles, with_rest
from simkit.measure.series import Series
from simkit.measure.waveforms import Array, SwitchWaves, Waves


def switch_series(
    waves: Waves, cycles: tuple[Cycle, ...], end: float | None = None
) -> list[Series]:
    """Every quantity of every switch, a value per cycle; peaks up to an end after the last [s]."""
    spans = cycles if end is None else with_rest(cycles, end)
    out = []
    for switch in waves.switches:
        rows = [(*row, spans) for row in _peaks(waves, switch, spans)]
        rows += [(*row, cycles) for row in _means(waves, switch, cycles)]
        for quantity, unit, values, over in rows:
            out.append(Series(f"Q{switch.number}", quantity, unit, middles(over), values))
    return out


def _peaks(
    waves: Waves, switch: SwitchWaves, spans: tuple[Cycle, ...]
) -> list[tuple[str, str, Array]]:
    def largest(values: Array) -> Array:
        return cycle_peaks(waves, values, spans)

    return [
        ("drain_voltage_peak", "V", largest(np.maximum(switch.drain_source, 0.0))),
        ("channel_current_peak", "A", largest(np.maximum(switch.channel_current, 0.0))),
        ("diode_current_peak", "A", largest(np.maximum(switch.diode_current, 0.0))),
        ("gate_voltage_peak", "V", largest(switch.gate_source)),
    ]


def _means(
    waves: Waves, switch: SwitchWaves, cycles: tuple[Cycle, ...]
) -> list[tuple[str, str, Array]]:
    current = cycle_averages(waves, switch.drain_current**2, cycles)
    loss = cycle_averages(waves, switch.lead_voltage * switch.drain_current, cycles)
    return [("drain_current_rms", "A", np.sqrt(current)), ("loss", "W", loss)]
