"""Precharge by resistor and lamp.

Outside: the table of tungsten of Jones and Langmuir, 1927 (recalled from memory), scipy's
integrator, and facts of the trade marked as such.
"""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp

from simkit.parts.precharge import (
    lamp_from_rating,
    lamp_radiation,
    lamp_resistance,
    precharge,
    tungsten_ratio,
)
from simkit.parts.supply import Mains

MAINS = Mains(230.0, 50.0, 0.5, 1.0)


def test_lamp_at_its_rating_is_what_its_glass_says() -> None:
    lamp = lamp_from_rating(230.0, 60.0)
    assert 230.0**2 / lamp_resistance(lamp, lamp.temperature) == pytest.approx(60.0)
    assert lamp_radiation(lamp, lamp.temperature) == pytest.approx(60.0)
    assert lamp_radiation(lamp, 293.15) == 0.0


def test_cold_lamp_has_a_tenth_or_less_of_its_resistance() -> None:
    # common practice, no source
    lamp = lamp_from_rating(230.0, 60.0)
    assert 1 / 20 < lamp_resistance(lamp, 293.0) / lamp.resistance < 1 / 10


def test_resistor_course_is_the_integrated_one() -> None:
    got = precharge(MAINS, 470e-6, 47.0, bleeder=10e3)

    def slope(t: float, v: list[float]) -> list[float]:
        wave = math.sqrt(2) * 230.0 * abs(math.cos(100 * math.pi * t)) - 2.0
        current = max(wave - v[0], 0.0) / 47.5
        return [(current - v[0] / 10e3) / 470e-6]

    def reached(_t: float, v: list[float]) -> float:
        return v[0] - 0.95 * MAINS.peak

    reached.terminal = True  # type: ignore[attr-defined]  # scipy reads it from the function
    done = solve_ivp(slope, (0, 5), [0.0], max_step=1e-4, events=reached, rtol=1e-8, atol=1e-6)
    # steps of 0.1 ms, and corners of the rectified wave inside them
    assert got.close_time == pytest.approx(done.t_events[0][0], abs=3e-4)
    assert got.peak_current == pytest.approx(MAINS.peak / 47.5)
    assert got.hottest is None


def test_energy_balance_of_a_resistor() -> None:
    """What the mains give is what link and resistances hold and lose."""
    got = precharge(Mains(230.0, 50.0, 0.0, 0.0), 470e-6, 47.0)
    wave = [math.sqrt(2) * 230.0 * abs(math.cos(100 * math.pi * t)) for t in got.times]
    power = [w * i for w, i in zip(wave, got.currents, strict=True)]
    given = sum(
        0.5 * (a + b) * (t1 - t0)
        for a, b, t0, t1 in zip(power, power[1:], got.times, got.times[1:], strict=False)
    )
    # trapezoids of 0.1 ms on pulses of some ms
    assert 0.5 * 470e-6 * got.voltage**2 + got.energy == pytest.approx(given, rel=2e-3)


@pytest.mark.slow
@pytest.mark.parametrize("power", [25.0, 40.0, 60.0, 100.0])
def test_lamp_of_tens_of_watts_limits_the_charging_current(power: float) -> None:
    """Common practice, no source: a lamp of tens of watts in series limits the charging
    current of the smoothing capacitors."""
    got = precharge(MAINS, 1e-3, lamp_from_rating(230.0, power))
    bare = MAINS.peak / MAINS.resistance
    assert got.peak_current < 10.0 < 0.02 * bare
    # once it glows: the rms current can be little more than the rated one
    later = [i for t, i in zip(got.times, got.currents, strict=True) if 0.1 < t < 0.3]
    rms = math.sqrt(sum(i * i for i in later) / len(later))
    assert rms < 2.0 * power / 230.0
    assert got.close_time < 20.0


@pytest.mark.slow
def test_a_stronger_lamp_charges_sooner() -> None:
    weak, strong = (precharge(MAINS, 1e-3, lamp_from_rating(230.0, p)) for p in (40.0, 100.0))
    assert strong.close_time < weak.close_time
    assert strong.peak_current > weak.peak_current


def test_filament_warms_and_cools() -> None:
    got = precharge(MAINS, 1e-3, lamp_from_rating(230.0, 60.0))
    assert got.hottest is not None
    assert 1500.0 < got.hottest < 3000.0


def test_shorted_link_never_closes() -> None:
    got = precharge(MAINS, 470e-6, 47.0, bleeder=47.0, time=1.0)
    assert got.close_time == math.inf
    assert got.voltage < 0.7 * MAINS.peak


def test_refusals() -> None:
    with pytest.raises(ValueError, match="resistance"):
        precharge(Mains(230.0, 50.0, 0.0, 1.0), 1e-3, 0.0)
    with pytest.raises(ValueError, match="temperature"):
        tungsten_ratio(0.0)
