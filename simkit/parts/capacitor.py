"""Film capacitors of the tank: one can, a bank of them, and how they share the current.

A bank is a number of equal strings in parallel, each of a number of equal cans in series.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import out_of_range

Bound = Literal["dielectric", "self-heating", "current"]


@dataclass(frozen=True)
class Can:
    """One film capacitor, from its data sheet.

    Fields
    ------
    capacitance : [F]
    loss_factor : tan delta of the dielectric alone [1]
    series_resistance : metal and contacts, constant with frequency [ohm]
    inductance : ESL [H]
    rated_voltage : what dielectric and corona allow at any frequency [V rms]
    rated_current : what contacts and leads allow [A rms]
    thermal_resistance : hot spot to ambient [K/W]
    allowed_rise : of the hot spot over ambient [K]
    """

    capacitance: float
    loss_factor: float
    series_resistance: float
    inductance: float
    rated_voltage: float
    rated_current: float
    thermal_resistance: float
    allowed_rise: float

    def __post_init__(self) -> None:
        loose = {"loss_factor", "series_resistance", "inductance"}
        not_negative(**{name: getattr(self, name) for name in loose})
        positive(**{name: value for name, value in vars(self).items() if name not in loose})


@dataclass(frozen=True)
class Bank:
    """`strings` in parallel, each of `series` cans, all like `can` (counts, [1])."""

    can: Can
    strings: int
    series: int = 1

    def __post_init__(self) -> None:
        positive(strings=self.strings, series=self.series)

    @property
    def capacitance(self) -> float:
        """C strings/series [F]."""
        return self.can.capacitance * self.strings / self.series

    @property
    def inductance(self) -> float:
        """ESL series/strings, of the cans without the bus [H]."""
        return self.can.inductance * self.series / self.strings

    def esr(self, frequency: float) -> float:
        """ESR series/strings at `frequency` [Hz], see `can_esr` [ohm]."""
        return can_esr(self.can, frequency) * self.series / self.strings


@dataclass(frozen=True)
class VoltageLimit:
    """The highest voltage a can may carry at one frequency.

    Fields
    ------
    voltage : [V rms]
    current : the current at that voltage [A rms]
    bound : which of the three bounds is the lowest
    outside : notes on the range, see `ranged.Figure`
    """

    voltage: float
    current: float
    bound: Bound
    outside: tuple[str, ...] = ()


@dataclass(frozen=True)
class CanStress:
    """What one can of a bank carries.

    Fields
    ------
    voltage, current : [V rms], [A rms]
    loss : heat made in the can [W]
    rise : of the hot spot over ambient [K]
    limit : what it may carry at this frequency
    ratio : voltage over the limit's voltage [1]
    """

    voltage: float
    current: float
    loss: float
    rise: float
    limit: VoltageLimit
    ratio: float


@dataclass(frozen=True)
class Sharing:
    """How the current divides between the strings of a bank.

    Fields
    ------
    shares : current of each string over the equal share, in the order along the bus [1]
    worst : the largest of them [1]
    """

    shares: tuple[float, ...]
    worst: float


def capacitor_voltage(current: float, frequency: float, capacitance: float) -> float:
    """Voltage of a capacitor that carries a sine current: V = I/(2 pi f C) [V].

    `current` I [A], rms or peak, and the voltage likewise; `frequency` f [Hz], `capacitance`
    C [F]. ValueError for f or C not above 0. Source: definition of reactance. Exact.
    """
    positive(frequency=frequency, capacitance=capacitance)
    return current / (2.0 * math.pi * frequency * capacitance)


def can_esr(can: Can, frequency: float) -> float:
    """ESR = R_s + tan(delta0)/(2 pi f C) [ohm].

    `frequency` f [Hz]; ValueError when not above 0. Source: IEC 61071 (2017), definitions of
    tangent of the loss angle and of the equivalent series resistance (recalled from memory).
    Range: loss factor of the dielectric constant (polypropylene 1e-4 to 2e-4 from 1 to
    100 kHz), well below the self-resonance.
    """
    return can.series_resistance + capacitor_voltage(can.loss_factor, frequency, can.capacitance)


def loss_factor(can: Can, frequency: float) -> float:
    """tan delta of the whole can, 2 pi f C ESR [1]; see `can_esr`.

    Source: definition of the loss factor. Range as for `can_esr`.
    """
    return 2.0 * math.pi * frequency * can.capacitance * can_esr(can, frequency)


def can_loss(can: Can, frequency: float, current: float) -> float:
    """Heat made in a can, P = I^2 ESR [W]; `current` [A rms], `frequency` [Hz].

    Source: IEC 61071, losses (recalled from memory). Range as for `can_esr`, sine current.
    """
    return current**2 * can_esr(can, frequency)


def self_resonance(can: Can) -> float:
    """1/(2 pi sqrt(ESL C)) [Hz], inf without inductance. Source: definition. Exact."""
    if can.inductance == 0.0:
        return math.inf
    return 1.0 / (2.0 * math.pi * math.sqrt(can.inductance * can.capacitance))


def voltage_limit(can: Can, frequency: float) -> VoltageLimit:
    """Highest sine voltage of a can at `frequency` [Hz].

    The lowest of: dielectric or corona, V_r at any frequency; self-heating, from
    V^2 2 pi f C tan(delta) R_th = rise allowed, falling as f^-1/2 while the loss factor is
    constant; current, I_r/(2 pi f C), falling as 1/f. ValueError for a frequency not above 0.
    Source: rating practice for film capacitors: a horizontal limit by dielectric or corona,
    a sloped one by self-heating (maker-independent terminology page; no equation printed).
    Range: sine, to a fifth of the self-resonance (C then looks up to 4 % larger).
    """
    admittance = 1.0 / capacitor_voltage(1.0, frequency, can.capacitance)
    tangent = loss_factor(can, frequency)
    heat = can.allowed_rise / can.thermal_resistance
    bounds: dict[Bound, float] = {
        "dielectric": can.rated_voltage,
        "self-heating": math.sqrt(heat / (admittance * tangent)) if tangent > 0.0 else math.inf,
        "current": can.rated_current / admittance,
    }
    bound = min(bounds, key=lambda name: bounds[name])
    notes = out_of_range("frequency", frequency, 0.0, self_resonance(can) / 5.0, "Hz")
    return VoltageLimit(bounds[bound], bounds[bound] * admittance, bound, notes)


def can_stress(bank: Bank, frequency: float, current: float, worst_share: float = 1.0) -> CanStress:
    """What the most loaded can of a bank carries and how near its limit it is.

    `frequency` [Hz], `current` of the whole bank [A rms], `worst_share` the largest share
    of a string over the equal one [1] (`bus_sharing`). Formulae and range: `can_esr`,
    `voltage_limit`; rise = P R_th, in the steady state. Source: Ohm's law and the sources
    of these.
    """
    each = current / bank.strings * worst_share
    voltage = capacitor_voltage(each, frequency, bank.can.capacitance)
    loss = can_loss(bank.can, frequency, each)
    limit = voltage_limit(bank.can, frequency)
    rise = loss * bank.can.thermal_resistance
    return CanStress(voltage, each, loss, rise, limit, voltage / limit.voltage)


def bus_sharing(
    bank: Bank,
    frequency: float,
    bus_inductance: float,
    bus_resistance: float = 0.0,
    opposite_ends: bool = False,
) -> Sharing:
    """Current of each string when the strings sit along a two-rail bus.

    The bus has `bus_inductance` [H] and `bus_resistance` [ohm] go-and-return between one
    string and the next, half of it in each rail; each string is its R, L and C in series. The
    current enters one rail at the first string and leaves the other there too, or, with
    `opposite_ends`, at the last string. Nodal equations of the ladder, solved with numpy. Below
    resonance the inductance before a far capacitor cancels part of its reactance, so the far
    string of a bus fed at one end carries more, not less. ValueError for a frequency not
    above 0. Source: Kirchhoff's laws. Range: sine; no mutual inductance between segments;
    shorter than a twentieth of a wavelength.
    """
    positive(frequency=frequency)
    count = bank.strings
    admittance = 1.0 / _string_impedance(bank, frequency)
    segment = 0.5 * complex(bus_resistance, 2.0 * math.pi * frequency * bus_inductance)
    if count == 1 or segment == 0.0:
        return Sharing((1.0,) * count, 1.0)
    # Two rails of `count` nodes: the rail's own segments, and the strings across.
    chain = np.diag([1.0] + [2.0] * (count - 2) + [1.0]) - np.eye(count, k=1) - np.eye(count, k=-1)
    rail = chain / segment + admittance * np.eye(count)
    across = -admittance * np.eye(count)
    matrix = np.block([[rail, across], [across, rail]])
    injected = np.zeros(2 * count, dtype=complex)
    injected[0] = 1.0
    out = 2 * count - 1 if opposite_ends else count
    injected[out] = -1.0
    # One node is the reference; its row and column go.
    volts = np.append(np.linalg.solve(matrix[:-1, :-1], injected[:-1]), 0.0)
    shares = np.abs((volts[:count] - volts[count:]) * admittance) * count
    return Sharing(tuple(float(share) for share in shares), float(shares.max()))


def _string_impedance(bank: Bank, frequency: float) -> complex:
    """R + j (omega L - 1/(omega C)) of one string [ohm]."""
    omega = 2.0 * math.pi * frequency
    can = bank.can
    reactance = omega * can.inductance - 1.0 / (omega * can.capacitance)
    return bank.series * complex(can_esr(can, frequency), reactance)
