"""Mains side: the marched rectifier against scipy's integrator and closed forms.

Outside: the same circuit's equations by solve_ivp with tight tolerances; the exact steady state of
rectifier, capacitor and resistor (transcendental, `parts.supply.rectifier_resistive`, itself
checked against published examples); exponentials and sines of the inrush; the ripple approximation
of textbooks; the six-pulse rectifier's factors (N. Mohan and others, "Power Electronics", chapter
5, recalled from memory).
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from simkit.parts.mains import Line, drawn, held_current, inrush
from simkit.parts.supply import approximate_ripple, rectifier_resistive

POINTS = [
    (volts, hertz, watts, farad, ohm)
    for (volts, hertz), (watts, farad), ohm in product(
        ((230.0, 50.0), (120.0, 60.0)),
        ((500.0, 470e-6), (1500.0, 1000e-6), (3000.0, 1000e-6), (800.0, 10e-6), (1500.0, 4e-3)),
        (0.25, 1.0),
    )
]
"""Twenty, and one of ten microfarads among them, whose voltage follows the mains."""


def reference(line: Line, watts: float, at: float, begin: float) -> tuple[float, float]:
    """Rms current and ripple by LSODA, twenty periods from a voltage of the link on."""
    g = watts / at**2

    def slope(t: float, x: np.ndarray) -> list[float]:
        u = abs(np.sqrt(2.0) * line.voltage * np.cos(2 * np.pi * line.frequency * t))
        u -= 2.0 * line.diode_drop
        if line.inductance:
            push = u - x[0] - line.resistance * x[1]
            change = push / line.inductance if x[1] > 0.0 or push > 0.0 else 0.0
            return [(max(x[1], 0.0) - g * x[0]) / line.capacitance, change]
        i = max(u - x[0], 0.0) / line.resistance
        return [(i - g * x[0]) / line.capacitance]

    state = [begin] + ([0.0] if line.inductance else [])
    periods = 20
    grid = np.linspace((periods - 1) * line.period, periods * line.period, 4001)
    done = solve_ivp(slope, (0, grid[-1]), state, t_eval=grid, rtol=1e-6, atol=1e-5,
                     max_step=line.period / 80, method="LSODA")  # fmt: skip
    v = done.y[0]
    u = np.abs(np.sqrt(2) * line.voltage * np.cos(2 * np.pi * line.frequency * grid))
    i = (np.maximum(done.y[1], 0.0) if line.inductance
         else np.maximum(u - 2 * line.diode_drop - v, 0.0) / line.resistance)  # fmt: skip
    return float(np.sqrt(np.mean(i**2))), float(np.ptp(v))


@pytest.mark.parametrize(("volts", "hertz", "watts", "farad", "ohm"), POINTS)
def test_rms_and_ripple_at_twenty_points(
    volts: float, hertz: float, watts: float, farad: float, ohm: float
) -> None:
    """2 % is the promise."""
    line = Line(volts, hertz, ohm, 0.0, 0.9, farad)
    found = drawn(line, watts, 1.35 * volts)
    rms, ripple = reference(line, watts, 1.35 * volts, found.lowest)
    assert found.settled
    assert found.rms == pytest.approx(rms, rel=0.02)
    assert found.ripple == pytest.approx(ripple, rel=0.02)
    assert found.peak > found.rms > found.dc
    assert 0.3 < found.power_factor < 1.0


def test_a_line_with_inductance() -> None:
    line = Line(230.0, 50.0, 0.25, 0.8e-3, 0.9, 1000e-6)
    found = drawn(line, 2000.0, 310.0)
    rms, ripple = reference(line, 2000.0, 310.0, found.lowest)
    assert found.rms == pytest.approx(rms, rel=0.02)
    assert found.ripple == pytest.approx(ripple, rel=0.02)


def test_a_published_link() -> None:
    """Malvino and Bates, Electronic Principles, 7th edition, example 4-7: 120 V, 60 Hz, 5 to 1,
    centre-tapped, 5 kohm and 100 uF: 17 V and 0.28 V of ripple, diodes without a drop. The
    book's ripple is I/(2 f C), the discharge taken as lasting the whole half period: too much."""
    line = Line(12.0, 60.0, 0.1, 0.0, 0.0, 100e-6)
    found = drawn(line, 17.0**2 / 5e3, 17.0)
    assert found.mean == pytest.approx(17.0, rel=0.015)
    assert found.ripple == pytest.approx(0.28, rel=0.06)
    assert found.ripple < 0.28


def test_a_stiff_source_has_the_exact_steady_state() -> None:
    """5 mohm stand for none: 1 %."""
    line = Line(230.0, 50.0, 5e-3, 0.0, 0.0, 470e-6)
    exact = rectifier_resistive(np.sqrt(2.0) * 230.0, 50.0, 100.0, 470e-6)
    found = drawn(line, 300.0**2 / 100.0, 300.0)
    assert found.mean == pytest.approx(exact.mean, rel=0.01)
    assert found.ripple == pytest.approx(exact.ripple, rel=0.02)
    # The textbook's ripple is always too large.
    assert found.ripple < approximate_ripple(found.dc, 50.0, 470e-6)


def test_three_kilowatts_at_the_crest_are_eighteen_amperes() -> None:
    """What a mean of 8.2 A hides. A second program's figures for the same circuit, 3 kW at a link
    of 325 V: 18.2 A rms, 53 A peak, link 258 to 320 V; 3 %."""
    line = Line(230.0, 50.0, 0.25, 0.0, 0.9, 1000e-6)
    found = drawn(line, 3000.0, 325.0)
    assert found.dc == pytest.approx(8.2, rel=0.03)
    assert found.rms == pytest.approx(18.2, rel=0.03)
    assert found.peak == pytest.approx(53.0, rel=0.03)
    assert (found.lowest, found.highest) == pytest.approx((258.0, 320.0), rel=0.03)


def test_a_link_too_small_for_a_regulated_load() -> None:
    with pytest.raises(ValueError, match="too small"):
        drawn(Line(230.0, 50.0, 0.25, 0.0, 0.9, 20e-6), 3000.0, 290.0, regulated=True)
    line = Line(230.0, 50.0, 0.25, 0.0, 0.9, 1000e-6)
    assert drawn(line, 2000.0, 290.0, regulated=True).power == pytest.approx(2000.0, rel=1e-3)


def test_six_pulses_ripple_little() -> None:
    """Mean 1.35 V_LL and a line current of sqrt(2/3) of the link's with a small link and a choke;
    without the choke the current follows the ripple, 1 % more."""
    line = Line(400.0, 50.0, 0.05, 0.0, 0.0, 1e-6, phases=3)
    found = drawn(line, 5000.0, 540.0)
    assert found.mean == pytest.approx(1.35 * 400.0, rel=0.01)
    assert found.rms == pytest.approx(np.sqrt(2.0 / 3.0) * found.dc, rel=0.02)
    assert found.power_factor == pytest.approx(0.955, abs=0.01)


def first_surge(line: Line) -> tuple[float, float]:
    """Peak and integral of i^2 of the same time after a switch closed at the crest, by LSODA."""

    def slope(t: float, x: np.ndarray) -> list[float]:
        u = abs(np.sqrt(2.0) * line.voltage * np.cos(2 * np.pi * line.frequency * t))
        i = max(u - 2.0 * line.diode_drop - x[0], 0.0) / line.resistance
        return [i / line.capacitance, i * i]

    end = min(4.0 * line.period, 40.0 * line.resistance * line.capacitance)
    done = solve_ivp(slope, (0.0, end), [0.0, 0.0], rtol=1e-8, atol=1e-8,
                     max_step=line.period / 400, method="LSODA")  # fmt: skip
    return (np.sqrt(2.0) * line.voltage - 2.0 * line.diode_drop) / line.resistance, done.y[1][-1]


@pytest.mark.parametrize(("volts", "hertz", "watts", "farad", "ohm"), POINTS)
def test_inrush_at_twenty_points(
    volts: float, hertz: float, watts: float, farad: float, ohm: float
) -> None:
    """2 % is the promise; the load does not matter to the first surge."""
    line = Line(volts, hertz, ohm, 0.0, 0.9, farad)
    peak, melting = first_surge(line)
    found = inrush(line)
    assert found.peak == pytest.approx(peak, rel=0.02)
    assert found.melting == pytest.approx(melting, rel=0.02)
    assert found.highest <= np.sqrt(2.0) * volts


@pytest.mark.parametrize("ohm", [0.25, 1.0, 10.0])
def test_inrush_through_resistance(ohm: float) -> None:
    """A crest stands still for a time constant: V/R and V^2 C/(2 R). 100 uF and less, 2 %."""
    line = Line(230.0, 50.0, ohm, 0.0, 0.0, min(100e-6, 20e-6 / ohm))
    found, peak = inrush(line), np.sqrt(2.0) * 230.0
    assert found.peak == pytest.approx(peak / ohm, rel=0.02)
    assert found.melting == pytest.approx(0.5 * peak**2 * line.capacitance / ohm, rel=0.02)


def test_inrush_through_inductance() -> None:
    """V sqrt(C/L), half a sine of it; the link swings to nearly twice the crest."""
    line = Line(230.0, 50.0, 1e-3, 20e-6, 0.0, 10e-6)
    found, peak = inrush(line), np.sqrt(2.0) * 230.0
    assert found.peak == pytest.approx(peak * np.sqrt(10 / 20), rel=0.02)
    assert found.highest == pytest.approx(2.0 * peak, rel=0.02)
    assert inrush(line, extra=47.0).peak == pytest.approx(peak / 47.0, rel=0.05)


def test_a_link_so_large_that_it_stands_still() -> None:
    """0.1 F take hundreds of periods to settle, changing next to nothing in each. In the limit the
    link is a battery of the voltage at which as much comes as goes; 1 %."""
    line, at, watts = Line(230.0, 50.0, 0.25, 0.0, 0.9, 0.1), 320.0, 1500.0
    crest, g = np.sqrt(2.0) * 230.0 - 1.8, watts / at**2

    def over(angle: float, volts: float) -> float:
        return (np.sqrt(2.0) * 230.0 * np.cos(angle) - 1.8 - volts) / 0.25

    def end(volts: float) -> float:
        return float(np.arccos((volts + 1.8) / (np.sqrt(2.0) * 230.0)))

    def mean(volts: float) -> float:
        return float(quad(over, 0.0, end(volts), args=(volts,))[0] / (np.pi / 2.0))

    volts = brentq(lambda v: mean(v) - g * v, 0.5 * crest, crest - 1e-6)
    square = quad(lambda a: over(a, volts) ** 2, 0.0, end(volts))[0] / (np.pi / 2.0)
    found = drawn(line, watts, at)
    assert found.settled
    assert found.rms == pytest.approx(np.sqrt(square), rel=0.01)
    assert found.lowest == pytest.approx(volts, rel=0.002)
    # A tank that rings out behind a choke draws milliwatts: that is at rest too.
    assert drawn(Line(230.0, 50.0, 0.25, 2e-3, 0.9, 1e-3), 1e-3, at).settled
    # One that has not come to rest says so.
    assert not drawn(Line(230.0, 50.0, 0.25, 0.0, 0.9, 0.9), watts, at).settled


@pytest.mark.parametrize("phases", [1, 3])
def test_the_mean_current_into_a_held_link(phases: int) -> None:
    """The sine's tip above the link, by quad over one pulse; none from the crest on."""
    line = Line(230.0, 50.0, 0.25, 0.0, 0.9, 1e-3, phases=phases)
    crest, half = np.sqrt(2.0) * 230.0, np.pi / (2.0 if phases == 1 else 6.0)
    for volts in (100.0, 250.0, 300.0, 320.0):
        mean = quad(
            lambda a, v: max(crest * np.cos(a) - 1.8 - v, 0.0) / 47.0, 0.0, half, args=(volts,),
            limit=400,
        )[0] / half  # fmt: skip
        assert held_current(line, 47.0, volts) == pytest.approx(mean, rel=1e-4)
    assert held_current(line, 47.0, 324.0) == 0.0
