"""Whole inverters with nearly ideal parts against closed forms and published inverters.

The circuit is the machine's own, bridge of MOSFETs and all, with parts as ideal as the engine
runs (see tests/machines.py). The closed form is the Fourier series of an ideal square wave through
the series-resonant impedance, odd harmonics to 15, written here and not taken from the project.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from simkit.circuit.analysis import Analysis
from simkit.measure.periodic import harmonic
from simkit.measure.point import OperatingPoint, operating_point
from simkit.measure.waveforms import Waves
from simkit.parameters.machine import Machine
from tests.machines import ideal, seeded_stretch, still
from tests.slowly import first_quick

# Gear, not the trapezoidal rule: with parts this ideal the latter rings at the edges and crawls
# for minutes (half a million points); gear damps that and costs a second. Its own damping of the
# tank is below 1e-3 at this step.
TIGHT = Analysis(step=10e-9, reltol=3e-5, method="gear")
ORDERS = np.arange(1, 16, 2)


@dataclass(frozen=True)
class Seen:
    """Last cycles of a run."""

    point: OperatingPoint
    waves: Waves
    """Whole cycles only."""
    switched_current: float
    """Primary current when the bridge voltage passes zero downward [A]."""


def seen(machine: Machine, frequency: float, cycles: int = 14) -> Seen:
    line = still(machine, cycles + 0.8, frequency=frequency, load="empty")
    found = seeded_stretch(machine, line, 4.0 / frequency, TIGHT)
    last = found.cycles[-4:]
    part = found.waves.between(last[0].start, last[-1].end)
    voltage = part.bridge_voltage
    falls = np.flatnonzero((voltage[:-1] > 0.0) & (voltage[1:] <= 0.0))
    level = 0.5 * (voltage[falls[0]] + voltage[falls[0] + 1])
    assert abs(level) < 2.0 * np.abs(voltage).max()
    switched = float(np.mean(part.primary_current[falls]))
    return Seen(operating_point(found.waves, last, found.transitions), part, switched)


def closed_form(
    level: float, inductance: float, capacitance: float, resistance: float, frequency: float
) -> dict[str, float]:
    """Series R-L-C on a square wave of half swing `level`: peaks by sampling the Fourier sum."""
    omega = 2 * np.pi * frequency * ORDERS
    impedance = resistance + 1j * (omega * inductance - 1 / (omega * capacitance))
    amplitude = 4 * level / (np.pi * ORDERS) / impedance
    angle = np.exp(1j * np.outer(np.linspace(0, 2 * np.pi, 20_001), ORDERS))
    # sin series: the square wave rises at time zero.
    current = (angle * amplitude).imag.sum(axis=1)
    voltage = (angle * amplitude / (1j * omega * capacitance)).imag.sum(axis=1)
    return {
        "tank_voltage": float(voltage.max()),
        "tank_current": float(current.max()),
        "power": float(0.5 * resistance * np.sum(np.abs(amplitude) ** 2)),
        "phase": float(np.degrees(np.angle(impedance[0]))),
    }


@pytest.mark.slow
@pytest.mark.parametrize("bridge", ["full", "half-blocking"])
@pytest.mark.parametrize("detuning", [0.975, 1.0, 1.025, 0.95, 1.05])
def test_series_resonance_with_harmonics(bridge: str, detuning: float) -> None:
    """Tank voltage, tank current, supply current within 1 %, phase within 0.6 degrees.

    0.6 degrees is 1 % of a radian. Loop: 1.5 uH, 4.4 uF, 60 milliohm; the bridge's own 0.1 ohm and
    1 uH, seen through 10:1, are part of it.
    """
    turns, link = 10, 100.0
    inductance, capacitance, resistance = 1.5e-6, 4.4e-6, 60e-3
    machine = ideal(bridge, link=link, series_resistance=0.1, leakage=1e-6, magnetising=50e-3,
                    turns=turns, capacitance=capacitance, inductance=inductance,
                    resistance=resistance)  # fmt: skip
    loop_l, loop_r = inductance + 1e-6 / turns**2, resistance + 0.1 / turns**2
    frequency = detuning / (2 * np.pi * np.sqrt(loop_l * capacitance))
    level = link if bridge == "full" else link / 2
    wanted = closed_form(level / turns, loop_l, capacitance, loop_r, frequency)
    found = seen(machine, frequency, 20)
    assert np.abs(found.waves.bank_voltage).max() == pytest.approx(wanted["tank_voltage"], rel=0.01)
    assert found.point.tank_current_peak_a == pytest.approx(wanted["tank_current"], rel=0.01)
    assert found.point.supply_current_a == pytest.approx(wanted["power"] / link, rel=0.01)
    assert found.point.phase_deg == pytest.approx(wanted["phase"], abs=0.6)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("frequency", "power", "current", "voltage", "switched"),
    [(25e3, 245.90, 6.994, 215.1, 6.77), (20e3, 981.98, 13.997, 540.7, None),
     (16e3, 247.30, 7.392, 337.7, -4.90)],
)  # fmt: skip
def test_full_bridge_of_a_textbook_design(
    frequency: float, power: float, current: float, voltage: float, switched: float | None
) -> None:
    """Values by matrix exponential and harmonic sum for 110 V, 10 ohm, 306.3 uH, 0.2067 uF.

    The design is Rashid, Power Electronics, 4th ed., Example 7.6. 0.2 %, the references' own; the
    parts that are not ideal (two switches of 1.5 milliohm, edges of 10 ns) take 0.1 % of it below
    resonance and less elsewhere. Switched current 1 %: it is read where
    the node passes zero, a few nanoseconds after the ideal instant.
    """
    machine = ideal("full", link=110.0, series_resistance=3.2e-3, leakage=1e-9, magnetising=5.0,
                    turns=1, capacitance=0.2067e-6, inductance=306.3e-6,
                    resistance=10.0)  # fmt: skip
    found = seen(machine, frequency)
    assert found.point.workpiece_power_w == pytest.approx(power, rel=0.002)
    assert found.point.tank_current_peak_a == pytest.approx(current, rel=0.002)
    assert np.abs(found.waves.bank_voltage).max() == pytest.approx(voltage, rel=0.002)
    if switched is not None:
        assert found.switched_current == pytest.approx(switched, rel=0.01)


@pytest.mark.slow
def test_full_bridge_with_matching_transformer() -> None:
    """A case with +-311 V, 0.1 ohm, 10 uH, 2 mH, 18:1, a loop of 0.6 uF, 1.5 uH, 30 milliohm.

    At 171 kHz. Computed by matrix exponential; a harmonic sum to order 4001 agrees to 1e-6.
    Tolerance 0.3 %.
    """
    machine = ideal("full", link=311.0, series_resistance=0.1, leakage=10e-6, magnetising=2e-3,
                    turns=18, capacitance=0.6e-6, inductance=1.5e-6, resistance=30e-3)  # fmt: skip
    found = seen(machine, 171e3, 40)
    point, part = found.point, found.waves
    assert point.workpiece_power_w == pytest.approx(745.222, rel=0.003)
    assert point.input_power_w == pytest.approx(753.029, rel=0.003)
    assert point.coil_current_rms_a == pytest.approx(157.609, rel=0.003)
    assert point.tank_current_peak_a == pytest.approx(223.587, rel=0.003)
    assert np.abs(part.bank_voltage).max() == pytest.approx(345.260, rel=0.003)
    assert point.primary_current_rms_a == pytest.approx(8.83606, rel=0.003)
    assert point.primary_current_peak_a == pytest.approx(12.5463, rel=0.003)
    assert found.switched_current == pytest.approx(12.1287, rel=0.003)
    assert point.phase_deg == pytest.approx(72.280, rel=0.003)


@pytest.mark.slow
@pytest.mark.parametrize("bridge", ["half-split", "half-blocking"])
def test_half_bridge_with_matching_transformer(bridge: str) -> None:
    """A case with 325 V, 0.15 ohm, 6 uH, 1 mH, 12:1, loop of 1 uF, 2 uH, 60 milliohm, 115 kHz.

    Computed by matrix exponential and harmonic sum; tolerance 0.3 %.
    """
    machine = ideal(bridge, link=325.0, series_resistance=0.15, leakage=6e-6, magnetising=1e-3,
                    turns=12, capacitance=1e-6, inductance=2e-6, resistance=60e-3)  # fmt: skip
    found = seen(machine, 115e3, 40)
    point = found.point
    assert point.workpiece_power_w == pytest.approx(732.93, rel=0.003)
    assert point.input_power_w == pytest.approx(745.97, rel=0.003)
    assert point.coil_current_rms_a == pytest.approx(110.52, rel=0.003)
    assert point.tank_current_peak_a == pytest.approx(155.60, rel=0.003)
    assert np.abs(found.waves.bank_voltage).max() == pytest.approx(216.34, rel=0.003)
    assert point.primary_current_rms_a == pytest.approx(9.324, rel=0.003)
    assert found.switched_current == pytest.approx(11.344, rel=0.003)
    assert point.phase_deg == pytest.approx(56.85, rel=0.003)


@pytest.mark.parametrize(
    ("bridge", "wanted"), first_quick([("full", 203.718), ("half-split", 101.859)])
)
def test_fundamental_of_the_bridge_voltage(bridge: str, wanted: float) -> None:
    """4 Vg/pi and 2 Vg/pi at 160 V (Erickson, Fundamentals of Power Electronics, equation 22.2).

    1e-4: the node's edges of some nanoseconds and the drop across 3 milliohm take 7e-5 at most.
    """
    machine = ideal(bridge, link=160.0, series_resistance=3.2e-3, leakage=1e-6, magnetising=50e-3,
                    turns=10, capacitance=4.4e-6, inductance=1.5e-6, resistance=60e-3)  # fmt: skip
    part = seen(machine, 70e3, 12).waves
    first = harmonic(part.time, part.bridge_voltage, 70e3)
    assert abs(first) == pytest.approx(wanted, rel=1e-4)
