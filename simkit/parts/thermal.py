"""Junction temperature: transient thermal impedance, the stack to the air, and the loop in
which a warmer switch loses more.

A Foster network is a sum of R (1 - exp(-t/tau)): a fit to the curve of the data sheet, with
no meaning for its inner nodes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure, out_of_range

KELVIN = 273.15


@dataclass(frozen=True)
class Foster:
    """Transient thermal impedance as a sum of exponentials.

    Fields
    ------
    resistances : of the stages [K/W]
    times : their time constants [s]
    residue : largest relative deviation from the points it was fitted to [1]
    """

    resistances: tuple[float, ...]
    times: tuple[float, ...]
    residue: float = 0.0

    def __post_init__(self) -> None:
        if len(self.resistances) != len(self.times) or not self.times:
            raise ValueError("a Foster network needs as many resistances as time constants")
        for resistance, time in zip(self.resistances, self.times, strict=True):
            positive(resistance=resistance, time=time)

    @property
    def resistance(self) -> float:
        """Steady thermal resistance [K/W]."""
        return sum(self.resistances)


@dataclass(frozen=True)
class Stack:
    """From junction to air, for one of several switches on a heatsink.

    Fields
    ------
    junction_case : [K/W]
    pad : case to heatsink, insulation and grease [K/W]
    heatsink : heatsink to air, shared [K/W]
    ambient : air [degC]
    switches : that heat the heatsink alike [1]
    """

    junction_case: float
    pad: float
    heatsink: float
    ambient: float
    switches: int = 1

    def __post_init__(self) -> None:
        positive(junction_case=self.junction_case, switches=self.switches)
        not_negative(pad=self.pad, heatsink=self.heatsink)

    @property
    def resistance(self) -> float:
        """Rise of a junction per watt in each switch [K/W]."""
        return self.junction_case + self.pad + self.switches * self.heatsink


@dataclass(frozen=True)
class Settled:
    """Where the electro-thermal loop comes to rest.

    Fields
    ------
    junction : temperature; inf when it runs away [degC]
    loss : of one switch at that temperature; inf when it runs away [W]
    gain : d loss/dT times thermal resistance there: each kelvin brings this many more [1]
    iterations : it took [1]
    runaway : whether there is no temperature at which loss and cooling balance
    """

    junction: float
    loss: float
    gain: float
    iterations: int
    runaway: bool


def thermal_impedance(network: Foster, time: float) -> float:
    """Z(t) = sum of R (1 - exp(-t/tau)) [K/W]: rise per watt of a step after `time` [s].

    ValueError for a time below 0. Source: IEC 60747-9, transient thermal impedance (recalled
    from memory). Exact for the network.
    """
    not_negative(time=time)
    stages = zip(network.resistances, network.times, strict=True)
    return -sum(resistance * math.expm1(-time / tau) for resistance, tau in stages)


def junction_rise(network: Foster, power: float, time: float) -> Figure:
    """Rise of the junction over the case after a step of loss: P Z(t) [K].

    `power` [W], `time` [s]. Source as for `thermal_impedance`. Range: from a hundredth of the
    shortest time constant; below it a real chip follows sqrt(t), the network t.
    """
    notes = out_of_range("time", time, 0.01 * min(network.times), math.inf, "s")
    return Figure(power * thermal_impedance(network, time), "K", "Foster network", notes)


def pad_resistance(thickness: float, conductivity: float, area: float) -> float:
    """Thermal resistance of an insulating pad: t/(k A) [K/W].

    `thickness` t [m], `conductivity` k [W/(m K)], `area` A of the case [m2]. ValueError for
    values not above 0. Source: Fourier's law. Range: the pad alone; its two contacts add as
    much again with poor pressure.
    """
    positive(thickness=thickness, conductivity=conductivity, area=area)
    return thickness / (conductivity * area)


def steady_junction(stack: Stack, loss: float) -> float:
    """Junction temperature at a constant `loss` of each switch [W]: T_a + P R [degC].

    Source: thermal resistances in series. Exact for constant resistances.
    """
    return stack.ambient + loss * stack.resistance


def on_resistance(at_25: float, at_hot: float, hot: float, celsius: float) -> Figure:
    """R_DS(on) at a temperature, through two points of the data sheet [ohm].

    R = R25 (T/298.15 K)^n, n from `at_hot` [ohm] at `hot` [degC]; `at_25` [ohm], `celsius`
    [degC]. ValueError for values not above 0 or `hot` at 25 degC. Source: mobility of
    carriers falls as a power of temperature, S. M. Sze, "Physics of Semiconductor Devices"
    (recalled from memory). Range: -55 to 175 degC.
    """
    positive(at_25=at_25, at_hot=at_hot)
    if hot == 25.0:
        raise ValueError("hot must be a temperature other than 25 degC")
    exponent = math.log(at_hot / at_25) / math.log((hot + KELVIN) / 298.15)
    value = at_25 * math.pow((celsius + KELVIN) / 298.15, exponent)
    notes = out_of_range("temperature", celsius, -55.0, 175.0, "degC")
    return Figure(value, "ohm", "power law through two data-sheet points", notes)


def conduction_loss(
    at_25: float, at_hot: float, hot: float, current: float, other: float = 0.0
) -> Callable[[float], float]:
    """Loss of a switch against its temperature: I^2 R_DS(on)(T) + other [W].

    A function of temperature [degC] for `electro_thermal`; `current` through the switch [A
    rms], `other` loss that does not depend on temperature [W]; the rest as for
    `on_resistance`. Source and range as there.
    """

    def loss(celsius: float) -> float:
        return current**2 * on_resistance(at_25, at_hot, hot, celsius).value + other

    return loss


def electro_thermal(
    loss: Callable[[float], float],
    stack: Stack,
    ceiling: float = 400.0,
    tolerance: float = 1e-6,
) -> Settled:
    """The temperature at which loss and cooling balance: T = T_a + R P(T).

    Iterated from the ambient with Newton's steps on T - T_a - R P(T); as loss rises with
    temperature ever more steeply, the steps end below or at the first balance or pass
    `ceiling` [degC], or the gain R dP/dT reaches 1: then it runs away. `loss` [W] of
    temperature [degC], rising and bent upwards, `tolerance` [K]. Source: heat balance,
    Newton's method. Range: constant thermal resistances; a run-away is one of the formula for
    the loss beyond what a chip survives, whose real end comes sooner.
    """
    celsius = stack.ambient
    for count in range(1, 201):
        gain = stack.resistance * (loss(celsius + 0.01) - loss(celsius - 0.01)) / 0.02
        missing = steady_junction(stack, loss(celsius)) - celsius
        if abs(missing) < tolerance:
            return Settled(celsius, loss(celsius), gain, count, gain >= 1.0)
        if gain >= 1.0 or celsius > ceiling:
            break
        celsius += missing / (1.0 - gain)
    return Settled(math.inf, math.inf, gain, count, True)
