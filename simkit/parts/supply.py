"""Supply: single-phase bridge rectifier with a smoothing capacitor, and its discharge."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure, out_of_range

TOUCH = 60.0
"""Voltage below which live parts must fall [V]; IEC 60204-1, 6.2.4."""
TOUCH_TIME = 5.0
"""Within this time after switching off [s]; IEC 60204-1, 6.2.4."""
TOUCH_CHARGE = 60e-6
"""Stored charge up to which the rule does not apply [C]; IEC 60204-1, 6.2.4."""


@dataclass(frozen=True)
class Mains:
    """The outlet and what lies between it and the rectifier.

    Fields
    ------
    voltage : [V rms]
    frequency : [Hz]
    resistance : of line, filter and fuse [ohm]
    diode_drop : of one diode; two conduct [V]
    """

    voltage: float
    frequency: float
    resistance: float
    diode_drop: float

    def __post_init__(self) -> None:
        positive(voltage=self.voltage, frequency=self.frequency)
        not_negative(resistance=self.resistance, diode_drop=self.diode_drop)

    @property
    def peak(self) -> float:
        """Voltage of the link with no load: sqrt(2) V - 2 V_d [V]. Exact for a sine."""
        return math.sqrt(2.0) * self.voltage - 2.0 * self.diode_drop


@dataclass(frozen=True)
class Smoothed:
    """Steady state of a smoothed rectifier.

    Fields
    ------
    mean, highest, lowest : of the link's voltage [V]
    ripple : peak to peak [V]
    start, end : of conduction, from the zero of the mains voltage [rad]
    surge : current at the start of each conduction, the largest [A]
    """

    mean: float
    highest: float
    lowest: float
    ripple: float
    start: float
    end: float
    surge: float


@dataclass(frozen=True)
class Residual:
    """How the link discharges once it is cut off.

    Fields
    ------
    time : until the link is at the limit [s]
    limit : voltage [V]
    allowed : time [s]
    charge : stored at the beginning [C]
    status : "within" the time, "exempt" by its small charge, or "over"
    """

    time: float
    limit: float
    allowed: float
    charge: float
    status: str


def rectifier_resistive(
    peak: float, frequency: float, resistance: float, capacitance: float
) -> Smoothed:
    """Bridge rectifier, capacitor and resistor: the exact steady state.

    With x = omega R C: conduction ends at tan(end) = -x, where C dv/dt + v/R = 0; the link
    then falls as exp(-t/(R C)) and meets the next half wave at sin(start) = sin(end)
    exp(-(pi + start - end)/x), solved by halving. `peak` of the rectified voltage [V],
    `frequency` of the mains [Hz], `resistance` R [ohm], `capacitance` C [F]. ValueError for
    values not above 0. Source: piecewise solution of the circuit, textbook. Exact for a
    source without resistance and inductance; a real source lowers the mean and widens the
    conduction.
    """
    positive(peak=peak, frequency=frequency, resistance=resistance, capacitance=capacitance)
    x = 2.0 * math.pi * frequency * resistance * capacitance
    end = math.pi - math.atan(x)
    start = _root(
        lambda angle: math.sin(angle) - math.sin(end) * math.exp(-(math.pi + angle - end) / x)
    )
    low = peak * math.sin(start)
    fallen = peak * math.sin(end) - low
    mean = (peak * (math.cos(start) - math.cos(end)) + x * fallen) / math.pi
    surge = peak / resistance * (x * math.cos(start) + math.sin(start))
    return Smoothed(mean, peak, low, peak - low, start, end, surge)


def rectifier_power(peak: float, frequency: float, power: float, capacitance: float) -> Smoothed:
    """Bridge rectifier, capacitor and a load of constant power: the exact steady state.

    With k = 2 P/(omega C V^2): conduction ends at sin(2 end) = -k, the first after the peak;
    then v^2 falls in a
    straight line and meets the next half wave at sin^2(start) = sin^2(end) - k (pi + start -
    end), solved by halving. A tuned heater under power control is near to such a load.
    `peak` V [V], `frequency` [Hz], `power` P [W], `capacitance` C [F]. ValueError when the
    capacitor is too small to carry the load to the next half wave. Source: energy balance of
    the capacitor. Exact for a source without resistance and inductance.
    """
    positive(peak=peak, frequency=frequency, power=power, capacitance=capacitance)
    omega = 2.0 * math.pi * frequency
    k = 2.0 * power / (omega * capacitance * peak**2)
    end = 0.5 * (math.pi + math.asin(min(k, 1.0)))
    if k >= 1.0 or math.sin(end) ** 2 <= k * (math.pi - end):
        raise ValueError(f"capacitance {capacitance:g} F cannot carry {power:g} W between peaks")
    start = _root(
        lambda angle: math.sin(angle) ** 2 - math.sin(end) ** 2 + k * (math.pi + angle - end)
    )
    low, left = peak * math.sin(start), peak * math.sin(end)
    # The mean of sqrt(v^2 - 2 P t/C) over the fall, times omega.
    fall = omega * capacitance / (3.0 * power) * (left**3 - low**3)
    mean = (peak * (math.cos(start) - math.cos(end)) + fall) / math.pi
    surge = omega * capacitance * peak * math.cos(start) + power / low
    return Smoothed(mean, peak, low, peak - low, start, end, surge)


def _root(rising: Callable[[float], float]) -> float:
    """Where a function that rises through zero in (0, pi/2) does so, to round-off [rad]."""
    low, high = 0.0, 0.5 * math.pi
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rising(middle) < 0.0 else (low, middle)
    return 0.5 * (low + high)


def approximate_ripple(current: float, frequency: float, capacitance: float) -> float:
    """Textbook approximation of the ripple: I/(2 f C), peak to peak [V].

    `current` I [A], `frequency` f of the mains [Hz], `capacitance` C [F]. ValueError for
    values not above 0. Source: A. P. Malvino, D. J. Bates, "Electronic Principles", 7th ed.,
    chapter 4. Always too large: the link does not fall for the whole half period. Exact:
    `rectifier_resistive`.
    """
    positive(frequency=frequency, capacitance=capacitance)
    return current / (2.0 * frequency * capacitance)


def approximate_mean(
    peak: float, frequency: float, resistance: float, capacitance: float
) -> Figure:
    """Textbook approximation of the link's mean: V - V/(4 f R C) [V].

    Arguments and errors as for `rectifier_resistive`. Source: M. H. Rashid, "Power
    Electronics", 4th ed., example 3.12. Range: ripple to a tenth of the peak. The ripple
    factor printed beside it differs between two editions and neither is the exact one, so
    none is given here.
    """
    positive(peak=peak, frequency=frequency, resistance=resistance, capacitance=capacitance)
    half_ripple = 1.0 / (4.0 * frequency * resistance * capacitance)
    notes = out_of_range("ripple/peak", 2.0 * half_ripple, 0.0, 0.1)
    return Figure(peak * (1.0 - half_ripple), "V", "M. H. Rashid, Power Electronics", notes)


def surge_current(voltage: float, inductance: float, capacitance: float) -> float:
    """Peak current when a voltage is switched to L and an empty C: V sqrt(C/L) [A].

    What the mains' inductance alone leaves of the inrush. `voltage` [V], `inductance` [H],
    `capacitance` [F]. ValueError for values not above 0. Source: M. H. Rashid, "Power
    Electronics", section on diodes with LC load. Exact without resistance.
    """
    positive(inductance=inductance, capacitance=capacitance)
    return voltage * math.sqrt(capacitance / inductance)


def surge_time(inductance: float, capacitance: float) -> float:
    """Length of that current: pi sqrt(L C) [s]; arguments, source as for `surge_current`.

    Range as there.
    """
    positive(inductance=inductance, capacitance=capacitance)
    return math.pi * math.sqrt(inductance * capacitance)


def inrush_melting(voltage: float, resistance: float, capacitance: float) -> float:
    """What the inrush through a resistance does to a fuse: V^2 C/(2 R) [A^2 s].

    The integral of i^2 for an empty C charged from constant V through R. `voltage` [V],
    `resistance` [ohm], `capacitance` [F]. ValueError for values not above 0. Source: integral
    of the exponential. Exact for constant voltage; to be compared with the fuse's I^2 t.
    """
    positive(resistance=resistance, capacitance=capacitance)
    return 0.5 * voltage**2 * capacitance / resistance


def stored_energy(capacitance: float, voltage: float) -> float:
    """C V^2/2 [J]; as much is lost in the resistor that charges it. Exact for constant C.

    Source: integral of v dq.
    """
    return 0.5 * capacitance * voltage**2


def discharge_voltage(voltage: float, resistance: float, capacitance: float, time: float) -> float:
    """V exp(-t/(R C)) [V]: `voltage` [V], `resistance` [ohm], `capacitance` [F], `time` [s].

    ValueError for R or C not above 0. Source: RC circuit, textbook. Exact.
    """
    positive(resistance=resistance, capacitance=capacitance)
    return voltage * math.exp(-time / (resistance * capacitance))


def settling_time(resistance: float, capacitance: float, remaining: float) -> float:
    """Time until an RC circuit is within a share of its end: R C ln(1/remaining) [s].

    `resistance` [ohm], `capacitance` [F], `remaining` share, above 0 to 1 [1] (0.05 for
    charged to 95 %). ValueError otherwise. Source: RC circuit, textbook. Exact.
    """
    positive(resistance=resistance, capacitance=capacitance, remaining=remaining)
    if remaining > 1.0:
        raise ValueError(f"remaining is {remaining:g}; it must be at most 1")
    return resistance * capacitance * math.log(1.0 / remaining)


def residual_voltage(
    voltage: float,
    capacitance: float,
    bleeder: float,
    limit: float = TOUCH,
    allowed: float = TOUCH_TIME,
    exempt_charge: float = TOUCH_CHARGE,
) -> Residual:
    """Whether the link is down to 60 V within 5 s of being cut off, by its bleeder.

    t = R C ln(V/limit). `voltage` [V], `capacitance` [F], `bleeder` R [ohm], `limit` [V],
    `allowed` [s], `exempt_charge` [C]. ValueError for R or C not above 0. Source of the three
    figures: IEC 60204-1, clause 6.2.4 (read in an unofficial translation). Range: the bleeder
    alone; an inverter that still runs empties the link faster. Whether that standard binds a
    given machine is not decided here.
    """
    charge = capacitance * voltage
    time = 0.0
    if voltage > limit:
        time = settling_time(bleeder, capacitance, limit / voltage)
    status = "within" if time <= allowed else "exempt" if charge <= exempt_charge else "over"
    return Residual(time, limit, allowed, charge, status)


def bleeder_for(
    voltage: float, capacitance: float, limit: float = TOUCH, allowed: float = TOUCH_TIME
) -> float:
    """The largest bleeder that meets `residual_voltage`: t/(C ln(V/limit)) [ohm].

    Arguments, source and range as there; inf when the link starts below the limit. It turns
    V^2/R into heat for as long as the machine is on.
    """
    positive(capacitance=capacitance, limit=limit, allowed=allowed)
    if voltage <= limit:
        return math.inf
    return allowed / (capacitance * math.log(voltage / limit))
