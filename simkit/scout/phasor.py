"""Harmonic solution of the plant by impedance algebra.

The bridge's output is taken as an ideal square wave of half swing V, whose harmonics are
4 V/(k pi) for odd k (Erickson, Fundamentals of Power Electronics, eq. 22.2 for the fundamental).
Each harmonic sees the ladder of impedances; no state-space matrix is used here, so that the two
ways of solving the same network check each other. Edges take no time and fall at phase 0 and 1/2.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf, pi

import numpy as np
from numpy.typing import NDArray

from simkit.scout.plant import Array, Plant

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Harmonics:
    """Complex peak amplitudes of odd harmonics; a waveform is sum(Re(X exp(j k w t))).

    Fields
    ------
    frequency : of the fundamental [Hz]
    order : harmonic numbers [1]
    bridge_voltage : [V]
    outputs : amplitudes by name as in `plant.OUTPUTS` [A] or [V]
    input_impedance : what the bridge sees [ohm]
    supply_voltage : DC link [V]
    coil_resistance : [ohm]
    """

    frequency: float
    order: Array
    bridge_voltage: Complex
    outputs: dict[str, Complex]
    input_impedance: Complex
    supply_voltage: float
    coil_resistance: float

    def waveform(self, name: str, times: Array) -> Array:
        """Output by name at times [s] from the rising edge of the bridge voltage, [A] or [V]."""
        angle = 2.0 * pi * self.frequency * np.outer(times, self.order)
        return np.asarray((np.exp(1j * angle) @ self.outputs[name]).real)

    def rms(self, name: str) -> float:
        """Root mean square of an output [A] or [V]: sqrt(sum |X|^2 / 2)."""
        return float(np.sqrt(0.5 * np.sum(np.abs(self.outputs[name]) ** 2)))

    @property
    def input_power(self) -> float:
        """Mean power out of the bridge [W]: sum Re(U I*)/2."""
        current = self.outputs["primary_current"]
        return float(0.5 * np.sum((self.bridge_voltage * current.conj()).real))

    @property
    def supply_current(self) -> float:
        """Average current out of the DC link [A]: input power over its voltage."""
        return self.input_power / self.supply_voltage

    @property
    def coil_power(self) -> float:
        """Mean power in the coil and its load [W]: R I_rms^2."""
        return self.coil_resistance * self.rms("coil_current") ** 2

    @property
    def phase_deg(self) -> float:
        """Angle by which the fundamental of the current lags that of the voltage [deg]."""
        return float(np.degrees(np.angle(self.input_impedance[0])))


def square_wave(level: float, order: Array) -> Complex:
    """Amplitudes of a square wave of half swing `level` [V], rising at time zero: 4 V/(j k pi)."""
    return np.asarray(4.0 * level / (1j * pi * order), dtype=np.complex128)


def _ladder(plant: Plant, omega: Array) -> tuple[Complex, Complex, Complex]:
    """Impedances [ohm]: coil, bank, everything beyond the ideal secondary."""
    s: Complex = np.asarray(1j * omega, dtype=np.complex128)
    coil: Complex = s * plant.coil_inductance + plant.coil_resistance
    bank: Complex = 1.0 / (s * plant.capacitance) + plant.capacitor_esr
    tank: Complex = coil + bank
    if plant.feed == "shunt":
        tank = coil * bank / tank + s * plant.matching_inductance + plant.matching_resistance
    return coil, bank, tank + plant.secondary_resistance


def input_impedance(plant: Plant, frequency: float | Array) -> Complex:
    """Impedance between the bridge's output nodes [ohm] at frequencies [Hz]."""
    omega = 2.0 * pi * np.asarray(frequency, dtype=float)
    return _front(plant, omega) + _behind(plant, omega)


def bank_share(plant: Plant, frequency: Array) -> Complex:
    """Current through the capacitor bank over the bridge's current [1] at frequencies [Hz]."""
    omega = 2.0 * pi * frequency
    coil, bank, load = _ladder(plant, omega)
    share = coil / (coil + bank) if plant.feed == "shunt" else 1.0
    return np.asarray(share * _behind(plant, omega) / (plant.ratio * load))


def _front(plant: Plant, omega: Array) -> Complex:
    front = plant.series_resistance + 1j * omega * plant.leakage_inductance
    if plant.blocking_capacitance is not None:
        front = front + 1.0 / (1j * omega * plant.blocking_capacitance)
    return np.asarray(front, dtype=np.complex128)


def _behind(plant: Plant, omega: Array) -> Complex:
    seen: Complex = plant.ratio**2 * _ladder(plant, omega)[2]
    if isinf(plant.magnetising_inductance):
        return seen
    magnetising = 1j * omega * plant.magnetising_inductance
    return np.asarray(seen * magnetising / (seen + magnetising), dtype=np.complex128)


def solve(plant: Plant, frequency: float, harmonics: int = 15) -> Harmonics:
    """Periodic solution for an ideal square wave at a frequency [Hz], odd harmonics up to a number.

    Currents divide at the magnetising branch and, shunt-fed, between bank and coil.
    """
    order = np.arange(1, harmonics + 1, 2, dtype=float)
    omega = 2.0 * pi * frequency * order
    coil, bank, load = _ladder(plant, omega)
    voltage = square_wave(plant.level, order)
    behind = _behind(plant, omega)
    impedance = _front(plant, omega) + behind
    primary = voltage / impedance
    load_current = primary * behind / (plant.ratio * load)
    coil_current = load_current
    if plant.feed == "shunt":
        coil_current = load_current * bank / (coil + bank)
    bank_current = load_current if plant.feed == "loop" else load_current - coil_current
    blocking = plant.blocking_capacitance
    outputs = {
        "primary_current": primary,
        "magnetising_current": primary - load_current / plant.ratio,
        "load_current": load_current,
        "coil_current": coil_current,
        "capacitor_voltage": bank_current / (1j * omega * plant.capacitance),
        "blocking_voltage": primary / (1j * omega * blocking) if blocking else 0.0 * primary,
    }
    return Harmonics(
        frequency, order, voltage, outputs, impedance, plant.supply_voltage, plant.coil_resistance
    )
