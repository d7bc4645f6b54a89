"""The IGBT as a channel that feeds one stored charge: its laws as plain functions.

The channel's current is the base current of a bipolar transistor of low gain. Charge control of
the base: dQ/dt = I_mos - Q/tau, and I_bip = Q/T, with T the time in which holes cross the base.
The width that is left of the base falls with the collector voltage by the depletion law of an
abrupt junction, W = W_B (1 - sqrt(V/V_r)), and T goes as W^2. In steady conduction Q = tau I_mos,
so that I_C = I_mos (1 + tau/T); when the channel is cut off, I_C falls by the channel's share at
once and leaves Q/T(V), which decays with tau.

Source: charge control with a moving base width as in A. R. Hefner and D. L. Blackburn, "An
analytical model for the steady-state and transient characteristics of the power insulated-gate
bipolar transistor", Solid-State Electronics 31(10), 1988, and the charge-control class in K. Sheng,
B. W. Williams, S. J. Finney, "A review of IGBT models", IEEE Trans. Power Electronics 15(6), 2000;
both recalled from memory, without equation numbers. Range: currents up to the pulsed rating,
collector voltages below 0.64 V_r; redistribution of carriers within the base, which a second charge
would show as a lag of conduction after turn-on, is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log1p

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.switch import Bipolar, Channel, Switch
from simkit.parts.mosfet import (
    channel_resistance,
    drain_source_capacitance,
    gate_drain_capacitance,
    linear_resistance,
)

Array = NDArray[np.float64]
THERMAL_VOLTAGE = 0.025864922
"""k T / q at 300.15 K, the engine's default temperature [V]."""
SMOOTH = 1e-3
"""Added under the root of the base width, so that its slope at 0 V is finite [1]."""
DEEPEST = 0.64
"""Share of V_r up to which the base narrows [1]: a fifth of its width is left then."""


KNEE_SERIES = 1e-3
"""Resistance of the series junction in netlists/switch.cir.j2, in which all current flows [ohm]."""
FEED_SENSE = 5e-3
"""Resistor there in which the channel's current is read [ohm]."""


def knee_saturation(bipolar: Bipolar) -> float:
    """Saturation current of the series junction [A], from its one given point.

    Source: Shockley's law at the engine's temperature. Exact.
    """
    exponent = bipolar.knee_voltage / (bipolar.emission * THERMAL_VOLTAGE)
    return bipolar.knee_current / (exp(exponent) - 1.0)


def knee_drop(bipolar: Bipolar, current: float) -> float:
    """Drop of the series junction at a collector current [A], in [V]. Source: as `knee_saturation`,
    with its millohm.

    Range: current above nought.
    """
    junction = bipolar.emission * THERMAL_VOLTAGE * log1p(current / knee_saturation(bipolar))
    return junction + KNEE_SERIES * current


def base_share(bipolar: Bipolar, voltage: Array | float) -> Array:
    """Square of the base width that a collector voltage [V] leaves, over that at nought [1].

    (1 - sqrt(x + s) + sqrt(s))^2, x = V/V_r up to 0.64, s = 0.001. Source: module heading.
    Range: up to 0.64 V_r; held beyond.
    """
    x = np.clip(np.asarray(voltage, dtype=np.float64) / bipolar.reach_voltage, 0.0, DEEPEST)
    width: Array = 1.0 - np.sqrt(x + SMOOTH) + SMOOTH**0.5
    return width * width


def gain(bipolar: Bipolar, voltage: float) -> float:
    """Bipolar over channel current in steady conduction at a collector voltage [V]: tau/T [1].

    Source: charge control with dQ/dt = 0. Exact for the circuit's model.
    """
    return float(bipolar.lifetime / (bipolar.transit_time * base_share(bipolar, voltage)))


def saturation_voltage(
    channel: Channel, bipolar: Bipolar, gate_voltage: float, current: float
) -> float:
    """V_CE(sat) at a gate voltage [V] and a collector current [A], in [V].

    Knee and channel in series, the channel carrying I/(1 + gain): solved by repetition, since the
    gain follows the voltage. Errors: ValueError when the channel cannot carry its share. Source:
    module heading. Exact for the circuit's model.
    """
    voltage = 2.0
    for _ in range(20):
        fed = current / (1.0 + gain(bipolar, voltage))
        inner = channel_resistance(channel, gate_voltage, fed)
        ohms = channel.drain_resistance + FEED_SENSE + inner
        voltage = knee_drop(bipolar, current) + fed * ohms
    return voltage


def conducting_resistance(switch: Switch, gate_voltage: float) -> float:
    """Voltage over current of a switch that is on, for models that know resistors alone [ohm].

    R_DS(on) of a MOSFET; of an IGBT V_CE(sat) over half of its rated current, at that current: its
    knee makes it more below and less above. On a gate too weak for that current, half of what it
    can carry. Parameters: gate_voltage [V]. Errors: ValueError when it does not turn the switch on.
    Source: as `mosfet.linear_resistance`, `saturation_voltage`. Range: about that current.
    """
    ohms = linear_resistance(switch.channel, gate_voltage)  # its errors are an IGBT's too
    if switch.bipolar is None:
        return ohms
    drive = gate_voltage - switch.channel.threshold
    most = 0.5 * switch.channel.transconductance * drive**2 * (1.0 + gain(switch.bipolar, 0.0))
    current = 0.5 * min(switch.ratings.drain_current, most)
    return saturation_voltage(switch.channel, switch.bipolar, gate_voltage, current) / current


def tail_share(bipolar: Bipolar, voltage: float) -> float:
    """Share of the collector current that is left when the channel is cut off at a collector
    voltage [V], having conducted in saturation [1].

    tau/T(V)/(1 + tau/T(0)): Q stays, T falls with the voltage. Source: module heading. Range:
    turn-offs much quicker than the lifetime.
    """
    return gain(bipolar, voltage) / (1.0 + gain(bipolar, 0.0))


def tail_energy(bipolar: Bipolar, voltage: float, current: float) -> float:
    """Energy of the tail into a clamp at a voltage [V] after a current [A]: s I V tau [J].

    Source: integral of the decay. Range: as `tail_share`, and a tail that is left to its end.
    """
    return tail_share(bipolar, voltage) * current * voltage * bipolar.lifetime


def snubbed_tail_energy(
    bipolar: Bipolar, link: float, current: float, capacitance: float, steps: int = 2000
) -> float:
    """Energy of the tail where a capacitor [F] across the switch takes over a current [A], up to
    the link voltage [V], in [J].

    Integral of V(t) Q(t)/T(V), Q decaying with tau, C dV/dt = I - Q/T(V), V no higher than the
    link. Source: charge control of the module heading with Kirchhoff's law at the collector.
    Range: a channel cut off much sooner than the voltage rises.
    """
    tau, base = bipolar.lifetime, bipolar.transit_time
    rise = capacitance * link / current
    times = np.linspace(0.0, rise + 8.0 * tau, steps + 1)
    step = float(times[1])
    charge = current * tau / (1.0 + gain(bipolar, 0.0))
    voltage, energy, before = 0.0, 0.0, 0.0
    for time in times:
        flow = charge * exp(-time / tau) / (base * float(base_share(bipolar, voltage)))
        energy += 0.5 * step * (voltage * flow + before)
        before = voltage * flow
        voltage = min(max(voltage + step * (current - flow) / capacitance, 0.0), link)
    return energy


def transit_time_for(lifetime: float, share: float, narrowed: float) -> float:
    """T_0 [s] for which a share [1] of the current is left as tail, at a voltage that leaves a
    share `narrowed` of the base's squared width [1] (`base_share`); lifetime tau [s].

    s = b/(f (1 + b)) with b = tau/T_0 gives b = s f/(1 - s f). Errors: ValueError when s f >= 1.
    Source: `tail_share` solved for T_0. Exact.
    """
    fed = share * narrowed
    if not 0.0 < fed < 1.0:
        raise ValueError(f"a tail of {100.0 * share:.3g} % of the current cannot be")
    return lifetime * (1.0 - fed) / fed


@dataclass(frozen=True)
class Clamped:
    """A clamped inductive turn-off.

    Fields
    ------
    current : turned off [A]
    link : clamp's voltage [V]
    gate_off : driver's [V]
    gate_resistance : of the whole loop [ohm]
    loop_inductance : of the power loop, leads included [H]
    common_inductance : of the emitter lead that the gate loop shares [H]
    """

    current: float
    link: float
    gate_off: float
    gate_resistance: float
    loop_inductance: float
    common_inductance: float


RISE_STEPS, FALL_STEPS = 200, 200
"""Steps of the two stretches of a clamped turn-off [1]."""


def clamped_turn_off_energy(channel: Channel, bipolar: Bipolar, test: Clamped) -> float:
    """E_off into a clamp, until the tail is gone [J].

    While the voltage rises the channel carries what charge and output capacitance leave of I, and
    its gate stands where it does: dV/dt = (V_g - V_off)/(R C_gd(V)), V_g = V_t + sqrt(2 I_mos/K).
    At the clamp the gate falls through R (C_gs + C_gd) + g_m L_e, since the falling current lifts
    the shared emitter lead, and the channel's share with it; the charge goes on. What the loop's
    inductance holds of the current that falls at once is lost too.

    Source: the switching of MOSFETs and IGBTs in N. Mohan, T. Undeland, W. Robbins, Power
    Electronics (recalled from memory), with the capacitances and the charge of this package's own
    laws. Range: the virtual test circuit returns it within a few per cent.
    """
    charge = test.current * bipolar.lifetime / (1.0 + gain(bipolar, 2.0))
    gate, energy = channel.threshold, 0.0
    step = test.link / RISE_STEPS
    for k in range(RISE_STEPS):
        volts = (k + 0.5) * step
        flow = charge / (bipolar.transit_time * float(base_share(bipolar, volts)))
        slope, gate = _rise(channel, test, max(test.current - flow, 0.0), volts)
        time = step / slope
        fed = 0.5 * channel.transconductance * (gate - channel.threshold) ** 2
        charge += (fed - charge / bipolar.lifetime) * time
        energy += test.current * volts * time
    return energy + _fall(channel, bipolar, test, gate, charge)


def _rise(channel: Channel, test: Clamped, left: float, volts: float) -> tuple[float, float]:
    """dV/dt [V/s] and gate voltage [V] where the charge leaves a current [A] to the rest."""
    output = float(drain_source_capacitance(channel, volts))
    k, threshold = channel.transconductance, channel.threshold
    gate = threshold + (2.0 * left / k) ** 0.5
    drain_gate = float(gate_drain_capacitance(channel, gate - volts))
    slope = left / max(output + drain_gate, 1e-15)
    low, high = 0.0, slope
    for _ in range(
        40
    ):  # the more the capacitances take, the lower the gate and the slower the rise
        slope = 0.5 * (low + high)
        fed = max(left - (output + drain_gate) * slope, 0.0)
        gate = threshold + (2.0 * fed / k) ** 0.5
        faster = (gate - test.gate_off) / (test.gate_resistance * drain_gate) > slope
        low, high = (slope, high) if faster else (low, slope)
    return slope, gate


def _fall(channel: Channel, bipolar: Bipolar, test: Clamped, gate: float, charge: float) -> float:
    """Energy from the moment that the clamp takes over, the gate at a voltage [V], in [J]."""
    inputs = channel.gate_source_capacitance + channel.gate_drain_capacitance_min
    lowered = max(gate - channel.threshold, 0.0) / FALL_STEPS
    per_charge = 1.0 / (bipolar.transit_time * float(base_share(bipolar, test.link)))
    energy = 0.0
    for k in range(FALL_STEPS):
        over = lowered * (FALL_STEPS - k - 0.5)
        steepness = channel.transconductance * over
        constant = test.gate_resistance * inputs + steepness * test.common_inductance
        step = lowered * constant / (channel.threshold + over - test.gate_off)
        fed = 0.5 * steepness * over
        energy += test.link * (fed + charge * per_charge) * step
        charge += (fed - charge / bipolar.lifetime) * step
    tail = charge * per_charge
    dropped = max(test.current - tail, 0.0)
    inductive = 0.5 * test.loop_inductance * dropped * dropped
    return energy + inductive + test.link * tail * bipolar.lifetime
