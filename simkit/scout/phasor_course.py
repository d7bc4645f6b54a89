"""The tank's envelope in phasors: how the current's angle follows a drive of moving frequency.

With u(t) = Re(U exp(j w t)) and the states x(t) = Re(X exp(j w t)), the envelope of the network
dx/dt = A x + b u obeys dX/dt = (A - j w) X + b U (the state written in a frame that turns with the
drive; textbook, "dynamic phasors"). In the coordinates of A's eigenvectors a step is exact while w,
L and R stand still:

    Z(t + h) = Z_s + (Z(t) - Z_s) exp((s - j w) h),  Z_s = b U / (j w - s)

Harmonics of the bridge's square wave are taken as settled, from the impedances; with them the
instant at which the current crosses zero is found, which is what a detector sees. Exact for slow
change; left out: the link's sag, harmonics in motion. Angles count from the middle of the dead
time, where the gate commands change over.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi

import numpy as np

from simkit.parameters.machine import Load, Machine
from simkit.scout.drive import machine_edges
from simkit.scout.halfwave import Complex, Modes, modes_of
from simkit.scout.phasor import bank_share, input_impedance
from simkit.scout.plant import OUTPUTS, Array, network, plant_from_machine

ORDERS = np.arange(3.0, 24.0, 2.0)
"""Harmonics of the bridge's voltage whose current is counted [1]."""
PRIMARY, BANK, LOAD, COIL = (
    OUTPUTS.index(x)
    for x in ("primary_current", "capacitor_voltage", "load_current", "coil_current")
)


@dataclass(frozen=True)
class Seen:
    """What a detector sees.

    Fields: angle by which its signal lags the gates' change-over [rad], a quarter period taken off
    the bank's voltage; lag: the same of the bridge's current; level: the signal's peak [A] or
    [V]; current: the bridge's peak [A].
    """

    angle: float
    lag: float
    level: float
    current: float


@dataclass(frozen=True)
class Envelope:
    """A machine's envelope along values of its coil.

    Fields: modes per value; rows: of the outputs; level: bridge output [V]; harmonics, sensed:
    bridge's voltage over its and over the bank's current and over frequency at `ORDERS`, as
    inductances [H]; edges of the bridge.
    """

    modes: list[Modes]
    rows: Array
    level: Array
    harmonics: Array
    sensed: Array
    dead_time: float
    lead: float
    charge: float
    signal: str
    lead_network: float

    @staticmethod
    def of(
        machine: Machine, inductance: Array, resistance: Array, voltage: Array, frequency: float,
        signal: str = "current", lead_network: float = 0.0,
    ) -> Envelope:  # fmt: skip
        """Of a machine along the coil's inductance [H], resistance [ohm] and the link [V]."""
        load = Load(inductance=float(inductance[0]), resistance=float(resistance[0]))
        plant = plant_from_machine(machine, load, float(voltage[0]))
        net, edges = network(plant, inductance, resistance), machine_edges(machine)
        ends = [0, len(inductance) - 1]
        plants = [replace(plant, coil_inductance=float(inductance[k])) for k in ends]
        high = [input_impedance(p, frequency * ORDERS) for p in plants]
        bank = [z / bank_share(p, frequency * ORDERS) for p, z in zip(plants, high, strict=True)]
        omega = 2.0 * pi * frequency * ORDERS
        rows = net.c[:, (PRIMARY, BANK, LOAD)]
        if plant.feed == "shunt":
            rows[:, 2] -= net.c[:, COIL]
        return Envelope(
            modes_of(net), rows, voltage * plant.level_share,
            np.mean(high, axis=0).imag / omega, np.mean(bank, axis=0).imag / omega,
            edges.dead_time, edges.lead, edges.swing_charge, signal, lead_network,
        )  # fmt: skip

    def settled(self, k: int, frequency: float) -> Complex:
        """States at a drive frequency [Hz] once settled."""
        m, omega = self.modes[k], 2j * pi * frequency
        return np.asarray(m.vectors @ (m.drive * self._drive(k) / (omega - m.rates)))

    def stepped(self, k: int, x: Complex, frequency: float, time: float) -> Complex:
        """States after a time [s] at a drive frequency [Hz]."""
        m, omega = self.modes[k], 2j * pi * frequency
        rest = m.drive * self._drive(k) / (omega - m.rates)
        gone = np.exp((m.rates - omega) * time)
        return np.asarray(m.vectors @ (rest + (m.inverse @ x - rest) * gone))

    def _drive(self, k: int) -> float:
        return 4.0 / pi * float(self.level[k])

    def seen(self, k: int, x: Complex, frequency: float) -> Seen:
        """What the detector sees of states at a drive frequency [Hz]."""
        current, bank, through = (complex(v) for v in self.rows[k] @ x)
        lag, peak = -float(np.angle(current)), abs(current)
        omega = 2.0 * pi * frequency
        size = 4.0 * self.level[k] / (pi * ORDERS**2 * omega)
        harmonics = size / self.harmonics
        late = self._edge(lag, peak, omega, harmonics)
        plain = self._crossing(lag, peak, harmonics, 0.0) + late
        if self.signal == "tank":
            return Seen(-float(np.angle(bank)) - 0.5 * pi + late, plain, abs(bank), peak)
        ahead, level = omega * self.lead_network, peak
        if self.signal == "bank":
            lag, level = -float(np.angle(through)), abs(through)
            harmonics = size / self.sensed
        elif not ahead:
            return Seen(plain, plain, peak, peak)
        return Seen(self._crossing(lag, level, harmonics, ahead) + late, plain, level, peak)

    def _edge(self, lag: float, peak: float, omega: float, harmonics: Array) -> float:
        """By how much the bridge's voltage, half-way over, comes after the change-over [rad].

        A lagging current moves the nodes after its pair went off; a leading one leaves them until
        the other pair turns on.
        """
        broken = peak * np.sin(lag) + float(np.sum(harmonics))  # at the edge: -i, see below
        if broken * self.dead_time <= self.charge:
            return float(omega * (self.dead_time - self.lead))
        return float(omega * (0.5 * self.charge / broken - self.lead))

    def _crossing(self, lag: float, peak: float, harmonics: Array, t: float) -> float:
        """Angle at which i + T di/dt, t = w T, crosses zero near the fundamental's zero [rad].

        i = I sin(a - lag) - sum(H_k cos(k a)): each harmonic of the voltage is a sine, its current,
        through an inductance, lags by a quarter period.
        """
        a = lag - float(np.arctan(t))
        for _ in range(3):
            k = ORDERS * a
            value = peak * (np.sin(a - lag) + t * np.cos(a - lag))
            value += float(np.sum(harmonics * (-np.cos(k) + t * ORDERS * np.sin(k))))
            slope = peak * (np.cos(a - lag) - t * np.sin(a - lag))
            slope += float(np.sum(harmonics * ORDERS * (np.sin(k) + t * ORDERS * np.cos(k))))
            a -= float(np.clip(value / slope if slope else 0.0, -0.3, 0.3))
        return a
