"""From the outlet to the link: rectifier, line impedance and smoothing, stepped over time.

A heater at a fixed frequency is a resistor to its link: its power goes with the square of the
voltage. The march is backward Euler with steps of a few microseconds; it needs no assumption about
the ripple, so that links of a few microfarads, whose voltage follows the mains, are the same case.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.supply import Rectifier
from simkit.parts.inputs import not_negative, positive

STEPS = 800
"""Steps of a ripple period [1]."""
MOST = 400
"""Ripple periods until the state must have settled [1]."""
SETTLED = 1e-4
"""Change of the link's voltage from one period to the next that counts as none [1]."""
BALANCED = 2e-3
"""Share by which the charge that comes may differ from what goes [1]: a large link changes little
from one period to the next long before it is settled."""
NOTHING = 5e-3
"""Mean current by which they may differ in any case [A]: no part of a heater notices it."""


OUTLETS = (100.0, 110.0, 115.0, 120.0, 127.0, 220.0, 230.0, 240.0)
"""Mains of the world, line to neutral [V rms]; IEC 60038 and what is common beside it."""
FAR_LINK = 0.15
"""Share by which a link may differ from the mains' peak [1]: mains may be 10 % off, IEC 60038."""
WARM_BLEEDER = 20.0
"""Heat of a bleeder from which its value is doubted [W]: common practice is a watt or two."""


@dataclass(frozen=True)
class Line:
    """The outlet, what lies between it and the link, and the link.

    Fields
    ------
    voltage : between two conductors [V rms]
    frequency : [Hz]
    resistance : of line, filter and fuse, of the whole loop [ohm]
    inductance : of the same loop [H]
    diode_drop : of one diode; two conduct [V]
    capacitance : of the link [F]
    phases : 1 or 3 [1]
    """

    voltage: float
    frequency: float
    resistance: float
    inductance: float
    diode_drop: float
    capacitance: float
    phases: int = 1

    def __post_init__(self) -> None:
        positive(voltage=self.voltage, frequency=self.frequency, capacitance=self.capacitance)
        not_negative(resistance=self.resistance, inductance=self.inductance)
        not_negative(diode_drop=self.diode_drop)
        if self.phases not in (1, 3):
            raise ValueError(f"phases is {self.phases}; it must be 1 or 3")

    @property
    def period(self) -> float:
        """Of the rectified voltage [s]."""
        return 1.0 / (self.frequency * (2.0 if self.phases == 1 else 6.0))

    def rectified(self, time: float) -> float:
        """Voltage behind the diodes with no current, from a crest on [V]."""
        return self.rectified_course(np.array([time]))[0]

    def rectified_course(self, time: NDArray[np.floating[Any]]) -> list[float]:
        """The same at many times [s], as plain numbers to step through [V]."""
        within = np.fmod(time + 0.5 * self.period, self.period) - 0.5 * self.period
        tips = np.cos(2.0 * math.pi * self.frequency * within)
        found: list[float] = (math.sqrt(2.0) * self.voltage * tips - 2.0 * self.diode_drop).tolist()
        return found


@dataclass(frozen=True)
class Drawn:
    """What a settled link draws from the mains.

    Fields
    ------
    rms, peak : of the current in a conductor of the line [A]
    power : into the link [W]
    power_factor : power from the mains over volts times amperes [1]
    mean, highest, lowest : voltage of the link [V]
    capacitor_rms : ripple current of the link's capacitor at multiples of the ripple frequency [A]
    dc : mean current out of the rectifier [A]
    settled : whether the march came to rest
    """

    rms: float
    peak: float
    power: float
    power_factor: float
    mean: float
    highest: float
    lowest: float
    capacitor_rms: float
    dc: float
    settled: bool

    @property
    def ripple(self) -> float:
        """Peak to peak [V]."""
        return self.highest - self.lowest


def drawn(line: Line, power: float, at: float, regulated: bool = False) -> Drawn:
    """The settled state with a load that takes `power` [W] at a link of `at` [V].

    The load is a resistor at^2/P, or takes constant power where `regulated`. L di/dt + R i = u - v,
    C dv/dt = i - i_load, i >= 0, by backward Euler. ValueError for values not above 0, or a link
    that cannot carry a regulated load to the next crest. Source: the circuit's equations. Range: a
    stiff sine; the diodes' drop is constant; three phases without overlap of their currents.
    """
    positive(power=power, at=at)
    step = line.period / STEPS
    volts = line.rectified_course(step * np.arange(1, STEPS + 1))
    v, i = volts[-1], 0.0
    conductance = power / at**2
    stiff = line.inductance / step + line.resistance + step / line.capacitance
    settled, last = False, v
    for _ in range(MOST):
        course, currents, loads = [], [], []
        for u in volts:
            load = power / v if regulated else conductance * v
            i = (u + line.inductance / step * i - v + step / line.capacitance * load) / stiff
            i = max(i, 0.0)
            v += step / line.capacitance * (i - load)
            if regulated and v < 0.05 * at:
                raise ValueError("the link is too small to carry this power between two crests")
            v = max(v, 0.0)
            course.append(v)
            currents.append(i)
            loads.append(load)
        settled = abs(v - last) <= SETTLED * max(v, 1.0)
        missing = abs(sum(currents) - sum(loads)) / STEPS
        settled &= missing <= BALANCED * sum(loads) / STEPS + NOTHING
        last = v
        if settled:
            break
    return _drawn(line, course, currents, loads, settled)


def _drawn(
    line: Line, course: list[float], currents: list[float], loads: list[float], settled: bool
) -> Drawn:
    def mean(values: list[float]) -> float:
        return sum(values) / len(values)

    square = mean([i * i for i in currents])
    # Of three phases each conducts in two of three ripple periods.
    rms = math.sqrt(square * (1.0 if line.phases == 1 else 2.0 / 3.0))
    power = mean([v * load for v, load in zip(course, loads, strict=True)])
    from_mains = power + line.resistance * square + 2.0 * line.diode_drop * mean(currents)
    apparent = math.sqrt(line.phases) * line.voltage * rms
    ripple = math.sqrt(mean([(i - q) ** 2 for i, q in zip(currents, loads, strict=True)]))
    return Drawn(
        rms, max(currents), power, from_mains / apparent if apparent else 0.0, mean(course),
        max(course), min(course), ripple, mean(currents), settled,
    )  # fmt: skip


def held_current(line: Line, resistance: float, at: float) -> float:
    """Mean current through a resistance [ohm] into a link held at a voltage [V], in [A].

    (V sin(a) - v a)/(w R), cos(a) = v/V, a at most w: half of the angle that a pulse of the mains
    has, 90 deg for one phase, 30 deg for three; v is the link's with the diodes' drop. ValueError
    for values not above 0. Source: integral of the sine's tip. Range: no inductance in the line.
    """
    positive(resistance=resistance, at=at)
    crest, v = math.sqrt(2.0) * line.voltage, at + 2.0 * line.diode_drop
    if v >= crest:
        return 0.0
    window = 0.5 * math.pi if line.phases == 1 else math.pi / 6.0
    angle = min(math.acos(v / crest), window)
    return (crest * math.sin(angle) - v * angle) / (window * resistance)


@dataclass(frozen=True)
class Inrush:
    """Switching on at the crest with nothing but the line, or a precharge, to limit the current.

    Fields
    ------
    peak : [A]
    melting : integral of i^2 over the first surge [A^2 s]
    highest : voltage the link reaches [V]
    """

    peak: float
    melting: float
    highest: float


@lru_cache(maxsize=256)  # every study asks for the same few lines over and over
def inrush(line: Line, extra: float = 0.0, share: float = 0.0) -> Inrush:
    """The first surge into a link charged to a share of the crest, switched on at the crest.

    Stepped as in `drawn` over four ripple periods without a load; `extra` resistance in the way
    [ohm], `share` [1], 0 for an empty link. Source: the circuit's equations; for constant voltage
    V/R exp(-t/(R C)), V sqrt(C/L) without R, V what is missing. Range: as there; at other moments
    of the mains the surge is smaller.
    """
    not_negative(extra=extra, share=share)
    resistance = line.resistance + extra
    step = line.period / (20 * STEPS)
    slow = max(resistance * line.capacitance, math.sqrt(line.inductance * line.capacitance))
    step = min(step, max(slow / 400.0, 1e-9))
    stiff = line.inductance / step + resistance + step / line.capacitance
    v = share * line.rectified(0.0)
    i = peak = squares = 0.0
    count = int(min(max(4.0 * line.period, 0.0), 40.0 * max(slow, step)) / step) + 1
    choke, charge = line.inductance / step, step / line.capacitance
    for u in line.rectified_course(step * np.arange(1, count + 1)):
        i = (u + choke * i - v) / stiff
        if i <= 0.0:
            i = 0.0
            continue
        v += charge * i
        squares += i * i
        if i > peak:
            peak = i
    return Inrush(peak, squares * step, v)


def rectifier_cautions(rectifier: Rectifier, link: float | None = None) -> tuple[str, ...]:
    """What of a rectifier's values [V], [ohm] looks like a slip; empty where nothing does.

    `link`: voltage that the file gives the link [V]. Source: IEC 60038 for the outlets; common
    practice for the bleeder. Range: any.
    """
    found = []
    volts = rectifier.mains_voltage
    peak = math.sqrt(2.0) * volts
    if link is not None and abs(link / peak - 1.0) > FAR_LINK:
        found.append(
            f"supply.voltage is {link:g} V, but {volts:g} V mains, rms, charge a link to its peak "
            f"of {peak:.0f} V: supply.voltage counts; leave it out to have it worked out"
        )
    for outlet in OUTLETS:
        if (rectifier.phases or 1) == 1 and abs(volts / (math.sqrt(2.0) * outlet) - 1.0) < 0.01:
            found.append(
                f"mains_voltage is rms: {volts:g} V is the peak of {outlet:g} V mains; as rms it "
                f"makes a link of {math.sqrt(2.0) * volts:.0f} V"
            )
            break
    if rectifier.bleeder is not None:
        heat = 2.0 * volts**2 / rectifier.bleeder
        if heat > WARM_BLEEDER:
            found.append(
                f"the bleeder of {rectifier.bleeder:g} ohm turns {heat:.0f} W into heat as long as "
                "the machine is on: is its value meant in kohm?"
            )
    return tuple(found)
