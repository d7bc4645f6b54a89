"""Lumped-charge diode against a general-purpose integrator, and its fit against itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simkit.parts import diode
from simkit.parts.diode import DEFINITIONS, Given, LumpedCharge

CASES = [
    (10.0, 100e6, 1e-6, 0.2e-6),
    (20.0, 300e6, 0.42e-6, 0.12e-6),
    (40.0, 1000e6, 40e-9, 60e-9),
]


def integrated(forward: float, slope: float, tau: float, transit: float) -> dict[str, float]:
    """Peak, charge and times of the model, integrated by SciPy from its two equations."""

    def blocked(time: float, state: np.ndarray) -> float:
        return float(state[0] + transit * (forward - slope * time))

    blocked.terminal = True  # type: ignore[attr-defined]  # how solve_ivp is told to stop there
    ramp = solve_ivp(
        lambda t, q: forward - slope * t - q / tau,
        (0.0, 10 * forward / slope + 10 * tau),
        [tau * forward],
        events=blocked,
        rtol=1e-10,
        atol=1e-16,
        method="LSODA",
    )
    end, charge = float(ramp.t_events[0][0]), float(ramp.y_events[0][0][0])
    # q_E = 0 from here on: i = -q_M/T_M, and the middle empties by recombination and by i.
    time = np.linspace(0.0, 12 * tau * transit / (tau + transit), 20_001)
    tail = solve_ivp(
        lambda t, q: -q / transit - q / tau,
        (0.0, time[-1]),
        [charge],
        t_eval=time,
        rtol=1e-10,
        atol=1e-16,
        method="LSODA",
    )
    current = tail.y[0] / transit
    rise = end - forward / slope
    left = -current / current[0]
    reach = {share: float(np.interp(-share, left, time)) for share in (0.9, 0.25, 0.1)}
    line = reach[0.25] + (reach[0.25] - reach[0.9]) * 0.25 / 0.65
    return {
        "peak": current[0],
        "charge": 0.5 * current[0] * rise + float(np.trapezoid(current, time)),
        "10 %": rise + reach[0.1],
        "25 %": rise + reach[0.25],
        "90/25 line": rise + line,
    }


@pytest.mark.parametrize("case", CASES)
def test_ramp_equals_the_integrated_model(case: tuple[float, float, float, float]) -> None:
    wanted, got = integrated(*case), diode.ramp_recovery(*case)
    # The reference is sampled at 20,000 points of the tail: 1e-5 is its grid.
    assert got.peak == pytest.approx(wanted["peak"], rel=1e-5)
    assert got.charge == pytest.approx(wanted["charge"], rel=2e-5)
    for definition in DEFINITIONS:
        assert got.time(definition) == pytest.approx(wanted[definition], rel=1e-5)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("definition", DEFINITIONS)
@pytest.mark.parametrize("left_out", diode.FIGURES)
def test_any_two_figures_give_the_diode_back(
    case: tuple[float, float, float, float], definition: diode.Definition, left_out: str
) -> None:
    forward, slope, tau, transit = case
    asked = Given(forward, slope, definition)
    figures = diode.figures(asked, LumpedCharge(tau, transit))
    two = {name: value for name, value in figures.items() if name != left_out}
    fit = diode.fit_recovery(Given(forward, slope, definition, **two))
    # The solver stops at 1e-7 of the ramp, and tau follows I_RM about one to one.
    assert fit.diode.lifetime == pytest.approx(tau, rel=1e-4)
    assert fit.diode.transit_time == pytest.approx(transit, rel=1e-4)
    assert fit.contradictions == ()


@settings(max_examples=60, deadline=None)
@given(
    tau=st.floats(20e-9, 5e-6),
    ratio=st.floats(0.05, 20.0),
    forward=st.floats(1.0, 100.0),
    slope=st.floats(20e6, 2e9),
)
def test_pairs_come_back_over_the_range_of_real_diodes(
    tau: float, ratio: float, forward: float, slope: float
) -> None:
    asked = Given(forward, slope, "25 %")
    figures = diode.figures(asked, LumpedCharge(tau, tau * ratio))
    fit = diode.fit_recovery(
        Given(forward, slope, "25 %", time=figures["time"], charge=figures["charge"])
    )
    back = diode.figures(asked, fit.diode)
    # What matters is that the figures come back, not tau: a fast ramp hardly sees tau.
    assert back["peak"] == pytest.approx(figures["peak"], rel=1e-3)
    assert back["charge"] == pytest.approx(figures["charge"], rel=1e-3)


def test_three_figures_that_agree_are_no_contradiction() -> None:
    # RR-03 of the published checks, to its printed digits.
    fit = diode.fit_recovery(Given(10.0, 100e6, "25 %", 471.5e-9, 6.8991e-6, 24.047))
    assert fit.contradictions == ()
    assert fit.diode.lifetime == pytest.approx(1e-6, rel=0.01)
    assert fit.diode.transit_time == pytest.approx(0.2e-6, rel=0.01)


def test_a_third_figure_that_cannot_be_is_named_with_what_it_would_have_to_be() -> None:
    fit = diode.fit_recovery(Given(10.0, 100e6, "25 %", 471.5e-9, 6.8991e-6, 12.0))
    said = " ".join(fit.contradictions)
    assert "I_RM = 12 A contradicts t_rr and Q_rr" in said
    assert "24.05 A" in said


def test_a_charge_no_diode_can_hold_in_that_time_is_refused() -> None:
    with pytest.raises(ValueError, match=r"Q_rr = 2e-05 C cannot be with t_rr"):
        diode.fit_recovery(Given(10.0, 100e6, "25 %", time=471.5e-9, charge=20e-6))


def test_an_impossible_pair_among_three_is_named() -> None:
    fit = diode.fit_recovery(Given(10.0, 100e6, "25 %", 200e-9, 6.8991e-6, 24.047))
    assert any("cannot be with" in sentence for sentence in fit.contradictions)


def test_one_figure_is_not_enough() -> None:
    with pytest.raises(ValueError, match="two of"):
        diode.fit_recovery(Given(10.0, 100e6, "25 %", peak=24.0))
