"""What the parts around the switches bear: currents, voltages and heat over some whole cycles.

* Currents of capacitors flow through their series resistances; rms over the span, its mean left out
  where the part blocks direct current.
* Voltages are the largest magnitudes, DC and AC together.
* Avalanche: energy into a switch whose chip stands at its breakdown voltage, largest cycle.
"""

import numpy as np

from simkit.measure.energy import snubber_places
from simkit.measure.periodic import Cycle
from simkit.measure.waveforms import Array, Waves, integral, rms

CLAMPED = 0.985
"""Share of the breakdown voltage from which a chip counts as clamping [1]."""


def steady_loads(waves: Waves, span: Cycle) -> dict[str, float]:
    """What heats: rms currents [A], powers [W], by quantity."""
    part = waves.between(span.start, span.end)
    supply = part.machine.supply
    out = {
        "film_current_rms": _alternating(part, part.across("cf1", "cf2", supply.film.esr)),
        "link_current_rms": _alternating(part, part.across("cl1", "cl2", supply.link.esr)),
        "primary_current_rms": rms(part.time, part.primary_current),
        "secondary_current_rms": rms(part.time, part.load_current),
        "coil_current_rms": rms(part.time, part.coil_current),
        "can_current_rms": rms(part.time, part.left_current) / part.cans_left,
    }
    bridge = part.machine.bridge
    if part.machine.transformer.blocking_capacitance is not None:
        out["blocking_current_rms"] = out["primary_current_rms"]
    if bridge.split_esr is not None:
        halves = (
            part.across("sh", "b", bridge.split_esr),
            part.across("b", "sl", bridge.split_esr),
        )
        out["split_current_rms"] = max(_alternating(part, one) for one in halves)
    if part.machine.tank.matching is not None:
        out["matching_current_rms"] = out["secondary_current_rms"]
    if bridge.snubber is not None:
        drops = (part.node(a) - part.node(b) for a, b, _ in snubber_places(part))
        out["snubber_power"] = max(
            rms(part.time, drop) ** 2 / bridge.snubber.resistance for drop in drops
        )
    return out


def peak_loads(waves: Waves, span: Cycle) -> dict[str, float]:
    """What punctures: largest voltages [V], by quantity."""
    part = waves.between(span.start, span.end)
    out = {
        "film_voltage_peak": _peak(part.node("film")),
        "link_voltage_peak": _peak(part.node("link")),
    }
    bridge, transformer = part.machine.bridge, part.machine.transformer
    if transformer.blocking_capacitance is not None:
        out["blocking_voltage_peak"] = _peak(part.node("a") - part.node("pa"))
        slope = _peak(part.primary_current) / transformer.blocking_capacitance
        out["blocking_dv_dt"] = slope
    if bridge.split_capacitance is not None:
        halves = part.node("p") - part.node("sh"), part.node("sl")
        out["split_voltage_peak"] = max(_peak(one) for one in halves)
    if bridge.snubber is not None:
        out["snubber_voltage_peak"] = max(
            _peak(part.node(b) - part.node(c)) for _, b, c in snubber_places(part)
        )
    return out


def blocking_offset(waves: Waves, span: Cycle) -> float:
    """By how much the blocking capacitor's voltage lies to one side [V]: half of highest and lowest
    together; nothing without one."""
    if waves.machine.transformer.blocking_capacitance is None:
        return 0.0
    part = waves.between(span.start, span.end)
    across = part.node("a") - part.node("pa")
    return 0.5 * abs(float(across.max() + across.min()))


def avalanche_energy(waves: Waves, cycles: tuple[Cycle, ...]) -> float:
    """Largest energy that a chip takes at its breakdown voltage within a cycle [J]."""
    bound = CLAMPED * waves.machine.switch.channel.breakdown_voltage
    largest = 0.0
    for switch in waves.switches:
        clamped = switch.drain_source >= bound
        if not clamped.any():
            continue
        power = np.where(clamped, switch.drain_source * np.maximum(switch.drain_current, 0.0), 0.0)
        for c in cycles:
            inside = (waves.time >= c.start) & (waves.time <= c.end)
            if inside.sum() > 1:
                largest = max(largest, integral(waves.time[inside], power[inside]))
    return largest


def _alternating(part: Waves, current: Array) -> float:
    mean = integral(part.time, current) / float(part.time[-1] - part.time[0])
    return rms(part.time, current - mean)


def _peak(values: Array) -> float:
    return float(np.abs(values).max())
