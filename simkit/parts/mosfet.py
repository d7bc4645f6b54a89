"""VDMOS equations of the engine as plain functions, for fits and for checks of the engine.

Source: ngspice user's manual, chapter "Power MOSFET model (VDMOS)" (ngspice 39), and the
engine's own source, src/spicelib/devices/vdmos and DevCapVDMOS in devsup.c, both read for the
equations; tests/engine/test_part_mosfet.py compares each with the running engine.

Range of validity: gate and drain positive, quasi-static, one temperature. The channel follows a
square law; a real part's current rises more slowly far above threshold. C_gd falls monotonically
with drain voltage and C_ds follows one junction law: the step of a superjunction part's C_oss
and its rising C_rss at high voltage are outside it.
"""

from __future__ import annotations

from math import exp, log1p, sqrt

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.switch import Channel

Array = NDArray[np.float64]

SUBTHRESHOLD = 0.1
"""KSUBTHRES, the engine's default slope of the current below threshold [V]."""


def overdrive(gate_voltage: float, threshold: float) -> float:
    """Effective gate overdrive, K ln(1 + exp((V_GS - V_TO)/K)) with K = 0.1 V [V].

    Parameters: gate_voltage V_GS [V], threshold V_TO [V]. Source: ngspice VDMOS, KSUBTHRES.
    Exact for the engine's model.
    """
    ratio = (gate_voltage - threshold) / SUBTHRESHOLD
    return SUBTHRESHOLD * (ratio + log1p(exp(-ratio)) if ratio > 0 else log1p(exp(ratio)))


def saturation_current(channel: Channel, gate_voltage: float) -> float:
    """Drain current in saturation, KP v^2 / 2, v the effective overdrive [A].

    Parameters: gate_voltage V_GS [V]. Source: ngspice VDMOS. Valid for V_DS at the channel > v.
    """
    return 0.5 * channel.transconductance * overdrive(gate_voltage, channel.threshold) ** 2


def gate_voltage_for(channel: Channel, current: float) -> float:
    """Gate voltage at which the saturated channel carries a current [V].

    V_GS = V_TO + K ln(exp(v/K) - 1), v = sqrt(2 I/KP): the inverse of `saturation_current`.

    Parameters: current I [A]. Source: that law. Exact for the engine's model.
    """
    drive = sqrt(2.0 * current / channel.transconductance) / SUBTHRESHOLD
    below = np.log(-np.expm1(-drive))
    return float(channel.threshold + SUBTHRESHOLD * (drive + below))


def transconductance(channel: Channel, current: float) -> float:
    """Slope dI_D/dV_GS in saturation, sqrt(2 KP I) [S], threshold smoothing left out.

    Parameters: current I [A]. Valid well above threshold (overdrive over 0.5 V: within 1
    %). Source: derivative of the square law.
    """
    return sqrt(2.0 * channel.transconductance * current)


def channel_resistance(channel: Channel, gate_voltage: float, current: float) -> float:
    """Voltage over current of the channel in its linear region, drift region left out [ohm].

    From I = KP V (v - V/2): V = v - sqrt(v^2 - 2 I/KP), written so that small V keeps its digits.

    Parameters: gate_voltage V_GS [V], current I [A]. Errors: ValueError when the channel
    saturates below the current. Source: ngspice VDMOS, linear region. Exact for the
    engine's model.
    """
    drive = overdrive(gate_voltage, channel.threshold)
    rest = drive**2 - 2.0 * current / channel.transconductance
    if rest <= 0.0:
        raise ValueError(f"the channel cannot carry {current:g} A at a gate of {gate_voltage:g} V")
    return 2.0 / channel.transconductance / (drive + sqrt(rest))


def on_resistance(channel: Channel, gate_voltage: float, current: float) -> float:
    """R_DS(on), channel and drift region in series [ohm]. Parameters as `channel_resistance`.

    Source: resistances in series. Range as for `channel_resistance`.
    """
    return channel.drain_resistance + channel_resistance(channel, gate_voltage, current)


def linear_resistance(channel: Channel, gate_voltage: float) -> float:
    """R_DS(on) at small drain voltage, R_d + 1/(KP (V_GS - V_TO)) [ohm].

    Parameters: gate_voltage V_GS [V]. Errors: ValueError when it does not turn the channel on.
    Source: slope of the square law at the origin. Valid for V_DS far below V_GS - V_TO, threshold
    smoothing left out.
    """
    drive = gate_voltage - channel.threshold
    if drive <= 0.0:
        raise ValueError(f"gate voltage {gate_voltage!r} V is below the threshold")
    return channel.drain_resistance + 1.0 / (channel.transconductance * drive)


def gate_drain_capacitance(channel: Channel, gate_drain_voltage: Array | float) -> Array:
    """C_gd at a gate-drain voltage [F].

    s tanh(A v) + y above 0 V, s arctan(A v) + y below, with s = (Cmax - Cmin)/(1 + pi/2) and
    y = Cmax - s: Cmax far above, Cmin far below.

    Parameters: gate_drain_voltage v [V]. Source: ngspice VDMOS, CGDMAX, CGDMIN, A. Exact
    for the engine's model.
    """
    v = channel.gate_drain_slope * np.asarray(gate_drain_voltage, dtype=np.float64)
    low, high = channel.gate_drain_capacitance_min, channel.gate_drain_capacitance_max
    s = (high - low) / (1.0 + 0.5 * np.pi)
    shape: Array = np.where(v > 0, np.tanh(v), np.arctan(v))
    return s * shape + (high - s)


def gate_drain_charge(channel: Channel, begin: float, end: float) -> float:
    """Charge into C_gd between two gate-drain voltages [C].

    Integrals of `gate_drain_capacitance`: s ln cosh(A v)/A + y v above 0 V,
    s (v arctan(A v) - ln(1 + A^2 v^2)/(2A)) + y v below.

    Parameters: begin, end [V]. Source: integral by hand. Exact for the engine's model.
    """
    return _charge_from_zero(channel, end) - _charge_from_zero(channel, begin)


def _charge_from_zero(channel: Channel, voltage: float) -> float:
    slope = channel.gate_drain_slope
    low, high = channel.gate_drain_capacitance_min, channel.gate_drain_capacitance_max
    s = (high - low) / (1.0 + 0.5 * np.pi)
    x = slope * voltage
    if x > 0:
        shape = x + log1p(exp(-2.0 * x)) - np.log(2.0)
    else:
        shape = x * np.arctan(x) - 0.5 * log1p(x * x)
    return float(s * shape / slope + (high - s) * voltage)


def drain_source_capacitance(channel: Channel, drain_voltage: Array | float) -> Array:
    """C_ds, CJO / (1 + V_DS/VJ)^M [F].

    Parameters: drain_voltage V_DS >= 0 [V]. Source: ngspice VDMOS (junction law of the body
    diode, CJO, VJ, M). Range: V_DS from 0 to breakdown.
    """
    ratio = 1.0 + np.asarray(drain_voltage, dtype=np.float64) / channel.junction_potential
    law: Array = channel.output_capacitance_zero * ratio**-channel.junction_grading
    return law


def capacitances(channel: Channel, drain_voltage: float) -> dict[str, float]:
    """C_iss ("input"), C_oss ("output"), C_rss ("reverse") at a drain voltage, V_GS = 0 [F].

    C_iss = C_gs + C_gd, C_oss = C_ds + C_gd, C_rss = C_gd (IEC 60747-8, clause 6.3.10 to
    6.3.12: common-source short-circuit capacitances; contents list read, not the clauses).
    Source: that standard. Range as for `drain_source_capacitance`.
    """
    reverse = float(gate_drain_capacitance(channel, -drain_voltage))
    return {
        "input": channel.gate_source_capacitance + reverse,
        "output": float(drain_source_capacitance(channel, drain_voltage)) + reverse,
        "reverse": reverse,
    }


def carried(channel: Channel, gate_voltage: float, current: float) -> float:
    """A current, or where a gate is too weak for it nine tenths of what the channel carries [A].

    Parameters: gate_voltage V_GS [V], current [A]. Source: saturation of the square law. Exact for
    the engine's model.
    """
    drive = overdrive(gate_voltage, channel.threshold)
    return float(min(current, 0.9 * 0.5 * channel.transconductance * drive**2))


def gate_charges(
    channel: Channel, supply: float, current: float, gate_voltage: float
) -> dict[str, float]:
    """Q_gs, Q_gd, Q_g [C] and plateau [V] of the gate-charge test.

    The gate rises through C_gs and C_gd at V_DD up to the plateau (Q_gs); Q_g is counted at
    `gate_voltage`; Q_gd ends where the last straight rise, extended back, meets the plateau
    (two-tangent construction, common practice with printed gate-charge curves, no source).
    C_gd ends inside the drift region, so that only the channel's own drop counts at the end.

    Parameters: supply V_DD [V], current I_D [A], gate_voltage [V]. Source: charges of
    the laws above. Range: constant drain current, V_DD above V_GS.
    """
    plateau = gate_voltage_for(channel, current)
    source = channel.gate_source_capacitance
    inside = supply - current * channel.drain_resistance
    first = source * plateau + gate_drain_charge(channel, -supply, plateau - inside)
    end = gate_voltage - current * channel_resistance(channel, gate_voltage, current)
    total = source * gate_voltage + gate_drain_charge(channel, -supply, end)
    slope = source + float(gate_drain_capacitance(channel, end))
    second = total - slope * (gate_voltage - plateau) - first
    return {"gate_source": first, "gate_drain": second, "total": total, "plateau": plateau}
