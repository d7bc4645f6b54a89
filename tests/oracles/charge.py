"""Formulas beside `simkit/parts/charge.py` that only tests use."""

from __future__ import annotations

import math

from simkit.parts.charge import Junction, output_charge
from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure, out_of_range


def junction_capacitance(junction: Junction, voltage: float) -> float:
    """C(v) = C0/(1 + v/V0)^m [F] at `voltage` >= 0 [V].

    Source and range as for `junction_from_point` (for v >> V0: C0 sqrt(V0/v) with m = 1/2).
    """
    not_negative(voltage=voltage)
    # math.pow: an exponent that is no literal makes ** a complex for the type checker.
    return junction.zero_bias / math.pow(1.0 + voltage / junction.potential, junction.grading)


def output_energy(junction: Junction, voltage: float) -> float:
    """W = integral of C v dv = V Q(V) - integral of Q dv [J].

    `voltage` [V]. For m = 1/2 and V >> V0 it is (2/3) C(V) V^2. Source: integral of Erickson
    and Maksimovic eq. 4.38; the limit is their eq. 4.44. Exact for that law.
    """
    not_negative(voltage=voltage)
    rest = 1.0 - junction.grading
    x = voltage / junction.potential
    scale = junction.zero_bias * junction.potential**2 / rest
    grown = math.expm1((1.0 + rest) * math.log1p(x)) / (1.0 + rest)
    return voltage * output_charge(junction, voltage) - scale * (grown - x)


def charge_equivalent(junction: Junction, voltage: float) -> float:
    """The constant capacitance with the same charge at `voltage` [V]: Q/V [F].

    Source: definition; for the square-root law twice C (Erickson and Maksimovic, eqs 4.38
    to 4.44). Exact.
    """
    positive(voltage=voltage)
    return output_charge(junction, voltage) / voltage


def energy_equivalent(junction: Junction, voltage: float) -> float:
    """The constant capacitance with the same energy at `voltage` [V]: 2 W/V^2 [F].

    Source: definition; for the square-root law 4/3 of C (Erickson and Maksimovic, eq.
    4.44). Exact.
    """
    positive(voltage=voltage)
    return 2.0 * output_energy(junction, voltage) / voltage**2


def hard_turn_on_energy(capacitance: float, voltage: float) -> float:
    """Energy lost when a switch shorts a constant capacitance: C V^2/2 [J].

    `capacitance` [F], `voltage` [V]. Source: Erickson and Maksimovic eq. 4.42. Exact for a
    constant capacitance; for a leg of two switches see `hard_leg_energy`.
    """
    not_negative(capacitance=capacitance)
    return 0.5 * capacitance * voltage**2


def needed_time_constant(charge: float, turn_off: float) -> Figure:
    """Time of an edge with the current taken as constant: t = Q/i_off [s].

    `charge` of the leg [C] (`leg_charge`), `turn_off` current [A]; inf, with a note, when the
    current leads or is zero. Source: definition of current. Range: i_off above 0 and falling
    little during the edge (else `needed_time_sine`).
    """
    not_negative(charge=charge)
    notes = out_of_range("turn-off current", turn_off, 1e-12, math.inf, "A")
    value = math.inf if notes else charge / turn_off
    return Figure(value, "s", "Q = I t", notes)


def reversal_time(inductance: float, current: float, voltage: float) -> float:
    """Time for an inductor's current to go from I to -I at constant voltage: 2 L I/V [s].

    `inductance` [H], `current` [A], `voltage` across it [V]. ValueError for values not above
    0. Source: V = L di/dt; seminar note on zero-voltage switching, second-hand. Exact.
    """
    positive(inductance=inductance, current=current, voltage=voltage)
    return 2.0 * inductance * current / voltage
