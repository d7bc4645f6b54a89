"""Junctions of a rehearsal: peak, held and later are one course.

Outside: the ladder of chip, case and heatsink by scipy's integrator; Ohm's law for heat.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.judge.limits import machine_limits
from simkit.measure.series import Series
from simkit.parameters.aftermath import Aftermath
from simkit.rehearsal.heat import junctions
from tests.machines import demo, varied

CALM, LATE = 20.0, 235.0
TIMES = np.arange(100) * 12e-6
LINE: Any = SimpleNamespace(
    events=[SimpleNamespace(start=50 * 12e-6)], frequency=SimpleNamespace(first=83e3), end=1.2e-3
)


def found(after: Aftermath | None = None, late: float = LATE, **more: Any) -> Any:
    """Demo's junctions with the loss of each switch stepping up in the middle of 1.2 ms."""
    machine = varied(demo(), {f"cooling.{key}": value for key, value in more.items()})
    begins = LINE.events[0].start - 1e-6
    values = np.where(begins > TIMES, CALM, late)
    losses = [Series(f"Q{k}", "loss", "W", TIMES, values) for k in (1, 2, 3, 4)]
    scenario: Any = SimpleNamespace(aftermath=after)
    series, left = junctions(machine, scenario, LINE, losses, {})
    return {(s.part, s.quantity): s for s in series}, left


def nodes(time: float, heatsink: float = 0.15) -> float:
    """Junction after the loss of four switches has stepped up, chip settled on its case [degC]."""

    def slope(_t: float, x: np.ndarray) -> list[float]:
        down = (x[0] - x[1]) / 0.35
        return [(LATE - down) / 3.0, (4.0 * down - x[1] / heatsink) / 2000.0]

    sink = 4.0 * CALM * 0.15
    done = solve_ivp(slope, (0, time), [sink + CALM * 0.35, sink], rtol=1e-8, atol=1e-8)
    return float(30.0 + done.y[0, -1] + LATE * 0.30)


def test_held_for_ten_seconds_the_pad_counts() -> None:
    """The chip alone made 20 W x 1.25 + 215 x 0.30 K = 119.5 degC, "ok" under 126: the pad makes
    190. 2 K: the chip's own heat capacity, a fifteenth of the case's, which the nodes leave out."""
    series, left = found()
    held = series["Q1", "junction_held"].worst
    assert held[0] == pytest.approx(nodes(10.0), abs=2.0)
    assert held[1] == pytest.approx(TIMES[-1] + 10.0)
    bound = next(x.bound for x in machine_limits(demo()) if x.quantity == "junction_held")
    assert held[0] > bound + 50.0
    course = series["Q1", "junction_held"]
    assert np.interp(TIMES[-1] + left, course.times, course.values) == pytest.approx(bound, abs=0.1)
    assert nodes(left) > bound, "a chip that has settled on its case is hotter than one on its way"


def test_later_goes_on_from_held() -> None:
    """At the hold time the two say the same, whatever follows."""
    series, _ = found(Aftermath(time=600.0, begins="settled"))
    later = series["Q1", "junction_later"]
    held = series["Q1", "junction_held"].worst[0]
    assert np.interp(TIMES[-1] + 10.0, later.times, later.values) == pytest.approx(held, abs=0.1)
    assert later.values[-1] == pytest.approx(nodes(600.0), abs=0.2)
    peak = series["Q1", "junction_peak"]
    assert peak.values[-1] < later.values[0] < held


def test_a_fan_that_stops_and_a_cold_start() -> None:
    series, _ = found(Aftermath(time=900.0, begins="settled", heatsink_resistance=0.6))
    assert series["Q1", "junction_later"].worst[0] == pytest.approx(nodes(900.0, 0.6), abs=0.3)
    series, _ = found(Aftermath(time=1e5, begins="cold"))
    end = 30.0 + LATE * (0.30 + 0.35 + 0.60)
    assert series["Q1", "junction_later"].values[-1] == pytest.approx(end, abs=0.1)
    assert series["heatsink", "heatsink_later"].values[-1] == pytest.approx(
        30.0 + 4.0 * LATE * 0.15, abs=0.1
    )
    # A millisecond of 235 W from cold: 45 mK/W on the data sheet's curve.
    assert series["Q1", "junction_later"].values[0] == pytest.approx(30.0 + 235 * 0.045, abs=0.2)


def test_without_capacities_the_hotter_value_and_the_limit_says_so() -> None:
    series, _ = found(case_heat_capacity=None, heatsink_heat_capacity=None)
    settled = 30.0 + LATE * (0.30 + 0.35 + 0.60)
    assert series["Q1", "junction_held"].worst[0] == pytest.approx(settled, abs=0.2)
    bare = varied(demo(), {"cooling.case_heat_capacity": None})
    told = {x.quantity: x.source for x in machine_limits(bare)}["junction_held"]
    assert "no cooling.case_heat_capacity given: the hotter of none and endless is taken" in told
    assert "heatsink_heat" not in told
    assert "given" not in {x.quantity: x.source for x in machine_limits(demo())}["junction_held"]


def test_a_loss_that_stays_never_reaches_the_limit_and_one_above_is_there_at_once() -> None:
    assert found(late=CALM)[1] == np.inf
    series, left = found(late=2e6)
    assert left == 0.0
    assert series["Q1", "junction_peak"].worst[0] > 126.0


@pytest.mark.slow
def test_one_curve_from_a_millisecond_to_settled() -> None:
    """At 10 s, 10 min and in the end against the nodes' integration: 1 % of the rise."""
    series, _ = found()
    stay = series["Q1", "junction_stay"]
    since = stay.times - TIMES[-1]
    for time in (10.0, 600.0, 9e4):
        at = float(np.interp(time, since, stay.values))
        wanted = nodes(time)
        assert at - 30.0 == pytest.approx(wanted - 30.0, rel=0.01)
    sink = series["heatsink", "heatsink_stay"]
    assert sink.values[-1] == pytest.approx(30.0 + 4 * LATE * 0.15, rel=0.01)
