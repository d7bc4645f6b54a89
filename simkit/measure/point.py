"""Operating point: what the instruments show, averaged over some whole cycles.

Phase: angle by which the primary current's fundamental lags the bridge voltage's. Loaded Q:
2 pi f0 L / R at the coil. Supply current and input power are taken at the bridge's rails, so
that the slow charging of the link capacitor is not in them.
"""

from dataclasses import dataclass

import numpy as np

from simkit.measure.commutation import Mode, Transition, most_common
from simkit.measure.periodic import Cycle, cycle_average, distortion, phase_lag
from simkit.measure.waveforms import Waves, rms


@dataclass(frozen=True)
class OperatingPoint:
    """State of the machine over a few cycles."""

    frequency_hz: float
    resonant_frequency_hz: float
    phase_deg: float
    """Current behind voltage positive."""
    supply_voltage_v: float
    supply_current_a: float
    """Average into the bridge's rails."""
    input_power_w: float
    workpiece_power_w: float
    """Coil copper included: what R takes."""
    bridge_loss_w: float
    tank_voltage_peak_v: float
    tank_current_peak_a: float
    coil_current_rms_a: float
    primary_current_peak_a: float
    primary_current_rms_a: float
    turn_off_current_a: float
    primary_distortion: float
    """Harmonics 2 to 15 over the fundamental [1]."""
    loaded_q: float
    mode: Mode


def operating_point(
    waves: Waves, cycles: tuple[Cycle, ...], found: tuple[Transition, ...]
) -> OperatingPoint:
    """Operating point over some neighbouring cycles."""
    span = Cycle(cycles[0].start, cycles[-1].end)
    part = waves.between(span.start, span.end)
    frequency = len(cycles) / span.length
    inside = [t for t in found if span.start <= t.time <= span.end]
    turn_off = float(np.mean([t.turn_off_current for t in inside])) if inside else float("nan")
    peak = float(np.abs(part.primary_current).max())
    inductance = float(part.coil_inductance.mean())
    resistance = float(part.coil_resistance.mean())
    resonant = waves.machine.resonance(inductance)
    loss = [cycle_average(waves, s.lead_voltage * s.drain_current, span) for s in waves.switches]
    into_bridge = sum(waves.switches[k].drain_current for k in range(0, len(waves.switches), 2))
    return OperatingPoint(
        frequency_hz=frequency,
        resonant_frequency_hz=resonant,
        phase_deg=phase_lag(waves, span, frequency),
        supply_voltage_v=cycle_average(waves, waves.node("link"), span),
        supply_current_a=cycle_average(waves, np.asarray(into_bridge), span),
        input_power_w=cycle_average(waves, waves.link_voltage * np.asarray(into_bridge), span),
        workpiece_power_w=cycle_average(waves, waves.coil_current**2 * waves.coil_resistance, span),
        bridge_loss_w=float(sum(loss)),
        tank_voltage_peak_v=float(np.abs(part.coil_voltage).max()),
        tank_current_peak_a=float(np.abs(part.coil_current).max()),
        coil_current_rms_a=rms(part.time, part.coil_current),
        primary_current_peak_a=peak,
        primary_current_rms_a=rms(part.time, part.primary_current),
        turn_off_current_a=turn_off,
        primary_distortion=distortion(part.time, part.primary_current, frequency),
        loaded_q=float(2.0 * np.pi * resonant * inductance / resistance),
        mode=most_common(inside),
    )
