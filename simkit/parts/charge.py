"""Charge of switches at their edges: output charge and dead time.

During the dead time the tank's current moves the bridge's midpoint from one rail to the
other. It must carry the charge of both output capacitances of the leg (and of any snubber)
before it reverses; only then does the other switch turn on at no voltage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simkit.parts.inputs import not_negative, positive


@dataclass(frozen=True)
class Junction:
    """Output capacitance C(v) = C0/(1 + v/V0)^m.

    Fields
    ------
    zero_bias : C0 [F]
    potential : V0 [V]
    grading : m, above 0 and below 1 [1]; 0.5 for an abrupt junction
    """

    zero_bias: float
    potential: float
    grading: float = 0.5

    def __post_init__(self) -> None:
        positive(zero_bias=self.zero_bias, potential=self.potential, grading=self.grading)
        if self.grading >= 1.0:
            raise ValueError(f"grading is {self.grading:g}; it must be below 1")


@dataclass(frozen=True)
class DeadTime:
    """Whether the midpoint of a leg gets across within the dead time.

    Fields
    ------
    needed : from the end of the turn-off to the midpoint at the other rail [s]; inf when the
        current reverses first
    available : from the end of the turn-off until the current reverses [s]; inf for a
        current that does not fall
    dead_time : given, less the turn-off [s]
    zero_voltage : needed <= dead_time <= available
    """

    needed: float
    available: float
    dead_time: float
    zero_voltage: bool


def output_charge(junction: Junction, voltage: float) -> float:
    """Q = integral of C dv = C0 V0/(1 - m) ((1 + V/V0)^(1-m) - 1) [C].

    `voltage` [V]. For m = 1/2 and V >> V0 it is 2 C(V) V. Source: integral of Erickson and
    Maksimovic eq. 4.38. Exact for that law.
    """
    not_negative(voltage=voltage)
    rest = 1.0 - junction.grading
    scale = junction.zero_bias * junction.potential / rest
    return scale * math.expm1(rest * math.log1p(voltage / junction.potential))


def sine_charge(peak: float, turn_off: float, frequency: float) -> float:
    """Charge a sine current still carries from turn-off to its reversal [C].

    Q = I (1 - cos(phi))/(2 pi f), sin(phi) = i_off/I: `peak` I [A], `turn_off` current i_off
    [A], positive when the current lags, `frequency` f [Hz]. Zero for a leading current.
    ValueError when i_off exceeds the peak. Source: integral of the sine. Exact for a sine on
    its falling side (phase lag below 90 degrees).
    """
    angle = _lag(peak, turn_off)
    positive(frequency=frequency)
    return peak * (1.0 - math.cos(angle)) / (2.0 * math.pi * frequency)


def _lag(peak: float, turn_off: float) -> float:
    """Angle from the turn-off to the reversal of a sine [rad]; 0 for a leading current."""
    positive(peak=peak)
    if turn_off > peak:
        raise ValueError(f"turn_off is {turn_off:g} A; it must not exceed the peak {peak:g} A")
    return math.asin(max(turn_off, 0.0) / peak)


def needed_time_sine(charge: float, peak: float, turn_off: float, frequency: float) -> float:
    """Time of an edge with a sine current that falls meanwhile [s].

    t = (phi - acos(cos(phi) + 2 pi f Q/I))/(2 pi f); inf when the charge is more than the
    current carries before it reverses. `charge` of the leg [C], the others, errors, source
    and range as for `sine_charge`.
    """
    not_negative(charge=charge)
    omega = 2.0 * math.pi * frequency
    angle = _lag(peak, turn_off)
    cosine = math.cos(angle) + omega * charge / peak
    if turn_off <= 0.0 or cosine > 1.0:
        return math.inf
    return (angle - math.acos(cosine)) / omega


def dead_time_window(
    charge: float, peak: float, turn_off: float, frequency: float, dead_time: float
) -> DeadTime:
    """Needed and available time for a sine current [s].

    needed from `needed_time_sine`, available = phi/(2 pi f). `dead_time` [s] is counted
    from the end of the turn-off. A lagging current is necessary but not sufficient: with
    too little charge left before its reversal the edge stays incomplete (Erickson and
    Maksimovic, note to theorem 22.2). Errors and range as for `sine_charge`. Source: as for
    `sine_charge` and the note named.
    """
    needed = needed_time_sine(charge, peak, turn_off, frequency)
    available = _lag(peak, turn_off) / (2.0 * math.pi * frequency)
    return DeadTime(needed, available, dead_time, needed <= dead_time <= available)
