"""The virtual test circuits' readings, on straight lines whose crossings are worked out by hand."""

from dataclasses import astuple

import numpy as np
import pytest

from simkit.measure import bench

US = 1e-6


def axis(end: float, step: float = 1e-3) -> bench.Array:
    """Time from 0 [us]."""
    return np.asarray(np.linspace(0.0, end, round(end / step) + 1) * US)


def line(time: bench.Array, *points: tuple[float, float]) -> bench.Array:
    return np.interp(time, [t * US for t, _ in points], [v for _, v in points])


def test_the_first_passage_after_a_point() -> None:
    time, values = np.arange(6.0), np.array([0.0, 2.0, 2.0, 0.0, 4.0, 4.0])
    assert bench.at_level(time, values, 1.0) == 0.5
    assert bench.at_level(time, values, 1.0, 1.0) == 2.5
    assert bench.at_level(time, values, 1.0, 0.9) == 0.5
    assert bench.at_level(time, values, 1.0, 3.0) == 3.25
    assert bench.at_level(time + 10.0, values, 3.0) == 13.75
    # A sample on the level counts as having reached it.
    assert bench.at_level(time, values, 2.0) == 1.0
    assert np.isnan(bench.at_level(time, values, 5.0))
    assert np.isnan(bench.at_level(time, values, 1.0, 4.0))
    assert bench.at(time, values, 3.25) == 1.0
    assert bench.area(time, values) == 1.0 + 2.0 + 1.0 + 2.0 + 4.0


def test_voltages_at_a_current() -> None:
    time = np.linspace(0.0, 1.0, 11)
    # 5 mohm sense; 2 V of ramp over it at the end: 100 A there, 25 A at a quarter.
    vectors = {"time": time, "v(ramp)": 2.5 * time, "v(d3)": 2.0 * time}
    assert bench.voltage_at_current(vectors, 3, 25.0, 5e-3) == pytest.approx(0.5)
    vectors = {"time": time, "v(df)": -1.0 * time, "v(fw)": -3.0 * time}
    # 2 V over 0.1 ohm: 20 A at the end, 10 A in the middle, where the drain is at -0.5 V.
    assert bench.forward_voltage(vectors, 10.0, 0.1) == pytest.approx(0.5)
    vectors = {"time": time, "v(th)": 5.0 * time, "v(d2)": 4.0 * time, "v(k2)": time}
    assert bench.threshold(vectors, 0.5, 1.0) == pytest.approx(1.5)


def test_the_transfer_curve_and_its_slope() -> None:
    time = np.linspace(0.0, 1.0, 1001)
    # Gate 10 V x t above its source; drain current 100 A x t^2 through 1 mohm.
    vectors = {"time": time, "v(vdd)": np.full_like(time, 50.0), "v(d1)": 50.0 - 0.1 * time**2,
               "v(g1)": 11.0 * time, "v(k1)": time}  # fmt: skip
    assert bench.gate_voltage_at(vectors, 25.0) == pytest.approx(5.0, rel=1e-5)
    # I = v^2: dI/dv = 2 v = 10 S; a secant over +/- 5 % of I is off by less than 1e-3.
    assert bench.steepness(vectors, 25.0) == pytest.approx(10.0, rel=1e-3)


def test_capacitances_from_currents_and_slopes() -> None:
    time = np.linspace(0.0, 3.0, 4)
    vectors = {"time": time, "v(vd)": np.array([0.0, 1.0, 6.0, 0.0]), "v(d1)": np.zeros(4),
               "v(vg)": np.array([0.0, 0.0, 1.0, 9.0]),
               "v(g1)": np.array([0.0, 0.0, 3.0, 1.0])}  # fmt: skip
    found = bench.capacitances(vectors, (1.0, 2.0, 3.0), (10.0, 40.0), 2.0)
    # At rest 0.5 A leaks; 3 A while the drain climbs: 2.5 A over 10 V/s. Out of the gate 1 A then,
    # and 4 A into it while it is moved at 40 V/s.
    assert found == pytest.approx({"output": 0.25, "reverse": 0.1, "input": 0.1})


def test_gate_charge_by_two_tangents() -> None:
    time = axis(40.0, 0.01)
    # 1 mA from 1 us on: 6 V in 6 us (6 nC), plateau of 10 us (10 nC), then 0.5 V/us.
    vectors = {"time": time, "v(gate)": line(time, (0.99, 0.0), (1.0, 1e-3)),
               "v(k1)": 1.0 + 0 * time,
               "v(g1)": 1.0 + line(time, (1.0, 0.0), (7.0, 6.0), (17.0, 6.0), (37.0, 16.0)),
               "v(d1)": line(time, (7.0, 400.0), (17.0, 0.0))}  # fmt: skip
    found = bench.gate_charge(vectors, 1e-3, 400.0, 10.0)
    # The half sample in which the current comes up is 0.005 nC of it.
    assert found.gate_source == pytest.approx(6e-9, rel=2e-3)
    assert found.gate_drain == pytest.approx(10e-9, rel=2e-3)
    assert found.total == pytest.approx(24e-9, rel=2e-3)  # 8 us more from 6 V to 10 V
    assert found.plateau == pytest.approx(6.0)
    assert found.charge[0] == 0.0
    assert found.charge[-1] == pytest.approx(39e-9, rel=1e-3)
    assert found.gate_voltage[-1] == pytest.approx(16.0)


def test_gate_charge_where_the_lines_are_bent() -> None:
    time = axis(40.0, 0.01)
    # Slow to 1 V, then straight to 6 V from 4 to 9 us; plateau sloping from 6 to 7 V, 6.5 V in the
    # middle; then to 8 V slowly and to 14 V by 1 V/us.
    vectors = {"time": time, "v(gate)": line(time, (0.99, 0.0), (1.0, 1e-3)), "v(k1)": 0 * time,
               "v(g1)": line(time, (1.0, 0.0), (4.0, 1.0), (9.0, 6.0), (19.0, 7.0), (24.0, 8.0),
                             (30.0, 14.0)),
               "v(d1)": line(time, (9.0, 400.0), (19.0, 0.0))}  # fmt: skip
    found = bench.gate_charge(vectors, 1e-3, 400.0, 12.0)
    # 1 V/us between 1.95 V and 4.55 V: 6.5 V at 9.5 us, 8.5 us after the start.
    assert found.gate_source == pytest.approx(8.5e-9, rel=2e-3)
    # 12 V at 28 us; back along 1 V/us to 6.5 V at 22.5 us: 21.5 nC, less 8.5.
    assert found.total == pytest.approx(27e-9, rel=2e-3)
    assert found.gate_drain == pytest.approx(13e-9, rel=2e-3)


def test_recovery_of_a_triangle_by_each_definition() -> None:
    time = axis(3.0)
    current = line(time, (1.0, 20.0), (1.3, -10.0), (1.7, 0.0))
    vectors = {"time": time, "v(xq1.si)": 5.0 + 0.01 * current, "v(xq1.da)": 5.0 + 0 * time}
    assert bench.diode_current(vectors, 1, 0.01) == pytest.approx(current, abs=1e-9)
    found = bench.diode_recovery(vectors, 1.0 * US, 0.01)
    assert found.forward_current == pytest.approx(20.0)
    assert found.slope == pytest.approx(100e6, rel=1e-6)
    assert found.peak == pytest.approx(10.0)
    # From 1.2 us: 0.5 x 10 A x 0.5 us.
    assert found.charge == pytest.approx(2.5e-6, rel=1e-4)
    # Down by 25 A/us from 1.3 us: 1 A at 1.66, 2.5 A at 1.6; the line through 9 A and 2.5 A
    # ends at 1.7.
    wanted = {"10 %": 0.46e-6, "25 %": 0.40e-6, "90/25 line": 0.50e-6}
    assert found.times == pytest.approx(wanted, rel=1e-3)


def test_the_slope_is_taken_between_half_and_half() -> None:
    time = axis(3.0)
    # 50 A/us to 10 A, 150 A/us from there to -5 A, 50 A/us to -10 A.
    current = line(time, (1.0, 20.0), (1.2, 10.0), (1.3, -5.0), (1.4, -10.0), (1.8, 0.0))
    vectors = {"time": time, "v(xq1.si)": 0.01 * current, "v(xq1.da)": 0 * time}
    assert bench.diode_recovery(vectors, 1.0 * US, 0.01).slope == pytest.approx(150e6, rel=1e-6)


def test_energies_of_a_double_pulse() -> None:
    time = axis(8.0)
    voltage = line(time, (1.0, 3.0), (1.1, 330.0), (1.2, 300.0), (5.2, 300.0), (5.3, 3.0))
    current = line(time, (1.1, 12.0), (1.2, 0.0), (5.1, 0.0), (5.15, 15.0), (5.2, 10.0))
    vectors = {"time": time, "v(d2)": voltage, "v(a)": voltage + 1e-3 * current}
    found = bench.switching_energy(vectors, 1.0 * US, 5.0 * US, 1.0 * US)
    # 300 V x (0.5 x 15 x 0.05 + 12.5 x 0.05) uAs + 10 A x 151.5 V x 0.1 us + 30 W x 0.7 us, less
    # 30 W from where 15 V (a twentieth of 300 V) is passed, at 5.2 + 0.1 x 285/297 us.
    on = 300.0 * (0.375 + 0.625) + 151.5 + 21.0 - 30.0 * (6.0 - 5.2 - 0.1 * 285 / 297)
    assert found.turn_on == pytest.approx(on * US, rel=1e-4)
    # 12 A x 166.5 V x 0.1 us while it climbs; then (330 - 30 x) V x 12 (1 - x) A: 12 x 160 x 0.1.
    assert found.turn_off == pytest.approx((12.0 * 166.5 * 0.1 + 12.0 * 160.0 * 0.1) * US, rel=1e-4)
    assert found.peak_current == pytest.approx(15.0)
    assert found.peak_voltage == pytest.approx(330.0)


def test_avalanche_of_a_linear_fall() -> None:
    time = axis(20.0, 0.01)
    current = line(time, (0.0, 0.0), (2.0, 20.0), (12.0, 0.0), (13.0, -1.0))
    voltage = line(time, (1.99, 0.0), (2.0, 700.0), (12.0, 620.0))
    vectors = {"time": time, "v(d1)": 50.0 + 0 * time, "v(a)": 50.0 + 1e-3 * current,
               "v(xq1.di)": 7.0 + voltage, "v(xq1.si)": 7.0 + 0 * time}  # fmt: skip
    found = bench.avalanche(vectors, 2.0 * US)
    assert found.current == pytest.approx(20.0)
    # 90 % at 692 V, 10 % at 628 V: 660 V in the mean.
    assert found.voltage == pytest.approx(660.0, rel=1e-4)
    # Integral of (700 - 80 x) x 20 (1 - x) over x, times 10 us.
    assert found.energy == pytest.approx(20.0 * 10e-6 * (350.0 - 80.0 / 6.0), rel=1e-3)


def test_the_resistor_and_both_ends_count() -> None:
    time = np.linspace(0.0, 1.0, 11)
    vectors = {"time": time, "v(th)": 5.0 * time, "v(d2)": 4.0 * time, "v(k2)": time}
    # 1 V x t over 0.5 ohm: half an ampere at a quarter, 3 V x 0.25 there.
    assert bench.threshold(vectors, 0.5, 0.5) == pytest.approx(0.75)
    drain = np.array([5.0, 5.0, 7.0, 5.0])
    supply = np.array([5.0, 6.0, 13.0, 5.0])
    vectors = {"time": np.arange(4.0), "v(vd)": supply, "v(d1)": drain,
               "v(vg)": np.zeros(4), "v(g1)": np.zeros(4)}  # fmt: skip
    # 1 V over 2 ohm leaks, 6 V over 2 ohm while the drain climbs at 10 V/s: 2.5 A more.
    assert bench.capacitances(vectors, (1.0, 2.0, 3.0), (10.0, 40.0), 2.0)["output"] == 0.25


def test_samples_at_the_ends_of_a_stretch_belong_to_it() -> None:
    time = np.arange(6.0)
    voltage, current = np.array([10.0, 20.0, 100.0, 0, 0, 0]), np.array([4.0, 2.0, 6.0, 8.0, 8, 8])
    found = bench.switching_energy(
        {"time": time, "v(d2)": voltage, "v(a)": voltage + 1e-3 * current}, 0.0, 2.0, 1.0
    )
    # 600 W falling to nothing in 1 s; 40 W for 1 s.
    assert found.turn_on == pytest.approx(300.0)
    assert found.turn_off == pytest.approx(40.0)
    current = np.array([10.0, 9.0, 5.0, 1.0, 0.0, 0.0])
    chip = np.array([700.0, 600.0, 500.0, 450.0, 100.0, 0.0])
    fall = {"time": time, "v(a)": 1e-3 * current, "v(d1)": 0 * time, "v(xq1.di)": chip,
            "v(xq1.si)": 0 * time}  # fmt: skip
    seen = bench.avalanche(fall, 0.0)
    # 90 % at 1 s, 10 % at 3 s: (550 + 475) V s over 2 s.
    assert seen.voltage == pytest.approx(512.5, rel=1e-9)
    # 7000, 5400, 2500, 450 and 0 W by trapezia.
    assert seen.energy == pytest.approx(6200.0 + 3950.0 + 1475.0 + 225.0, rel=1e-9)


def test_recovery_charge_of_a_few_samples() -> None:
    time = np.arange(0.0, 20.0)
    current = np.array([20.0, 8.0, -4.0, -10.0, -5.0, -1.0] + [0.0] * 14)
    found = bench.diode_recovery(
        {"time": time, "v(xq1.si)": current, "v(xq1.da)": 0 * time}, 0.0, 1.0
    )
    # Through nought at 1 + 8/12; a triangle of 4 A x 1/3 s and four trapezia.
    assert found.charge == pytest.approx(2.0 / 3.0 + 7.0 + 7.5 + 3.0 + 0.5)


def test_plain_numbers_come_out() -> None:
    # JSON has no other numbers than Python's own.
    time = np.arange(6.0)
    fall = np.array([20.0, 10.0, -10.0, -5.0, -1.0, 0.0])
    assert type(bench.at_level(time, fall, 15.0)) is float
    assert type(bench.at(time, fall, 1.5)) is float
    assert type(bench.area(time, fall)) is float
    recovery = bench.diode_recovery(
        {"time": time, "v(xq1.si)": fall, "v(xq1.da)": 0 * time}, 0.0, 1.0
    )
    figures = (recovery.forward_current, recovery.slope, recovery.peak, recovery.charge)
    assert {type(v) for v in (*figures, *recovery.times.values())} == {float}
    pulses = bench.switching_energy(
        {"time": time, "v(d2)": fall + 30.0, "v(a)": fall + 30.0 + 1e-3 * fall}, 0.0, 2.0, 2.0
    )
    assert {type(v) for v in astuple(pulses)} == {float}
    ends = {"time": time, "v(a)": 1e-3 * np.arange(5.0, -1.0, -1.0), "v(d1)": 0 * time,
            "v(xq1.di)": 0 * time + 600.0, "v(xq1.si)": 0 * time}  # fmt: skip
    assert {type(v) for v in astuple(bench.avalanche(ends, 0.0))} == {float}
