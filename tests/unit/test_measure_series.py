"""Switch, tank, thermal and operating-point figures of waveforms drawn by hand."""

from dataclasses import astuple, replace
from typing import Any

import numpy as np
import pytest

from simkit.measure.commutation import Transition
from simkit.measure.periodic import Cycle
from simkit.measure.point import OperatingPoint, operating_point
from simkit.measure.switch import switch_series
from simkit.measure.tank import machine_series
from simkit.measure.waveforms import Array
from simkit.parts.heat_path import curve_impedance, heat_course, heat_path, settled_junctions
from tests.machines import demo, topology, varied
from tests.waves import waves

TIME = np.linspace(0.0, 3.0, 3001)
CYCLES = (Cycle(0.0, 1.0), Cycle(1.0, 3.0))
TRIANGLE = 2.0 * np.abs(2.0 * ((TIME + 0.25) % 1.0) - 1.0) - 1.0
"""Mean 0, peak 1; mean of its square 1/3."""
STEP = np.where(TIME >= 1.0, 2.0, 1.0)
"""1 in the first cycle, 2 in the second."""


def figures(found: list[Any]) -> dict[tuple[str, str], tuple[str, list[float]]]:
    assert all(s.times.tolist() == [0.5, 2.0] for s in found)
    return {(s.part, s.quantity): (s.unit, s.values.tolist()) for s in found}


def near(*values: float) -> Any:
    """Trapezia of a thousand steps, and steps smeared over a sample: two parts in 1000."""
    return pytest.approx(values, rel=2e-3, abs=1e-9)


def test_stress_and_loss_of_a_switch() -> None:
    made = waves(
        demo(), TIME, p=300.0, d1=300.0 - 0.01 * TRIANGLE * STEP, a=100.0,
        xq1__di=200.0 * TRIANGLE * STEP - 50.0, xq1__si=-20.0, xq1__gi=-30.0 * STEP + 5.0,
        xq1__da=-20.0 - 0.07 * TRIANGLE, i1=9.0 * TRIANGLE - 1.0,
    )  # fmt: skip
    found = figures(switch_series(made, CYCLES))
    assert len(found) == 4 * 6
    # The lower extremes of v_DS, channel and diode are larger in size, and do not count.
    assert found["Q1", "drain_voltage_peak"] == ("V", near(170.0, 370.0))
    assert found["Q1", "channel_current_peak"] == ("A", near(8.0, 8.0))
    assert found["Q1", "diode_current_peak"] == ("A", near(7.0, 7.0))
    assert found["Q1", "gate_voltage_peak"] == ("V", near(5.0, 35.0))
    # 10 A and 20 A triangles in the lead: over root three.
    assert found["Q1", "drain_current_rms"] == ("A", near(10 / 3**0.5, 20 / 3**0.5))
    # Lead voltage 200 - 0.01 tri, current 10 tri: mean -0.1/3; twice both: four times that.
    assert found["Q1", "loss"] == ("W", near(-0.1 / 3, -0.4 / 3))
    assert found["Q2", "loss"] == ("W", [0.0, 0.0])
    assert found["Q4", "gate_voltage_peak"] == ("V", [0.0, 0.0])


def test_negative_only_is_no_stress() -> None:
    made = waves(demo(), TIME, xq2__di=-4.0, i2=-3.0, xq2__da=1.0)
    found = figures(switch_series(made, CYCLES))
    for quantity in ("drain_voltage_peak", "channel_current_peak", "diode_current_peak"):
        assert found["Q2", quantity][1] == [0.0, 0.0]


def test_tank_transformer_and_supply() -> None:
    made = waves(
        demo(), TIME, w=60.0 * TRIANGLE * STEP, t1=60.0 * TRIANGLE * STEP + 0.1 * TRIANGLE,
        lam=792.0 * (TRIANGLE + 0.5 * STEP), lx=0.9, fl=270.0 * STEP, pa=0.3 * STEP, sup=5.0 * STEP,
        link=1.0,
    )  # fmt: skip
    found = figures(machine_series(made, CYCLES))
    assert found["tank", "bank_voltage_peak"] == ("V", near(60.0, 120.0))
    assert found["coil", "coil_current_peak"] == ("A", near(300.0, 600.0))
    assert found["tank capacitor", "can_voltage_rms"] == ("V", near(60 / 3**0.5, 120 / 3**0.5))
    # 0.1 V over 0.4 mohm: 250 A, triangle, shared by twenty cans.
    assert found["tank capacitor", "can_current_rms"] == ("A", near(*[12.5 / 3**0.5] * 2))
    # 792 uWb over 22 turns and 3.6 cm^2: 0.1 T; the offset is half of it, then all of it.
    assert found["matching transformer", "flux_peak"] == ("T", near(0.15, 0.2))
    assert found["matching transformer", "flux_drift"] == ("T", near(0.05, 0.1))
    assert found["matching transformer", "magnetising_current_peak"] == ("A", near(5.0, 10.0))
    assert found["bridge", "primary_current_peak"] == ("A", near(5.0, 10.0))
    assert found["supply", "supply_current"] == ("A", near(16.0, 36.0))
    assert len(found) == 9


def test_a_drift_downward_has_a_size_too() -> None:
    made = waves(demo(), TIME, lx=1.0, lam=792.0 * (TRIANGLE - 0.5))
    assert figures(machine_series(made, CYCLES))["matching transformer", "flux_drift"][1] == near(
        0.05, 0.05
    )


# --- thermal: the shipped file's points are 10 us .. 100 ms, 4 mK/W .. 0.27 K/W, then 0.30 -----

PATH = heat_path(demo())


@pytest.mark.parametrize(
    ("time", "wanted"),
    [
        (0.0, 0.0), (-1.0, 0.0),
        (2.5e-6, 0.002), (0.1e-6, 0.0004),  # root of time below the first point
        (10e-6, 0.004), (1e-3, 0.045), (0.1, 0.27),  # the points
        (10e-6 * 10**0.5, (0.004 * 0.014) ** 0.5),  # straight on log-log axes
        (0.01 * 10**0.5, (0.13 * 0.27) ** 0.5),
        (0.1 * 10**0.5, 0.285), (1.0, 0.30), (100.0, 0.30),  # a decade to the steady resistance
    ],
)  # fmt: skip
def test_the_curve_of_the_data_sheet(time: float, wanted: float) -> None:
    found = curve_impedance(PATH, np.array([time]))
    assert found == pytest.approx([wanted], rel=1e-9)


def test_settled_junction_through_pad_and_heatsink() -> None:
    # 30 degC + 100 W x 0.15 K/W + 20 W x (0.30 + 0.35) K/W.
    found = settled_junctions(PATH, np.array([20.0, 30.0, 25.0, 25.0]))
    assert found[0] == pytest.approx(58.0)


def course(before: float, times: Array, losses: Array) -> Array:
    """Rise of one chip on a case that holds still, over that case."""
    still = replace(PATH, case_capacity=np.inf)
    every = np.tile(losses, (4, 1))
    found = heat_course(still, np.full(4, before), times, every).junctions[0]
    return np.asarray(found - PATH.ambient - before * (PATH.pad + 4.0 * PATH.heatsink))


def test_steps_of_loss_are_superposed() -> None:
    # 10 W before, 30 W from 0, 25 W from 1 ms: 20 K/W-steps at their own ages.
    times = np.array([0.0, 1e-3, 1.1e-3])
    found = course(10.0, times, np.array([30.0, 25.0, 25.0]))
    z = {t: float(curve_impedance(PATH, np.array([t]))[0]) for t in (1e-4, 1.1e-3)}
    wanted = [3.0, 3.0 + 20.0 * 0.045, 3.0 + 20.0 * z[1.1e-3] - 5.0 * z[1e-4]]
    # Each age counts a nanosecond more: 20 W x 4 mK/W x root(1e-4) there.
    assert found == pytest.approx(wanted, abs=1.1e-3)
    assert found[0] == pytest.approx(3.0 + 20.0 * 0.004 * 1e-2, rel=1e-6)


def test_a_ramp_of_loss_against_the_closed_convolution() -> None:
    # Z = k sqrt(t), P = a t: T = a k (2/3) t^1.5 by integrating a k sqrt(t - s) ds.
    times = np.linspace(0.0, 10e-6, 2001)
    found = course(0.0, times, 1e7 * times)
    k = 0.004 / (10e-6) ** 0.5
    # A step comes at the end of its interval or half a step late: 1.5/2000/2 of the whole.
    assert found[-1] == pytest.approx(1e7 * k * 2 / 3 * 10e-6**1.5, rel=1e-3)


# --- operating point ---------------------------------------------------------------------------


def transition(time: float, current: float, mode: str) -> Transition:
    return Transition(time, 1, 2, current, 0.0, mode, 0.0, 0.0, 0.0, True, 0.0)


def point(machine: Any = None, **other: Any) -> OperatingPoint:
    """Ten cycles of 1 s from 1 s on: 30 deg of lag, 20 000 samples a second."""
    time = np.linspace(0.0, 13.0, 26_001)
    turn = 2.0 * np.pi * time
    given: dict[str, Any] = {
        "p": 300.0, "d1": 299.99, "d2": -0.01, "d3": 299.98, "d4": 0.0,
        "a": 100.0 * np.sin(turn), "link": 310.0,
        "pa": 0.6 * np.sin(turn - np.pi / 6) + 0.06 * np.sin(3 * turn),
        "lx": 1.0, "rx": 40.0, "fl": 200.0 * np.cos(turn), "w": 50.0 * np.sin(turn),
    }  # fmt: skip
    made = waves(machine or demo(), time, **(given | other))
    found = (transition(0.9, 99.0, "capacitive"), transition(1.0, 4.0, "inductive"),
             transition(5.0, 8.0, "inductive"), transition(11.0, 3.0, "resonant"),
             transition(11.1, 99.0, "capacitive"),
             transition(11.2, 99.0, "capacitive"))  # fmt: skip
    return operating_point(made, tuple(Cycle(1.0 + k, 2.0 + k) for k in range(10)), found)


def test_the_instruments_at_an_operating_point() -> None:
    found = point()
    assert found.frequency_hz == pytest.approx(1.0)
    # 1/(2 pi root((1 uH + 8 uH/22^2) x 4.4 uF))
    inductance = 1e-6 + 8e-6 / 484
    assert found.resonant_frequency_hz == pytest.approx(
        1 / (2 * np.pi * (inductance * 4.4e-6) ** 0.5)
    )
    # One of 2000 samples a cycle is left out at the end: a fraction of a degree at most.
    assert found.phase_deg == pytest.approx(30.0, abs=0.2)
    assert found.supply_voltage_v == pytest.approx(310.0)
    # Upper switches: 10 A and 20 A at 300 V.
    assert found.supply_current_a == pytest.approx(30.0)
    assert found.input_power_w == pytest.approx(9000.0)
    # 200 A peak in 40 mohm.
    assert found.workpiece_power_w == pytest.approx(0.5 * 200.0**2 * 0.04)
    # Lead voltage times current: Q1 (299.99 V - sine) x (10 A), Q3 299.98 V x 20 A, Q2 -0.01 V x
    # (10 A + a sine): the sines' means are nothing.
    assert found.bridge_loss_w == pytest.approx(2999.9 + 5999.6 - 0.1)
    assert found.tank_voltage_peak_v == pytest.approx(50.0)
    assert found.tank_current_peak_a == pytest.approx(200.0)
    assert found.coil_current_rms_a == pytest.approx(200.0 / 2**0.5, rel=1e-3)
    assert found.primary_current_rms_a == pytest.approx((101.0 / 2) ** 0.5, rel=1e-3)
    assert 9.0 < found.primary_current_peak_a < 11.0
    assert found.turn_off_current_a == pytest.approx(5.0)
    assert found.primary_distortion == pytest.approx(0.1, rel=0.01)
    # 2 pi f0 L / R.
    assert found.loaded_q == pytest.approx(2 * np.pi * found.resonant_frequency_hz * 1e-6 / 0.04)
    assert found.mode == "inductive"
    # JSON has no other numbers than Python's own.
    assert {type(value) for value in astuple(found)} == {float, str}


def test_peaks_count_by_size_and_half_bridges_have_one_upper_switch() -> None:
    found = point(w=-70.0, fl=-300.0, pa=-0.6 - 0.06 * np.sin(np.linspace(0.0, 9.0, 26_001)))
    assert found.tank_voltage_peak_v == pytest.approx(70.0)
    assert found.tank_current_peak_a == pytest.approx(300.0)
    assert found.primary_current_peak_a == pytest.approx(11.0, rel=1e-3)
    half = point(topology("half-split", "loop", "ideal"))
    assert half.supply_current_a == pytest.approx(10.0)


def test_no_transition_gives_no_turn_off_current() -> None:
    time = np.linspace(0.0, 3.0, 3001)
    made = waves(varied(demo(), {}), time, lx=1.0, rx=1.0, pa=np.sin(2 * np.pi * time))
    found = operating_point(made, CYCLES, ())
    assert np.isnan(found.turn_off_current_a)
    assert found.frequency_hz == pytest.approx(2.0 / 3.0)
    assert found.mode == "resonant"
