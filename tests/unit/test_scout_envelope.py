"""The march over an event: against an integrator, against the steady state, and its balance."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.scout.course import Conditions, as_function, half_period_starts, link_course
from simkit.scout.envelope import Event, march
from simkit.scout.halfwave import Edges
from simkit.scout.plant import Plant
from simkit.scout.steady import outputs_at, resonant_frequency, steady

PLANT = Plant(
    "full", 325.0, 0.2, 8e-6, 2.2e-3, 22.0, 1e-3, "loop", 4.4e-6, 4e-4, 9.45e-7, 0.05,
    blocking_capacitance=10e-6,
)  # fmt: skip
EMPTY = (9.0e-7, 0.009)
FREQUENCY = 1.015 * resonant_frequency(PLANT)
EDGES = Edges(0.6e-6, 200e-9)


class Glide:
    """A raised cosine between two values, with its slope."""

    def __init__(self, before: float, after: float, start: float, end: float) -> None:
        self.before, self.rise, self.start, self.span = before, after - before, start, end - start

    def __call__(self, at: float) -> float:
        share = min(max((at - self.start) / self.span, 0.0), 1.0)
        return self.before + self.rise * 0.5 * (1 - np.cos(np.pi * share))

    def slope(self, at: float) -> float:
        share = min(max((at - self.start) / self.span, 0.0), 1.0)
        return self.rise * 0.5 * np.pi / self.span * np.sin(np.pi * share)


def pull_out(start: float = 2e-4, end: float = 6e-4, stop: float = 8e-4, **other) -> Conditions:
    parts = {
        "frequency": FREQUENCY,
        "supply_voltage": 325.0,
        "inductance": Glide(PLANT.coil_inductance, EMPTY[0], start, end),
        "resistance": Glide(PLANT.coil_resistance, EMPTY[1], start, end),
        "stop": stop,
    }
    return Conditions(**(parts | other))


@pytest.fixture(scope="module")
def event() -> Event:
    return march(PLANT, pull_out(), EDGES)


def test_nothing_changes_without_an_event() -> None:
    """Constant conditions stay in the steady state; rounding only."""
    found = march(PLANT, pull_out(inductance=9.45e-7, resistance=0.05), EDGES)
    expected = steady(PLANT, FREQUENCY, EDGES)
    for mine, theirs in (
        ("coil_current_peak", "coil_current_peak"),
        ("bank_voltage_peak", "bank_voltage_peak"),
        ("primary_current_peak", "primary_current_peak"),
        ("turn_off_current", "turn_off_current"),
        ("turn_on_current", "turn_on_current"),
        ("supply_current", "supply_current"),
    ):
        # peaks are taken from another set of samples: the parabola is right to 1e-5
        values = getattr(found.cycles, mine)
        np.testing.assert_allclose(values, getattr(expected, theirs), rtol=1.5e-5)
    assert found.energy.work == pytest.approx(0.0, abs=1e-15)


def _integrated(conditions: Conditions, starts: np.ndarray, state: np.ndarray) -> np.ndarray:
    """The same pull-out by scipy's integrator, in currents with d(L i)/dt written out.

    States: primary, coil current, tank, blocking voltage, energy supplied, lost, work. An ideal
    square wave, no dead time. Returns per half period the peak coil current and tank voltage, and
    the current and the three energies at its end.
    """
    p, n = PLANT, PLANT.ratio
    inductance, resistance = conditions.inductance, conditions.resistance

    def slope(t: float, x: np.ndarray, u: float) -> list[float]:
        primary, coil, tank, blocking = x[:4]
        l, r = inductance(t), resistance(t)  # noqa: E741
        dl = inductance.slope(t)
        lm = p.magnetising_inductance
        left = [[p.leakage_inductance + lm, -lm / n], [-lm / n, l + lm / n**2]]
        loop = p.secondary_resistance + p.capacitor_esr + r
        right = [u - p.series_resistance * primary - blocking, -(loop + dl) * coil - tank]
        d_primary, d_coil = np.linalg.solve(left, right)
        lost = p.series_resistance * primary**2 + loop * coil**2
        work = -0.5 * dl * coil**2
        return [d_primary, d_coil, coil / p.capacitance, primary / p.blocking_capacitance,
                u * primary, lost, work]  # fmt: skip

    x, rows = np.append(state, [0.0, 0.0, 0.0]), []
    for k, (begin, end) in enumerate(pairwise(starts)):
        u = 325.0 * (-1) ** k
        got = solve_ivp(slope, (begin, end), x, "DOP853", args=(u,), rtol=1e-9, atol=1e-9,
                        t_eval=np.linspace(begin, end, 401))  # fmt: skip
        x = got.y[:, -1]
        rows.append([np.abs(got.y[1]).max(), np.abs(got.y[2]).max(), x[0] * (-1) ** k, *x[4:]])
    return np.array(rows)


def test_pull_out_against_an_integrator() -> None:
    """A pull in 16 cycles, ten times quicker than any hand.

    The march holds L over quarter periods, 5 % over 65 of them: the current steps by up to 0.1 %
    where the flux stays, so 5e-4 for it and 1e-4 of the largest for what is smooth; 1 % for the
    work, a small figure summed from steps that is exact only for a sinusoid and a steady slope.
    """
    conditions = pull_out(5e-5, 2.5e-4, 4e-4)
    found = march(PLANT, conditions)
    first = found.state_at(float(found.starts[0]))
    state = np.array([first.primary_current, first.coil_current, first.tank_voltage,
                      first.blocking_voltage])  # fmt: skip
    rows = _integrated(conditions, found.starts, state)
    pairs = rows.reshape(-1, 2, rows.shape[1])
    cycles = found.cycles
    coil, tank = pairs[:, :, 0].max(1), pairs[:, :, 1].max(1)
    np.testing.assert_allclose(cycles.coil_current_peak, coil, atol=5e-4 * coil.max())
    np.testing.assert_allclose(cycles.bank_voltage_peak, tank, atol=1e-4 * tank.max())
    ends = np.append(rows[-1, 2], rows[:-1, 2]).reshape(-1, 2)  # a cycle's first turn-off is before
    peak = cycles.primary_current_peak.max()
    np.testing.assert_allclose(cycles.turn_off_current[1:], ends[1:].min(1), atol=1e-4 * peak)
    supplied, lost, work = rows[-1, 3:]
    assert found.energy.supplied == pytest.approx(supplied, rel=1e-4)
    assert found.energy.lost == pytest.approx(lost, rel=1e-4)
    assert found.energy.work == pytest.approx(work, rel=1e-2)


def test_energy_balances_over_the_event(event: Event) -> None:
    """Supplied + work = lost + stored; 1e-5 is what Simpson's rule on 25 samples leaves."""
    energy = event.energy
    assert abs(energy.residual) < 1e-5
    assert energy.work > 0.0
    assert 0.0 < energy.coil < energy.lost
    assert event.start_residue < 1e-9


@pytest.mark.parametrize("form", ["half-split", "half-blocking"])
def test_energy_balances_when_the_supply_steps(form: str) -> None:
    """The half bridges' capacitor keeps its charge when the link moves."""
    plant = replace(PLANT, bridge=form, blocking_capacitance=20e-6)
    conditions = pull_out(supply_voltage=Glide(325.0, 250.0, 2e-4, 4e-4), stop=3e-3)
    found = march(plant, conditions, EDGES)
    settled = replace(plant, coil_inductance=EMPTY[0], coil_resistance=EMPTY[1],
                      supply_voltage=250.0)  # fmt: skip
    # 3 ms is some 20 memories of the tank, but the blocking capacitor swings on for longer
    expected = steady(settled, FREQUENCY, EDGES).coil_current_peak
    assert found.cycles.coil_current_peak[-1] == pytest.approx(expected, rel=0.01)
    assert found.state_at(2.9e-3).link_voltage == 250.0


def test_a_blocking_capacitor_keeps_its_charge_when_the_link_steps() -> None:
    """Rest plus deviation is the capacitor's voltage, continuous: 1 V of slack for the current
    of 5 ns through 20 uF is plenty against the rest's step of 25 V."""
    plant = replace(PLANT, bridge="half-blocking", blocking_capacitance=20e-6)
    step = ([0.0, 3e-4, 3.000001e-4], [325.0, 325.0, 275.0])
    found = march(plant, pull_out(supply_voltage=step), EDGES)
    voltages = [found.state_at(float(t)) for t in np.arange(2.8e-4, 3.2e-4, 5e-9)]
    links = np.array([s.link_voltage for s in voltages])
    whole = np.array([s.blocking_voltage for s in voltages]) + 0.5 * links
    assert np.ptp(links) > 49.0
    assert np.max(np.abs(np.diff(whole))) < 1.0


def test_states_between_cycles(event: Event) -> None:
    """At time zero and before, the state is that of the steady operation; rounding only."""
    expected = outputs_at(steady(PLANT, FREQUENCY, EDGES), 0.25)
    for at in (0.0, -3.0 / FREQUENCY):
        state = event.state_at(at)
        assert state.phase == pytest.approx(0.25 + at * FREQUENCY)
        assert state.primary_current == pytest.approx(expected["primary_current"], rel=1e-7)
        assert state.load_current == pytest.approx(expected["load_current"], rel=1e-7)
        assert state.tank_voltage == pytest.approx(expected["capacitor_voltage"], rel=1e-7)
        assert state.blocking_voltage == pytest.approx(expected["blocking_voltage"], rel=1e-7)
    half = event.state_at(-0.5 / FREQUENCY)
    assert half.coil_current == pytest.approx(-event.state_at(0.0).coil_current, rel=1e-7)
    with pytest.raises(ValueError, match="beyond the end"):
        event.state_at(1.0)


def test_peaks_agree_with_states(event: Event) -> None:
    """The envelope's peaks are those of the states it hands out, cycle by cycle.

    1e-3: 200 states a cycle miss a sinusoid's peak by 1.2e-4, a corner by more.
    """
    for k in (0, 25, 45, 55):
        times = np.linspace(event.starts[2 * k], event.starts[2 * k + 2], 201)
        # the figures of a cycle begin at the turn-off, half a dead time before it
        states = [event.state_at(float(t) - 0.5 * EDGES.dead_time) for t in times]
        tank = max(abs(s.tank_voltage) for s in states)
        primary = max(abs(s.primary_current) for s in states)
        assert event.cycles.bank_voltage_peak[k] == pytest.approx(tank, rel=1e-3)
        assert event.cycles.primary_current_peak[k] == pytest.approx(primary, rel=1e-3)


def test_pull_out_of_a_piece_that_raised_l_goes_capacitive(event: Event) -> None:
    """f0 rises above the drive when L falls (identity f0 = 1/(2 pi sqrt(LC)))."""
    assert event.cycles.mode[0] == 1.0
    assert event.cycles.mode[-1] == -1.0
    forced = event.cycles.turn_on_current < 0
    recovered = event.cycles.switch_current_peak - np.maximum(-event.cycles.turn_on_current, 0)
    assert np.all(recovered[forced] > 0.0)


def test_no_pulse_is_lost_in_a_frequency_ramp() -> None:
    """Phase is the integral of the frequency: 80 to 100 kHz in 1 ms is 90 cycles.

    1e-6: a cycle count's midpoint rule is of third order in the step.
    """
    ramp = (np.array([0.0, 1e-3]), np.array([80e3, 100e3]))
    conditions = pull_out(frequency=ramp, stop=1e-3, start_phase=0.0)
    starts = half_period_starts(conditions)
    assert starts[0] == 0.0
    assert starts[180] == pytest.approx(1e-3, rel=1e-6)
    assert len(starts) % 2 == 1
    found = march(PLANT, conditions, EDGES)
    assert found.phase_at(1e-3) == pytest.approx(90.0, abs=1e-4)


def test_courses() -> None:
    assert as_function(3.0)(1.0) == 3.0
    assert as_function(([0.0, 1.0], [2.0, 4.0]))(0.5) == 3.0
    with pytest.raises(ValueError, match="must not fall"):
        as_function(([1.0, 0.0], [2.0, 4.0]))
    with pytest.raises(ValueError, match="start_phase"):
        half_period_starts(pull_out(start_phase=0.5))
    with pytest.raises(ValueError, match="fills the half period"):
        march(PLANT, pull_out(), Edges(7e-6))


def test_a_rectified_link_runs_down_by_what_is_drawn_and_no_faster() -> None:
    """V = V0 exp(-G t/C) while the source lies below: its rectifier takes nothing back. 0.1 V: the
    first step of 10 us is still from the source."""
    times = np.arange(0.0, 5e-3, 1e-5)
    drawn = np.full(len(times), 20e-3)

    def source(time: float) -> float:
        return 325.0 if time <= 0.0 else 195.0

    link = link_course(times, drawn, source, 0.25, 1e-3)
    expected = 325.0 / (1.0 + 0.25 * 20e-3) * np.exp(-20e-3 * 4e-3 / 1e-3)
    assert link.capacitor_at(4e-3) == pytest.approx(expected, abs=0.1)


def test_a_link_lags_behind_a_rising_source_by_its_time_constant() -> None:
    """V = s (t - T (1 - exp(-t/T))) behind a source s t, T = R C: the textbook answer to a ramp, at
    steps as long as T."""
    times = np.arange(0.0, 5e-3, 0.25e-3)
    slope = 6500.0
    link = link_course(times, np.zeros(len(times)), lambda t: slope * t, 0.25, 1e-3)
    expected = slope * (times - 0.25e-3 * (1.0 - np.exp(-times / 0.25e-3)))
    np.testing.assert_allclose(link.capacitor, expected, rtol=1e-12, atol=1e-12)


def test_link_sags_like_an_rc() -> None:
    """A step of load G on R and C: V = Vs (1 - R' G (1 - exp(-t/R'C))), R' of R and 1/G beside each
    other, the textbook answer."""
    times = np.linspace(0.0, 1e-3, 101)
    got = link_course(np.append(-1e-5, times), np.append(0.0, np.full(101, 0.1)), 325.0, 0.25, 1e-3)
    both = 1.0 / (1.0 / 0.25 + 0.1)
    expected = 325.0 * (1.0 - 0.1 * both * (1.0 - np.exp(-times / (both * 1e-3))))
    np.testing.assert_allclose(got.capacitor[1:], expected, rtol=1e-12)
    np.testing.assert_allclose(got.bus, got.capacitor, rtol=1e-12)


def test_a_link_capacitor_with_esr_steps_first_and_sags_more_slowly() -> None:
    """A step of load G on R and on C behind r: at once the capacitor, at V_s, shares the load with
    the source, v = V_s (1/r + 1/R)/(1/r + 1/R + G); C sees r and, in series, R and 1/G beside each
    other. Millman's theorem and the RC decay, by hand."""
    times = np.linspace(0.0, 1e-3, 101)
    got = link_course(
        np.append(-1e-5, times), np.append(0.0, np.full(101, 0.1)), 325.0, 0.25, 1e-3, 0.06
    )
    both = 1.0 / (1.0 / 0.25 + 0.1)
    fading = np.exp(-times / ((0.06 + both) * 1e-3))
    end = 325.0 * both / 0.25
    at_once = 325.0 * (1 / 0.06 + 1 / 0.25) / (1 / 0.06 + 1 / 0.25 + 0.1)
    np.testing.assert_allclose(got.capacitor[1:], end + (325.0 - end) * fading, rtol=1e-12)
    np.testing.assert_allclose(got.bus[1:], end + (at_once - end) * fading, rtol=1e-12)


@pytest.mark.slow
def test_five_milliseconds_take_a_fraction_of_a_second() -> None:
    """450 cycles within 0.3 s of CPU where a plain loop of a million steps takes 42 ms.

    Both are timed in turn, as other work on the machine's cores slows either: 0.3 to 0.6 s and 42
    to 94 ms were seen within a minute. The best of five pairs counts.
    """
    conditions = pull_out(2e-3, 4e-3, 450 / FREQUENCY)

    def spent(work: Callable[[], object]) -> float:
        begin = time.process_time()
        work()
        return time.process_time() - begin

    def ratio() -> float:
        marched = spent(lambda: march(PLANT, conditions, EDGES))
        return marched / spent(lambda: sum(k * k for k in range(1_000_000)))

    assert min(ratio() for _ in range(5)) < 0.3 / 0.042
