"""Exact steady state: against closed forms, against phasors, against an integrator."""

from __future__ import annotations

from dataclasses import replace
from math import cos, exp, inf, pi, sin, sqrt

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.scout import phasor
from simkit.scout.halfwave import Edges
from simkit.scout.plant import OUTPUTS, Plant, network
from simkit.scout.steady import (
    _peak,
    find_frequency,
    mode_of,
    outputs_at,
    resonant_frequency,
    steady,
    vertex,
    waveforms,
)

LOOP = Plant("full", 325.0, 0.2, 8e-6, 2e-3, 22.0, 1e-3, "loop", 4.4e-6, 5e-4, 9e-7, 0.04)
SHUNT = replace(LOOP, feed="shunt", ratio=6.0, matching_inductance=2e-6, matching_resistance=5e-3)
PLANTS = {
    "full-loop": LOOP,
    "half-split-loop": replace(LOOP, bridge="half-split", blocking_capacitance=8e-6),
    "half-blocking-loop": replace(LOOP, bridge="half-blocking", blocking_capacitance=4e-6),
    "full-shunt": SHUNT,
    "half-split-shunt": replace(SHUNT, bridge="half-split", blocking_capacitance=8e-6),
}
SHARES = (0.95, 0.975, 1.0, 1.025, 1.05)


def _closed_form(level: float, r: float, ind: float, cap: float, half: float) -> tuple[float, ...]:
    """Series RLC on a square wave: current and voltage at the rising edge.

    i = e^-at (i0 cos wt + ((V - v0)/L - a i0)/w sin wt), v - V likewise with i0/C: the
    textbook step response; periodicity i(T/2) = -i0, v(T/2) = -v0 is then a 2 x 2 system.
    """
    a, w = r / (2 * ind), sqrt(1 / (ind * cap) - (r / (2 * ind)) ** 2)
    co, si, e = cos(w * half), sin(w * half), exp(-a * half)
    system = np.array(
        [
            [e * (co - a / w * si) + 1, -e * si / (w * ind)],
            [e * si / (w * cap), e * (co + a / w * si) + 1],
        ]
    )
    return tuple(np.linalg.solve(system, [-e * si * level / (w * ind),
                                          level * (e * (co + a / w * si) - 1)]))  # fmt: skip


@pytest.mark.parametrize("share", [0.8, *SHARES, 1.25])
def test_series_loop_against_the_closed_form(share: float) -> None:
    """Tolerance: rounding only, both are exact."""
    plant = Plant("full", 110.0, 0.0, 0.0, inf, 1.0, 0.0, "loop", 2e-7, 0.0, 3e-4, 10.0)
    frequency = share / (2 * pi * sqrt(6e-11))
    current, voltage = _closed_form(110.0, 10.0, 3e-4, 2e-7, 0.5 / frequency)
    found = steady(plant, frequency)
    assert found.turn_off_current == pytest.approx(-current, rel=1e-9, abs=1e-9)
    assert found.state[1] == pytest.approx(-voltage, rel=1e-9)


@pytest.mark.parametrize("name", PLANTS)
@pytest.mark.parametrize("share", SHARES)
def test_against_phasors(name: str, share: float) -> None:
    """Impedance algebra to harmonic 2,001 against the matrix exponential.

    1e-6 for means and smooth waveforms: what is cut off falls with the third power of the
    harmonic number, and Simpson's rule stays below 1e-7.
    """
    plant = PLANTS[name]
    frequency = share * resonant_frequency(plant)
    exact, sums = steady(plant, frequency), phasor.solve(plant, frequency, 2001)
    assert exact.converged
    assert exact.input_power == pytest.approx(sums.input_power, rel=1e-6)
    assert exact.supply_current == pytest.approx(sums.supply_current, rel=1e-6)
    assert exact.coil_power == pytest.approx(sums.coil_power, rel=1e-6)
    assert exact.primary_current_rms == pytest.approx(sums.rms("primary_current"), rel=1e-6)
    assert exact.phase_deg == pytest.approx(sums.phase_deg, abs=1e-4)
    assert exact.power_residue == pytest.approx(0.0, abs=1e-6)
    times = np.linspace(0.0, 1.0 / frequency, 4001)
    tank = np.max(np.abs(sums.waveform("capacitor_voltage", times)))
    # the largest of 4,000 samples a period is within (pi/4000)^2/2 = 3e-7 of a sinusoid's peak
    assert exact.bank_voltage_peak == pytest.approx(tank, rel=1e-6)


@pytest.mark.parametrize("larger", [0, -1], ids=["first", "last"])
@pytest.mark.parametrize("behind", [-0.4, -0.1, 0.1, 0.4])
def test_peak_beside_an_edge_whichever_end_rounding_makes_larger(
    behind: float, larger: int
) -> None:
    """Half a period of a cosine whose peak, 1, is a share of a step off the edge.

    4e-8: a parabola through samples at 0 and +-h misses by f3 x (h^2 - x^2)/6, f3 the third
    derivative (the textbook error of interpolation); for a cosine within 1.6 h of its peak
    |f3| < 1.6 h, x (h^2 - x^2) is at most 0.385 h^3, and h = pi/128: 0.103 h^4 = 4e-8.
    """
    angle = np.linspace(0.0, pi, 129)
    values = np.abs(np.cos(angle - behind * pi / 128))
    values[larger] += 1e-15
    assert _peak(values, 1) == pytest.approx(1.0, abs=4e-8)


@pytest.mark.parametrize("name", PLANTS)
def test_waveforms_against_phasors(name: str) -> None:
    """Every output over the whole period, to 3e-5 of its peak.

    A triangle cut off at harmonic N lacks 4/(pi^2 N) of its peak at the corner: 2e-5 at 20,001,
    and half as much again for a magnetising current that is somewhat more pointed.
    """
    plant = PLANTS[name]
    frequency = 1.03 * resonant_frequency(plant)
    solution = steady(plant, frequency)
    shown, sums = waveforms(solution, 17), phasor.solve(plant, frequency, 20001)
    for output in OUTPUTS:
        expected = sums.waveform(output, shown.time)
        size = np.max(np.abs(expected))
        np.testing.assert_allclose(shown.outputs[output], expected, atol=3e-5 * size + 1e-12)
        at = outputs_at(solution, 0.8)[output]
        single = sums.waveform(output, np.array([0.8 / frequency]))[0]
        assert at == pytest.approx(single, abs=3e-5 * size + 1e-12)


def _by_integration(plant: Plant, frequency: float, edges: Edges, state: np.ndarray) -> np.ndarray:
    """Half a period from a turn-off with scipy's integrator; the nodes are charged by the current.

    Written apart from the package's stepping: bridge voltage as one more state between two
    clamps, du/dt = -2 V i/Q in the dead time, then forced to -V.
    """
    net, level = network(plant), plant.level
    a, b = net.a[0], net.b
    row = net.c[0, OUTPUTS.index("primary_current")]

    def dead(_t: float, x: np.ndarray) -> np.ndarray:
        current = row @ x[:-1]
        held = (x[-1] >= level and current < 0) or (x[-1] <= -level and current > 0)
        slope = 0.0 if held else -2 * level * current / edges.swing_charge
        return np.append(a @ x[:-1] + b * np.clip(x[-1], -level, level), slope)

    options = {"rtol": 1e-9, "atol": 1e-12}
    x = np.append(state, level)
    x = solve_ivp(dead, (0, edges.dead_time), x, max_step=edges.dead_time / 400, **options).y[:, -1]
    rest = 0.5 / frequency - edges.dead_time
    return solve_ivp(lambda _t, y: a @ y - b * level, (0, rest), x[:-1], **options).y[:, -1]


@pytest.mark.parametrize("share", [0.96, 0.99, 1.0, 1.01, 1.02, 1.06])
def test_dead_time_against_an_integrator(share: float) -> None:
    """Leading, reversing within the dead time, and lagging: the state must come back negated.

    5e-4 of the state's size: the package lets the voltage swing in a straight line at the
    turn-off current, or in 24 straight steps, where the integrator follows the current.
    """
    edges = Edges(0.6e-6, 150e-9)
    frequency = share * resonant_frequency(LOOP)
    solution = steady(LOOP, frequency, edges)
    assert solution.converged
    scale = 1 / np.sqrt(np.diagonal(network(LOOP).energy[0]))
    end = _by_integration(LOOP, frequency, edges, solution.state)
    gap = np.linalg.norm((end + solution.state) / scale)
    assert gap < 5e-4 * np.linalg.norm(solution.state / scale)


def test_edge_times_follow_the_mode() -> None:
    """Without charge the voltage flips at turn-off when lagging, at the opposite turn-on when
    leading; phase against the voltage is the network's, whichever it is (identity of phasors)."""
    edges = Edges(0.6e-6)
    for share, flip in ((1.06, 0.0), (0.94, 0.6e-6)):
        frequency = share * resonant_frequency(LOOP)
        solution = steady(LOOP, frequency, edges)
        ideal = steady(LOOP, frequency)
        shown = waveforms(solution)
        before = np.roll(shown.bridge_voltage, 1)
        rising = shown.time[np.flatnonzero(shown.bridge_voltage > before)]
        assert rising + 0.3e-6 == pytest.approx([flip], abs=1e-12)
        assert solution.phase_deg == pytest.approx(ideal.phase_deg, abs=1e-6)
        assert solution.input_power == pytest.approx(ideal.input_power, rel=1e-9)


def test_mode_changes_sign_through_resonance() -> None:
    resonance = resonant_frequency(LOOP)
    modes = [steady(LOOP, share * resonance).mode for share in (0.97, 1.0, 1.03)]
    assert modes == ["capacitive", "resonant", "inductive"]
    assert mode_of(-0.04, 1.0) == "resonant"


def test_find_frequency_returns_what_was_asked() -> None:
    for angle in (-30.0, 0.0, 45.0):
        found = find_frequency(LOOP, phase_deg=angle)
        assert steady(LOOP, found).phase_deg == pytest.approx(angle, abs=1e-4)
    edges = Edges(0.4e-6, 100e-9)
    found = find_frequency(LOOP, turn_off_current=3.0, edges=edges)
    assert found > 0.99 * resonant_frequency(LOOP)
    assert steady(LOOP, found, edges).turn_off_current == pytest.approx(3.0, rel=1e-5)


def test_find_frequency_says_when_there_is_none() -> None:
    with pytest.raises(ValueError, match="either phase_deg or turn_off_current"):
        find_frequency(LOOP)
    with pytest.raises(ValueError, match="has a phase of 95 degrees"):
        find_frequency(LOOP, phase_deg=95.0)
    with pytest.raises(ValueError, match="turns off 1000 A"):
        find_frequency(LOOP, turn_off_current=1000.0)


def test_impossible_drives_are_refused() -> None:
    with pytest.raises(ValueError, match="fills the half period"):
        steady(LOOP, 80e3, Edges(7e-6))
    with pytest.raises(ValueError, match=r"frequency = 0\.0 Hz"):
        steady(LOOP, 0.0)
    with pytest.raises(ValueError, match="must not be negative"):
        Edges(-1e-9)


def test_vertex_finds_a_parabolas_top_between_samples_and_near_an_end() -> None:
    x = np.linspace(0.0, 1.0, 11)
    tops = (0.52, 0.03, 0.98)
    found = vertex(np.array([3.0 - (x - top) ** 2 for top in tops]))
    np.testing.assert_allclose(found, 3.0, rtol=1e-12)
    assert vertex(np.array([x]))[0] == pytest.approx(1.0)
