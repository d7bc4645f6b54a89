"""Charging the smoothing capacitors through a resistor or a lamp, and when to close the bypass.

A lamp's filament has a tenth or less of its resistance while it is cold, so the first half
wave is the strongest; glowing, it limits the rest, and as the capacitors fill it cools again
and lets them finish.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simkit.parts.inputs import positive
from simkit.parts.ranged import out_of_range
from simkit.parts.supply import Mains

BOLTZMANN = 5.670374419e-8
ROOM = 293.15

# Tungsten: resistivity at 300 K and total emissivity near 2700 K as given by H. A. Jones and
# I. Langmuir, General Electric Review 30 (1927) 310; heat capacity a mean from 300 to 2700 K,
# density handbook value (all recalled from memory).
TUNGSTEN_RESISTIVITY = 5.65e-8
TUNGSTEN_EMISSIVITY = 0.33
TUNGSTEN_HEAT_CAPACITY = 155.0
TUNGSTEN_DENSITY = 19300.0
TUNGSTEN_EXPONENT = 1.2


@dataclass(frozen=True)
class Lamp:
    """An incandescent lamp.

    Fields
    ------
    resistance : glowing at its rating [ohm]
    power : radiated then [W]
    temperature : of the filament then [K]
    heat_capacity : of the filament [J/K]
    """

    resistance: float
    power: float
    temperature: float
    heat_capacity: float

    def __post_init__(self) -> None:
        positive(**vars(self))


@dataclass(frozen=True)
class Precharge:
    """How the link was charged.

    Fields
    ------
    peak_current : [A]
    close_time : when the link first reached the wanted share of the peak [s]; inf when it did
        not within the time looked at
    voltage : of the link at the end [V]
    energy : turned into heat in resistor or lamp until then [J]
    hottest : filament temperature, None for a resistor [K]
    times, voltages, currents : the course, one entry per step [s], [V], [A]
    outside : a note when the filament left the range of its law
    """

    peak_current: float
    close_time: float
    voltage: float
    energy: float
    hottest: float | None
    times: tuple[float, ...]
    voltages: tuple[float, ...]
    currents: tuple[float, ...]
    outside: tuple[str, ...] = ()


def tungsten_ratio(temperature: float) -> float:
    """Resistance of tungsten over that at 300 K: (T/300)^1.2 [1].

    `temperature` T [K]; ValueError when not above 0. Source: power law of lamp practice
    (recalled from memory); within 5 % of the table of Jones and Langmuir, 1927. Range: 290
    to 3000 K, noted where the filament's course is known (`precharge`).
    """
    positive(temperature=temperature)
    return math.pow(temperature / 300.0, TUNGSTEN_EXPONENT)


def lamp_from_rating(voltage: float, power: float, temperature: float = 2700.0) -> Lamp:
    """The lamp behind the print on its glass.

    R = V^2/P, and the filament follows from it: a wire of diameter d and length l with that R
    and with the surface that radiates P, d^3 = 4 rho P/(pi^2 eps sigma T^4 R), whose mass
    gives the heat capacity. `voltage` [V rms], `power` [W], `temperature` of the filament at
    the rating [K] (2700 is common for some tens of watts). ValueError for values not above 0.
    Source: Stefan-Boltzmann and Ohm's laws. Range: the wire is taken as straight, in vacuum;
    coiled and in gas it must be heavier, so the real lamp heats more slowly.
    """
    positive(voltage=voltage, power=power, temperature=temperature)
    resistance = voltage**2 / power
    density = TUNGSTEN_EMISSIVITY * BOLTZMANN * temperature**4
    rho = TUNGSTEN_RESISTIVITY * tungsten_ratio(temperature)
    diameter = math.cbrt(4.0 * rho * power / (math.pi**2 * density * resistance))
    length = power / (density * math.pi * diameter)
    mass = TUNGSTEN_DENSITY * 0.25 * math.pi * diameter**2 * length
    return Lamp(resistance, power, temperature, mass * TUNGSTEN_HEAT_CAPACITY)


def lamp_resistance(lamp: Lamp, temperature: float) -> float:
    """Resistance with the filament at `temperature` [K]: R (T/T_rated)^1.2 [ohm].

    Source and range as for `tungsten_ratio`.
    """
    return lamp.resistance * tungsten_ratio(temperature) / tungsten_ratio(lamp.temperature)


def lamp_radiation(lamp: Lamp, temperature: float) -> float:
    """Power a filament gives off, P (T^4 - T_room^4)/(T_rated^4 - T_room^4) [W].

    `temperature` [K]. Source: Stefan-Boltzmann law with constant emissivity. Range: tungsten's
    emissivity falls to a third towards 1000 K, so a dull filament cools more slowly.
    """
    return lamp.power * (temperature**4 - ROOM**4) / (lamp.temperature**4 - ROOM**4)


def precharge(
    mains: Mains,
    capacitance: float,
    element: Lamp | float,
    bleeder: float = math.inf,
    share: float = 0.95,
    time: float = 20.0,
    steps: int = 200,
) -> Precharge:
    """Charge an empty link from the rectified mains through a resistor [ohm] or a lamp.

    C dv/dt = i - v/R_b, i = max(0, |V sin wt| - 2 V_d - v)/(R_line + R), and for a lamp c
    dT/dt = i^2 R(T) - P(T); switched on at the peak of the mains, the worst instant.
    `capacitance` C [F], `bleeder` R_b on the link [ohm]; stops at `share` of the peak [1]
    or after `time` [s]. ValueError for values not above 0. Method: Runge-Kutta of fourth
    order with `steps` a mains period, or a step of a tenth of the smallest R C. Range: no
    line inductance; the lamp's range as for `lamp_from_rating`. Source: Kirchhoff's laws.
    """
    positive(capacitance=capacitance, share=share, time=time)
    course = _Course(mains, capacitance, element, bleeder)
    step = min(1.0 / (steps * mains.frequency), 0.1 * course.series(ROOM) * capacitance)
    state, now, close = (0.0, ROOM, 0.0), 0.0, math.inf
    rows = [(0.0, 0.0, course.current(0.0, 0.0, ROOM), ROOM)]
    while now < time:
        state = course.advance(now, state, step)
        now += step
        rows.append((now, state[0], course.current(now, state[0], state[1]), state[1]))
        if state[0] >= share * mains.peak:
            close = now
            break
    times, voltages, currents, kelvins = zip(*rows, strict=True)
    hottest = max(kelvins) if isinstance(element, Lamp) else None
    notes = out_of_range("filament", hottest, 290.0, 3000.0, "K") if hottest else ()
    return Precharge(
        max(currents), close, state[0], state[2], hottest, times, voltages, currents, notes
    )


State = tuple[float, float, float]


@dataclass(frozen=True)
class _Course:
    """The differential equations of `precharge`; state: link [V], filament [K], heat [J]."""

    mains: Mains
    capacitance: float
    element: Lamp | float
    bleeder: float

    def limiter(self, kelvin: float) -> float:
        """Resistance of the limiting element [ohm]."""
        if isinstance(self.element, Lamp):
            return lamp_resistance(self.element, kelvin)
        return self.element

    def series(self, kelvin: float) -> float:
        """Resistance between rectifier and link [ohm]."""
        whole = self.mains.resistance + self.limiter(kelvin)
        positive(resistance=whole)
        return whole

    def current(self, now: float, link: float, kelvin: float) -> float:
        """Current into the link [A]."""
        return self._through(now, link, self.limiter(kelvin))

    def _through(self, now: float, link: float, limiter: float) -> float:
        wave = math.sqrt(2.0) * self.mains.voltage
        wave *= abs(math.cos(2.0 * math.pi * self.mains.frequency * now))
        drive = wave - 2.0 * self.mains.diode_drop - link
        return max(drive, 0.0) / (self.mains.resistance + limiter)

    def slope(self, now: float, state: State) -> State:
        """d(state)/dt."""
        link, kelvin, _ = state
        limiter = self.limiter(kelvin)
        current = self._through(now, link, limiter)
        heat = current**2 * limiter
        warming = 0.0
        if isinstance(self.element, Lamp):
            lost = lamp_radiation(self.element, kelvin)
            warming = (heat - lost) / self.element.heat_capacity
        return (current - link / self.bleeder) / self.capacitance, warming, heat

    def advance(self, now: float, state: State, step: float) -> State:
        """One step of the classical Runge-Kutta method."""

        def moved(by: float, slope: State) -> State:
            return (
                state[0] + by * slope[0], state[1] + by * slope[1], state[2] + by * slope[2]
            )  # fmt: skip

        first = self.slope(now, state)
        second = self.slope(now + 0.5 * step, moved(0.5 * step, first))
        third = self.slope(now + 0.5 * step, moved(0.5 * step, second))
        fourth = self.slope(now + step, moved(step, third))
        slopes = zip(first, second, third, fourth, strict=True)
        mean = [(a + 2.0 * b + 2.0 * c + d) / 6.0 for a, b, c, d in slopes]
        return moved(step, (mean[0], mean[1], mean[2]))
