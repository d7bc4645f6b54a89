"""Whole inverters with published or independently computed figures, through the fast model.

The figures are those of the project's list of check values, section "Voltage-fed resonant
inverters"; where they come from stands beside each.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf, pi, sqrt

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.linalg import expm

from simkit.parts.diode import ramp_recovery
from simkit.scout import phasor
from simkit.scout.plant import Plant
from simkit.scout.steady import resonant_frequency, steady

# Circuit of Rashid, Power Electronics, 4th ed., example 7.6: 1 kW, 10 ohm, 20 kHz.
SERIES = Plant("full", 110.0, 0.0, 0.0, inf, 1.0, 0.0, "loop", 0.2067e-6, 0.0, 306.3e-6, 10.0)
FULL = Plant("full", 311.0, 0.1, 10e-6, 2e-3, 18.0, 0.0, "loop", 0.6e-6, 0.0, 1.5e-6, 30e-3)
# The reference has a stiff midpoint; 1 F in its place shifts the voltage by a millionth.
HALF = Plant(
    "half-split", 325.0, 0.15, 6e-6, 1e-3, 12.0, 0.0, "loop", 1e-6, 0.0, 2e-6, 60e-3,
    blocking_capacitance=1.0,
)  # fmt: skip


def half_period(frequency: float) -> tuple[np.ndarray, np.ndarray]:
    """Current [A] and capacitor voltage [V] of SERIES over half a period, by its own equations.

    L di/dt = V - R i - u, C du/dt = i with V constant is x' = A x + b. In the steady state the
    other half is the first with its sign turned, so x(T/2) = -x(0) gives
    x(0) = -(1 + E)^-1 (E - 1) A^-1 b with E = exp(A T/2).
    """
    matrix = np.array(
        [[-SERIES.coil_resistance / SERIES.coil_inductance, -1 / SERIES.coil_inductance],
         [1 / SERIES.capacitance, 0.0]]
    )  # fmt: skip
    forced = np.linalg.solve(matrix, [SERIES.supply_voltage / SERIES.coil_inductance, 0.0])
    whole = expm(matrix * 0.5 / frequency)
    state = -np.linalg.solve(np.eye(2) + whole, (whole - np.eye(2)) @ forced)
    step = expm(matrix * 0.5 / frequency / 4000)
    states = [state]
    for _ in range(4000):
        states.append(step @ (states[-1] + forced) - forced)
    course = np.array(states)
    return course[:, 0], course[:, 1]


@pytest.mark.parametrize("frequency", [20e3, 16e3, 25e3])
def test_series_loaded_inverter(frequency: float) -> None:
    """INV-03b: the circuit's differential equations, by matrix exponential (above).

    1e-5: a peak between two of 4000 points is missed by (pi/4000)^2/8 of itself at most.
    """
    current, voltage = half_period(frequency)
    found = steady(SERIES, frequency)
    power = SERIES.coil_resistance * trapezoid(current**2) / 4000
    assert found.coil_power == pytest.approx(power, rel=1e-5)
    assert found.primary_current_peak == pytest.approx(np.abs(current).max(), rel=1e-5)
    assert found.bank_voltage_peak == pytest.approx(np.abs(voltage).max(), rel=1e-5)


@pytest.mark.parametrize(("frequency", "mode"), [(25e3, "inductive"), (16e3, "capacitive")])
def test_series_loaded_inverter_turn_off(frequency: float, mode: str) -> None:
    """INV-03b: lagging above resonance, leading below; the current as the half period ends."""
    found = steady(SERIES, frequency)
    assert found.mode == mode
    assert found.turn_off_current == pytest.approx(half_period(frequency)[0][-1], rel=1e-5)


@pytest.mark.parametrize(
    ("plant", "level"), [(FULL, 4 / pi * 311.0), (HALF, 2 / pi * 325.0)], ids=["full", "half"]
)
def test_bridge_fundamental(plant: Plant, level: float) -> None:
    """INV-11: Erickson, Fundamentals of Power Electronics, eq. 22.2; 160 V gives 203.7 V."""
    found = abs(phasor.solve(plant, 100e3).bridge_voltage[0])
    assert found == pytest.approx(level, rel=1e-4)
    assert 4 / pi * 160.0 == pytest.approx(203.7, rel=1e-4)


def test_full_bridge_with_matching_transformer() -> None:
    """INV-13: matrix exponential and harmonic sum to k = 4001, which agree to 1e-6.

    2e-5: the figures are printed with six digits; the list allows 0.3 %.
    """
    found = steady(FULL, 171e3)
    expected = {
        "coil_power": 745.222,
        "input_power": 753.029,
        "coil_current_rms": 157.609,
        "coil_current_peak": 223.587,
        "bank_voltage_peak": 345.260,
        "primary_current_rms": 8.83606,
        "primary_current_peak": 12.5463,
        "turn_off_current": 12.1287,
        "phase_deg": 72.280,
    }
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx(value, rel=2e-5), name


def test_half_bridge_with_matching_transformer() -> None:
    """INV-16: matrix exponential and harmonic sum; 1e-4 as four or five digits are printed."""
    found = steady(HALF, 115e3)
    expected = {
        "coil_power": 732.93,
        "input_power": 745.97,
        "coil_current_rms": 110.52,
        "coil_current_peak": 155.60,
        "bank_voltage_peak": 216.34,
        "primary_current_rms": 9.324,
        "turn_off_current": 11.344,
        "phase_deg": 56.85,
    }
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx(value, rel=1e-4), name


def test_lumped_charge_recovery_peak() -> None:
    """RR-03: 10 A, 100 A/us, tau 1 us, T_M 0.2 us give 24.047 A, by an independent root finder.

    1e-4 as five digits are printed.
    """
    found = ramp_recovery(10.0, 100e6, 1e-6, 0.2e-6)
    assert found.peak == pytest.approx(24.047, rel=1e-4)


@pytest.mark.parametrize("share", [1.0, 0.5], ids=["full", "half"])
def test_identities_at_resonance(share: float) -> None:
    """Loop EMF (4/pi) Vdc/n (half bridge: half), current EMF/R, tank voltage Q times the EMF.

    First-harmonic identities, common practice, no source. The third harmonic, EMF 1/3 on
    Z0 (3 - 1/3), carries 1/(8 Q) of the first's current, 0.3 % at Q = 40; all together stay
    below 0.5 %.
    """
    inductance, capacitance, ratio = 1e-6, 4e-6, 20.0
    resistance = sqrt(inductance / capacitance) / 40.0
    plant = Plant(
        "full", 300.0, 0.0, 0.0, inf, ratio, 0.0, "loop", capacitance, 0.0, inductance, resistance
    )
    if share != 1.0:
        plant = replace(plant, bridge="half-split", blocking_capacitance=1.0)
    frequency = 1 / (2 * pi * sqrt(inductance * capacitance))
    assert resonant_frequency(plant) == pytest.approx(frequency, rel=1e-4)
    found, emf = steady(plant, frequency), share * 4 / pi * 300.0 / ratio
    assert found.coil_current_peak == pytest.approx(emf / resistance, rel=5e-3)
    assert found.bank_voltage_peak == pytest.approx(40.0 * emf, rel=5e-3)
    assert found.phase_deg == pytest.approx(0.0, abs=0.05)
