"""Measures on waveforms made by hand, whose answers follow from their own formulae."""

from dataclasses import replace

import numpy as np
import pytest

from simkit.measure.commutation import Edge, crossing, edges, mode_of
from simkit.measure.gate import gate_lift
from simkit.measure.periodic import distortion, harmonic, whole_cycles
from simkit.measure.recovery import (
    Recovery,
    last_zero_before_climb,
    reverse_charge,
    steepest_climb,
)
from simkit.measure.series import Series, joined
from simkit.measure.waveforms import average, integral, rms
from simkit.rehearsal.stretches import belongs
from simkit.studies.inputs.loading import load_machine
from tests.machines import DEMO
from tests.waves import waves


def test_mean_and_rms_of_a_sine_on_uneven_steps() -> None:
    rng = np.random.default_rng(1)
    time = np.sort(np.concatenate(([0.0, 1.0], rng.random(20_000))))
    sine = np.sin(2 * np.pi * 3 * time)
    # Trapezoidal rule at 7000 steps a period: far below 1e-4.
    assert average(time, sine) == pytest.approx(0.0, abs=1e-4)
    assert rms(time, sine) == pytest.approx(np.sqrt(0.5), rel=1e-4)
    assert integral(time, np.ones_like(time)) == pytest.approx(1.0)


def test_harmonics_of_a_square_wave_fall_as_one_over_n() -> None:
    # Fourier series of a square wave: 4/(pi n) for odd n (any textbook of signals).
    time = np.linspace(0.0, 1.0, 200_001)
    square = np.where((time % 0.25) < 0.125, 1.0, -1.0)
    for order in (1, 3, 5, 7):
        assert abs(harmonic(time, square, 4.0, order)) == pytest.approx(4 / np.pi / order, rel=1e-3)
    assert abs(harmonic(time, square, 4.0, 2)) < 1e-3
    wanted = np.sqrt(sum(1 / n**2 for n in range(3, 16, 2)))
    assert distortion(time, square, 4.0) == pytest.approx(wanted, rel=1e-3)


def test_cycles_are_pairs_of_half_periods_wholly_inside() -> None:
    boundaries = np.arange(0.0, 10.0)
    found = whole_cycles(boundaries, 1.5, 8.5)
    assert [(c.start, c.end) for c in found] == [(2.0, 4.0), (4.0, 6.0), (6.0, 8.0)]


def test_crossing_is_linear_between_samples_and_directed() -> None:
    time, values = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 2.0, 0.0, 4.0])
    assert crossing(time, values, 1.0) == pytest.approx(0.5)
    assert crossing(time, values, 1.0, rising=False) == pytest.approx(1.5)
    assert crossing(time, values, 5.0) == np.inf


@pytest.mark.parametrize(
    ("off", "on", "wanted"),
    [(5.0, 2.0, "inductive"), (5.0, -1.0, "resonant"), (-1.0, -9.0, "capacitive"),
     (-1.0, 3.0, "capacitive")],
)  # fmt: skip
def test_mode_by_the_signs_of_the_current(off: float, on: float, wanted: str) -> None:
    assert mode_of(off, on) == wanted


def test_triangular_recovery_charge_to_a_quarter_of_the_peak() -> None:
    # Ramp to -10 A in 1 us, back to zero in 1 us: areas of triangles by hand.
    time = np.linspace(0.0, 2e-6, 20_001)
    current = np.where(time < 1e-6, -1e7 * time, -10.0 + 1e7 * (time - 1e-6))
    # Whole triangle 10 uC less the last quarter-height triangle 0.5 * 2.5 A * 0.25 us.
    assert reverse_charge(time, current, 10.0) == pytest.approx(10e-6 - 0.3125e-6, rel=1e-3)


def test_steepest_climb_ignores_a_slow_start() -> None:
    # 100 V in 1 us, then 200 V in 10 ns: 20 V/ns is the steeper part.
    time = np.array([0.0, 1e-6, 1.01e-6, 2e-6])
    voltage = np.array([0.0, 100.0, 300.0, 300.0])
    assert steepest_climb(time, voltage, 300.0) == pytest.approx(2e10, rel=1e-6)
    assert np.isnan(steepest_climb(time, np.zeros(4), 300.0))


def test_the_zero_before_the_last_climb_counts() -> None:
    # The node swings over, back, and over again; the diode's last zero lies before the last climb.
    time = np.linspace(0.0, 6.0, 601)
    voltage = np.interp(time, [0, 1, 1.1, 2, 2.1, 4, 4.1, 6], [0, 0, 9, 9, 0, 0, 9, 9])
    current = np.interp(time, [0, 2.2, 3.0, 3.9, 4.05, 6], [0, 0, 5, 5, -5, 0])
    zero = last_zero_before_climb(time, current, voltage, 9.0)
    assert zero == pytest.approx(3.975, abs=0.01)
    assert last_zero_before_climb(time, np.zeros_like(time), voltage, 9.0) is None
    assert last_zero_before_climb(time, current, np.zeros_like(time), 9.0) is None


def test_series_are_joined_in_order_and_find_their_first_excess() -> None:
    late = Series("Q1", "loss", "W", np.array([3.0, 4.0]), np.array([30.0, 10.0]))
    early = Series("Q1", "loss", "W", np.array([1.0, 2.0]), np.array([5.0, 20.0]))
    whole = joined([late, early])
    assert whole.times.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert whole.worst == (30.0, 3.0)
    assert whole.first_above(15.0) == 2.0
    assert whole.first_above(30.0) is None


@pytest.mark.parametrize("dead", [0.0, 0.4e-6, 2e-6, 6e-6, 60e-6])
def test_a_recovery_is_its_transition_s_whatever_the_dead_time(dead: float) -> None:
    """The diode is forced off after the incoming switch's command, half a dead time after the
    boundary: behind 6 us that is 3 us and what the gate takes, and no less a recovery."""
    boundary = 1e-3
    late = Recovery(boundary + 0.5 * dead + 0.5e-6, 1, 10.0, 20.0, 1e-6, 1e8, 1e10, 50.0)
    edge = Edge(boundary, outgoing=1, incoming=2, dead_time=dead)
    assert belongs(late, edge, dead)
    assert not belongs(late, Edge(boundary, outgoing=2, incoming=1, dead_time=dead), dead)
    # The same switch goes off a whole cycle later, which no dead time fills.
    after = Edge(boundary + 2.0 * dead + 4e-6, outgoing=1, incoming=2, dead_time=dead)
    assert not belongs(late, after, dead)


def test_a_recovery_just_before_the_next_command_is_its_transition_s() -> None:
    """Watched for a lift for a microsecond, for a recovery 9 us: one after 7 us was dropped."""
    late = Recovery(1e-3 + 7e-6, 1, 10.0, 20.0, 1e-6, 1e8, 1e10, 50.0)
    edge = Edge(1e-3, outgoing=1, incoming=2, dead_time=0.4e-6, watched=1e-6, next_command=9e-6)
    assert belongs(late, edge, 0.4e-6)
    assert not belongs(replace(late, time=1e-3 + 10e-6), edge, 0.4e-6)


@pytest.mark.parametrize("delay", [0.1e-6, 0.3e-6, 0.8e-6, 1.2e-6])
def test_what_a_slow_gate_does_is_seen_however_late(delay: float) -> None:
    """The other gate is lifted while the incoming one is on its plateau, twice its delay after the
    command: behind some 200 ohm that is later than a microsecond. The next commutation of the leg
    is none of this one's: there the same gate is told to come up."""
    machine = load_machine(DEMO / "machine.toml").model
    threshold, dead, half = machine.switch.channel.threshold, machine.drive.dead_time, 5e-6
    time = np.linspace(0.0, 12e-6, 120_001)
    command = half + 0.5 * dead
    incoming = np.interp(time, [command, command + 2 * delay], [0.0, 2 * threshold])
    lifted = 3.0 * np.exp(-(((time - command - 2 * delay) / 50e-9) ** 2))
    later = np.where(time >= 2 * half + 0.5 * dead, 12.0, 0.0)
    made = waves(machine, time, xq1__gi=lifted + later, xq2__gi=incoming)
    boundaries = np.array([half, 2 * half])
    edge = next(e for e in edges(made, boundaries, True) if (e.time, e.outgoing) == (half, 1))
    assert gate_lift(made, edge).voltage == pytest.approx(3.0, rel=1e-3)
