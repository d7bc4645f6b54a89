"""A junction within a cycle, against sums of its own over the data sheet's curve."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.measure.periodic import Cycle, cycle_averages, middles
from simkit.measure.series import Series
from simkit.parts.heat_path import curve_impedance, heat_course, heat_path
from simkit.rehearsal.heat_in_cycle import beside_mean, within_cycles
from tests.machines import demo

PERIOD = 10e-6
CYCLES = tuple(Cycle(k * PERIOD, (k + 1) * PERIOD) for k in range(20))
PATH = heat_path(demo())
CALM = 20.0
SHORT = 30e3
"""A leg shorted: about 500 A at half of 120 V [W]."""


def power(begins: float, lasts: float, end: float = 20 * PERIOD) -> tuple[Any, list[Series]]:
    """Waves of one switch with a burst of power in them, and its mean loss by cycle [W]."""
    time = np.arange(0.0, end + 5e-9, 10e-9)
    on = (time >= begins) & (time < begins + lasts)
    watts = np.where(on, SHORT, CALM)
    waves = SimpleNamespace(
        time=time,
        switches=[SimpleNamespace(number=1, lead_voltage=watts, drain_current=np.ones_like(time))],
    )
    any_waves: Any = waves
    means = cycle_averages(any_waves, watts, CYCLES)
    return any_waves, [Series("Q1", "loss", "W", middles(CYCLES), means)]


def hottest(begins: float, lasts: float, end: float = 20 * PERIOD) -> float:
    """The junction's largest rise beside that of the calm loss [K]."""
    waves, losses = power(begins, lasts, end)
    course = within_cycles(waves, CYCLES, losses, PATH)
    assert course is not None
    calm = np.full(4, CALM)
    times = np.append(course.starts, course.ends[-1])
    own = np.hstack((course.values, course.values[:, -1:]))
    rows = np.vstack((own, np.full((3, len(times)), CALM)))
    temperature = heat_course(PATH, calm, times, rows).junctions[0]
    return float(temperature.max() - temperature[0])


@pytest.mark.parametrize(("begins", "lasts"), [(52e-6, 1e-6), (83.3e-6, 2.5e-6), (100e-6, 5e-6)])
def test_a_short_within_a_cycle_heats_as_one_step_of_power(begins: float, lasts: float) -> None:
    """Rise of a step of power by definition of the transient impedance: P Z(t). 15 %: a burst
    spread over parts of a twenty-fourth of a cycle, whose heat is older by half of one."""
    rise = (SHORT - CALM) * float(curve_impedance(PATH, np.array([lasts]))[0])
    assert hottest(begins, lasts) == pytest.approx(rise, rel=0.15)


def test_what_comes_after_the_last_whole_cycle_counts() -> None:
    """3 us of a short in a rest of 4 us, of which no mean over cycles knows."""
    rise = (SHORT - CALM) * float(curve_impedance(PATH, np.array([3e-6]))[0])
    got = hottest(20 * PERIOD + 1e-6, 3e-6, 20 * PERIOD + 4e-6)
    assert got == pytest.approx(rise, rel=0.15)


def test_the_rest_after_the_last_whole_cycle_counts_in_normal_work_too() -> None:
    """Three quarters of a cycle, in no mean: without them a rising course ended 1 K low."""
    end = 20 * PERIOD + 7.5e-6
    waves, losses = power(1.0, 0.0, end)
    course = within_cycles(waves, CYCLES, losses, PATH)
    assert course is not None
    assert len(course.starts) == len(CYCLES) + 18  # of twenty-four parts of a cycle
    assert course.ends[-1] == pytest.approx(end)
    assert course.values[0] == pytest.approx(CALM)


def test_a_square_of_power_swings_a_junction_beside_its_mean() -> None:
    """480 W over half of a cycle, as a bridge far over its current has: half of it above the mean
    for half a cycle is a step of power, P Z(t); 5 %: its parts are a twenty-fourth of a cycle."""
    time = np.arange(0.0, 20 * PERIOD + 5e-9, 10e-9)
    watts = np.where((time / PERIOD) % 1.0 < 0.5, 480.0, 0.0)
    switch = SimpleNamespace(number=1, lead_voltage=watts, drain_current=np.ones_like(time))
    waves: Any = SimpleNamespace(time=time, switches=[switch])
    swing = 240.0 * float(curve_impedance(PATH, np.array([0.5 * PERIOD]))[0])
    assert swing > 0.5, "as large as what sampled and whole runs of a lift differed by"
    assert beside_mean(waves, CYCLES[3], "Q1", PATH) == pytest.approx(swing, rel=0.05)
    switch.lead_voltage = np.full_like(watts, 240.0)
    assert beside_mean(waves, CYCLES[3], "Q1", PATH) == pytest.approx(0.0, abs=1e-9)


def test_normal_work_follows_the_means() -> None:
    """30 W over half of each cycle: some tenths of a kelvin."""
    time = np.arange(0.0, 20 * PERIOD + 5e-9, 10e-9)
    watts = np.where((time / PERIOD) % 1.0 < 0.5, 60.0, 0.0)
    switch = SimpleNamespace(number=1, lead_voltage=watts, drain_current=np.ones_like(time))
    waves: Any = SimpleNamespace(time=time, switches=[switch])
    losses = [Series("Q1", "loss", "W", middles(CYCLES), cycle_averages(waves, watts, CYCLES))]
    assert within_cycles(waves, CYCLES, losses, PATH) is None


def test_a_mean_put_right_by_finer_runs_is_kept() -> None:
    waves, losses = power(52e-6, 1e-6)
    better = [Series("Q1", "loss", "W", losses[0].times, 1.01 * losses[0].values)]
    course = within_cycles(waves, CYCLES, better, PATH)
    assert course is not None
    inside = course.cycle == 5
    share = (course.ends - course.starts)[inside] / PERIOD
    mean = float((course.values[0, inside] * share).sum())
    assert mean == pytest.approx(better[0].values[5], rel=1e-9)
