"""Formulas beside `simkit/parts/gate_drive.py` that only tests use."""

from __future__ import annotations

import math

from simkit.parts.gate_drive import Delays, GateLoop, loop_damping
from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure, out_of_range


def turn_off_delays(
    loop: GateLoop, levels: tuple[float, float], plateau: float, miller: float
) -> Delays:
    """Delay to the plateau and length of the plateau at turn-off [s].

    t_d = R C ln((V_on - V_off)/(V_pl - V_off)), t_p = Q_gd R/(V_pl - V_off); arguments,
    errors, source and range as for `turn_on_delays`.
    """
    off, on = levels
    if not off < plateau < on:
        raise ValueError("levels must enclose the plateau")
    charging = loop.resistance * loop.input_capacitance
    delay = charging * math.log((on - off) / (plateau - off))
    return Delays(delay, miller * loop.resistance / (plateau - off), _damped(loop))


def induced_gate_voltage(
    reverse_capacitance: float, slope: float, loop: GateLoop, duration: float
) -> float:
    """What a rising drain lifts the gate of an off switch to, above the driver's level [V].

    V = R C_rss dv/dt (1 - exp(-t/(R C_iss))). `reverse_capacitance` C_rss [F], `slope` dv/dt
    [V/s], `duration` t of the rise [s]. Source: current through C_rss into R parallel to
    C_iss, textbook. Range: constant capacitances; loop inductance left out, which adds to it.
    """
    not_negative(reverse_capacitance=reverse_capacitance, slope=slope, duration=duration)
    charging = loop.resistance * loop.input_capacitance
    if charging == 0.0:
        return 0.0
    lifted = -math.expm1(-duration / charging)
    return loop.resistance * reverse_capacitance * slope * lifted


def magnetising_peak(swing: float, frequency: float, magnetising: float) -> float:
    """Peak magnetising current with a symmetrical square voltage of +-V: V/(4 f L_m) [A].

    `swing` V, half of peak to peak [V], `frequency` f [Hz], `magnetising` L_m [H]. ValueError
    for values not above 0. Source: V = L di/dt. Exact without droop.
    """
    positive(frequency=frequency, magnetising=magnetising)
    return swing / (4.0 * frequency * magnetising)


def coupling_ripple(swing: float, frequency: float, magnetising: float, coupling: float) -> Figure:
    """Peak-to-peak ripple of the coupling capacitor by the magnetising current [V].

    V/(16 f^2 L_m C): the triangle of `magnetising_peak` over half a period. `coupling` C [F],
    the rest as there. Source: Q = integral of the triangle. Range: ripple to a tenth of the
    swing; the gate's charge Q_g/C comes on top.
    """
    positive(coupling=coupling)
    value = magnetising_peak(swing, frequency, magnetising) / (4.0 * frequency * coupling)
    notes = out_of_range("ripple/swing", value / swing, 0.0, 0.1)
    return Figure(value, "V", "charge of a triangular current", notes)


def coupling_ring(magnetising: float, coupling: float) -> float:
    """Frequency at which coupling capacitor and magnetising inductance ring [Hz].

    1/(2 pi sqrt(L_m C)): at every start and stop of the pulses the gate voltage swings at it;
    well below the frequency of use, yet damped. ValueError for values not above 0. Source:
    definition. Exact.
    """
    positive(magnetising=magnetising, coupling=coupling)
    return 1.0 / (2.0 * math.pi * math.sqrt(magnetising * coupling))


def turn_on_delays(
    loop: GateLoop, levels: tuple[float, float], threshold: float, plateau: float, miller: float
) -> Delays:
    """Delay to the threshold and length of the plateau at turn-on [s].

    t_d = R C ln((V_on - V_off)/(V_on - V_th)), t_p = Q_gd R/(V_on - V_pl). `levels` (V_off,
    V_on) of the driver, `threshold` V_th, `plateau` V_pl [V], `miller` Q_gd [C]. ValueError
    when V_on does not exceed the plateau. Source: charging of C_iss and of C_rss, textbook.
    Range: damped loop (zeta at least 1); inductance left out.
    """
    off, on = levels
    if not off < threshold <= plateau < on:
        raise ValueError("levels must enclose threshold and plateau, threshold below plateau")
    charging = loop.resistance * loop.input_capacitance
    delay = charging * math.log((on - off) / (on - threshold))
    return Delays(delay, miller * loop.resistance / (on - plateau), _damped(loop))


def _damped(loop: GateLoop) -> tuple[str, ...]:
    return out_of_range("damping", loop_damping(loop), 1.0, math.inf)
