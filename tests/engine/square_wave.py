"""Current of the demonstration machine's bridge by hand: a square wave's harmonics (Fourier) into
the series circuit of blocking capacitor, leakage, magnetising branch, coil and bank.

Left out: what the edges take of the half period, and body diodes' drops.
"""

from __future__ import annotations

import numpy as np

from simkit.parameters.machine import Machine

ORDERS = np.arange(1, 40, 2)


def impedance(machine: Machine, load: str, frequency: float) -> np.ndarray:
    """What the bridge sees at the odd harmonics of a frequency [Hz], [ohm]."""
    transformer, tank, piece = machine.transformer, machine.tank, machine.load(load)
    channel, drive = machine.switch.channel, machine.drive
    assert transformer.blocking_capacitance is not None
    omega = 2 * np.pi * frequency * ORDERS
    coil = piece.resistance + 1j * omega * piece.inductance + transformer.secondary_resistance
    bank = tank.can_esr / tank.cans + 1 / (1j * omega * tank.can_capacitance * tank.cans)
    reflected = transformer.ratio**2 * (coil + bank)
    branch = 1j * omega * transformer.magnetising_inductance
    opened = channel.transconductance * (drive.voltage_on - channel.threshold)
    series = 2 * (channel.drain_resistance + 1 / opened) + transformer.primary_resistance
    blocking = 1 / (1j * omega * transformer.blocking_capacitance)
    leakage = 1j * omega * transformer.leakage_inductance
    return np.asarray(series + leakage + blocking + reflected * branch / (reflected + branch))


def after_edge(
    machine: Machine, load: str, frequency: float, link: float, times: np.ndarray
) -> np.ndarray:
    """Current at times [s] after an edge of the bridge voltage, link [V], in the direction in which
    the switch that went off had carried it [A]; positive while it lags."""
    turning = np.exp(2j * np.pi * frequency * np.multiply.outer(times, ORDERS))
    each = 4 * link / (np.pi * ORDERS) / impedance(machine, load, frequency)
    return np.asarray(-(turning * each).imag.sum(axis=-1))
