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


def junction_from_point(
    capacitance: float, voltage: float, potential: float = 0.7, grading: float = 0.5
) -> Junction:
    """The junction whose capacitance is C at one voltage: C0 = C (1 + V/V0)^m.

    `capacitance` [F] at `voltage` [V], `potential` V0 [V], `grading` m [1]. ValueError for a
    capacitance not above 0. Source: R. W. Erickson, D. Maksimovic, "Fundamentals of Power
    Electronics", eqs 4.38 and 4.39. Range: planar MOSFETs and junctions; a superjunction's
    capacitance falls by decades within tens of volts, so take its charge from the data sheet.
    """
    positive(capacitance=capacitance)
    zero_bias = capacitance * math.pow(1.0 + voltage / potential, grading)
    return Junction(zero_bias, potential, grading)


def hard_leg_energy(charge: float, voltage: float) -> float:
    """Energy lost at each hard edge of a leg of two equal switches: Q(V) V [J].

    `charge` Q of one switch at `voltage` [C], [V]. The supply gives Q V to the switch that
    turns off; the energy in the leg is the same before and after. Source: M. Kasper, R. M.
    Burkart, G. Deboy, J. W. Kolar, IEEE Trans. Power Electronics 31 (2016) 8063 (recalled
    from memory); the balance is exact. Recovery of the body diode not included. Range: both
    switches alike, no snubber; the node held for the whole dead time.
    """
    not_negative(charge=charge, voltage=voltage)
    return charge * voltage


def leg_charge(output: float, voltage: float, snubber: float = 0.0) -> float:
    """Charge that the current must move for one edge of a leg: 2 Q(V) + C_s V [C].

    `output` Q of one switch at the link's `voltage` [C], [V]; `snubber` the sum of the
    constant capacitances from the midpoint to either rail [F]. Source: Kirchhoff's current
    law, one device charging while the other discharges. Exact.
    """
    not_negative(output=output, voltage=voltage, snubber=snubber)
    return 2.0 * output + snubber * voltage
