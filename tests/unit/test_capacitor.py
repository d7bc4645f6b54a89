"""Film capacitors: limits against frequency, loss and sharing on a bus.

Outside: the closed form of a uniform ladder, V_k proportional to cosh((n - k + 1/2) theta)
with 2 sinh(theta/2) = sqrt(Z_segment/Z_shunt) (filter theory, recalled from memory), and
the slopes of the limit lines of rating practice (horizontal, f^-1/2, f^-1).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import pytest

from simkit.parts.capacitor import (
    Bank,
    Can,
    bus_sharing,
    can_esr,
    can_loss,
    can_stress,
    capacitor_voltage,
    loss_factor,
    self_resonance,
    voltage_limit,
)
from tests.oracles.capacitor import capacitance_at

CAN = Can(0.33e-6, 2e-4, 2e-3, 15e-9, 250.0, 16.0, 12.0, 20.0)


def test_loss_factor_is_the_dielectric_at_low_and_the_metal_at_high_frequency() -> None:
    assert loss_factor(CAN, 100.0) == pytest.approx(2e-4, rel=0.01)
    far = 2 * math.pi * 10e6 * CAN.capacitance * CAN.series_resistance
    assert loss_factor(CAN, 10e6) == pytest.approx(far, rel=0.01)


def test_power_two_ways() -> None:
    # V^2 omega C tan(delta) and I^2 ESR are one power: same for any R_s.
    voltage = capacitor_voltage(7.0, 80e3, CAN.capacitance)
    other = voltage**2 * 2 * math.pi * 80e3 * CAN.capacitance * loss_factor(CAN, 80e3)
    assert can_loss(CAN, 80e3, 7.0) == pytest.approx(other, rel=1e-12)


@pytest.mark.parametrize(("change", "bound", "slope"), [
    ({}, "dielectric", 0.0),
    ({"rated_voltage": 1e6, "rated_current": 1e6, "series_resistance": 0.0}, "self-heating", -0.5),
    ({"rated_voltage": 1e6, "allowed_rise": 1e6}, "current", -1.0),
])  # fmt: skip
def test_three_bounds_and_their_slopes(change: dict[str, float], bound: str, slope: float) -> None:
    can = replace(CAN, **change)
    low, high = voltage_limit(can, 1e3), voltage_limit(can, 2e3)
    assert (low.bound, high.bound) == (bound, bound)
    assert math.log2(high.voltage / low.voltage) == pytest.approx(slope, abs=1e-9)


def test_at_the_self_heating_bound_the_rise_is_the_allowed_one() -> None:
    can = replace(CAN, rated_voltage=1e6, rated_current=1e6)
    stress = can_stress(Bank(can, 1), 90e3, voltage_limit(can, 90e3).current)
    assert stress.rise == pytest.approx(can.allowed_rise, rel=1e-9)
    assert stress.ratio == pytest.approx(1.0, rel=1e-9)


def test_limit_near_self_resonance_says_so() -> None:
    assert voltage_limit(CAN, 0.1 * self_resonance(CAN)).outside == ()
    assert "outside the formula's range" in voltage_limit(CAN, 0.5 * self_resonance(CAN)).outside[0]
    assert self_resonance(replace(CAN, inductance=0.0)) == math.inf


def test_bank_of_strings_and_series() -> None:
    bank = Bank(CAN, strings=6, series=2)
    assert bank.capacitance == pytest.approx(3 * 0.33e-6)
    assert bank.esr(1e5) == pytest.approx(can_esr(CAN, 1e5) / 3)
    assert bank.inductance == pytest.approx(5e-9)
    # each can of 2 in series in 6 strings: a sixth of the current, half of the voltage
    stress = can_stress(bank, 1e5, 60.0)
    assert stress.current == pytest.approx(10.0)
    assert stress.voltage == pytest.approx(0.5 * capacitor_voltage(60.0, 1e5, bank.capacitance))


def test_series_cans_leave_the_sharing_of_strings_as_a_longer_string_would() -> None:
    twice = replace(CAN, capacitance=CAN.capacitance / 2, inductance=30e-9, series_resistance=4e-3)
    a = bus_sharing(Bank(CAN, 4, 2), 2e5, 20e-9, 1e-4)
    b = bus_sharing(Bank(twice, 4, 1), 2e5, 20e-9, 1e-4)
    assert a.shares == pytest.approx(b.shares, rel=1e-9)


@pytest.mark.parametrize("count", [2, 3, 8])
def test_sharing_is_the_closed_form_of_a_uniform_ladder(count: int) -> None:
    frequency, inductance, resistance = 150e3, 25e-9, 2e-4
    omega = 2 * math.pi * frequency
    shunt = can_esr(CAN, frequency) + 1j * (omega * CAN.inductance - 1 / (omega * CAN.capacitance))
    segment = resistance + 1j * omega * inductance
    theta = 2 * cmath.asinh(0.5 * cmath.sqrt(segment / shunt))
    wave = [cmath.cosh((count - k + 0.5) * theta) for k in range(1, count + 1)]
    expected = [abs(w / sum(wave)) * count for w in wave]
    got = bus_sharing(Bank(CAN, count), frequency, inductance, resistance)
    assert got.shares == pytest.approx(expected, rel=1e-9)  # both exact: round-off only
    assert got.worst == got.shares[-1] > 1.0  # the far one carries most


def test_feeding_from_opposite_ends_evens_the_sharing() -> None:
    bank = Bank(CAN, 6)
    one, both = (bus_sharing(bank, 150e3, 25e-9, 2e-4, opposite_ends=o) for o in (False, True))
    assert both.worst < one.worst
    assert both.shares == pytest.approx(both.shares[::-1], rel=1e-9)


def test_no_bus_no_difference() -> None:
    assert bus_sharing(Bank(CAN, 3), 1e5, 0.0).shares == (1.0, 1.0, 1.0)


def test_drift_warns_outside_its_range() -> None:
    assert capacitance_at(1e-6, 20.0).value == 1e-6
    assert capacitance_at(1e-6, 80.0).outside == ()
    assert "temperature" in capacitance_at(1e-6, 130.0).outside[0]


@pytest.mark.parametrize("field", ["capacitance", "rated_voltage", "thermal_resistance"])
def test_refuses_what_no_can_has(field: str) -> None:
    with pytest.raises(ValueError, match=field):
        replace(CAN, **{field: 0.0})


def test_refuses_a_frequency_of_zero() -> None:
    with pytest.raises(ValueError, match="frequency"):
        voltage_limit(CAN, 0.0)
