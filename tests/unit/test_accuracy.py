"""Errors by cause, what they leave of a verdict, and what another engine's figure does to it.

The house's own rules: expected values are worked out in the test from the numbers put in.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.circuit.timeline import timeline
from simkit.judge.limits import Limit
from simkit.judge.verdict import Judged, Opinion, too_uncertain, verdict, with_opinion
from simkit.measure.periodic import Cycle
from simkit.measure.series import Series
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.discretisation import ErrorByCause, Refined, allowed, counts, spread
from simkit.rehearsal.error_budget import gate_drift, missed
from simkit.rehearsal.flux_offset import start_offset
from simkit.rehearsal.remains import Remains
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.stretches import Stretch
from simkit.studies.situations import SITUATIONS
from tests.machines import demo, scenario, varied
from tests.waves import waves

NOTHING: Any = None

LIMIT = Limit("drain_voltage_peak", "V", 480.0, "a source")
ROW = Judged("Q1", "drain_voltage_peak", "V", 400.0, 4.0, 480.0, 400.0 / 480.0, 1e-3, None, "ok",
             "a source")  # fmt: skip


def of(values: list[float], gaps: list[float]) -> Refined:
    times = np.arange(len(values)) * 1e-5
    series = Series("Q1", "drain_voltage_peak", "V", times, np.array(values))
    return Refined((series,), (np.array(gaps),))


def test_the_error_is_that_of_values_that_may_be_the_worst() -> None:
    nan = float("nan")
    # 100 +/- 2 is the worst; 97 +/- 4 may be; 50 +/- 20 may not, whatever its own error.
    found = of([100.0, 97.0, 50.0, 99.0], [2.0, 4.0, 20.0, nan])
    assert found.step_error("drain_voltage_peak") == 4.0
    assert of([100.0, 50.0], [2.0, 20.0]).step_error("drain_voltage_peak") == 2.0


def test_a_quantity_no_finer_run_touched_has_no_error() -> None:
    assert np.isnan(of([1.0], [float("nan")]).step_error("drain_voltage_peak"))
    assert np.isnan(of([1.0], [0.1]).step_error("gate_lift"))


def test_the_largest_cause_is_named() -> None:
    assert ErrorByCause(1.0, 2.0, 0.5).cause == "start"
    assert ErrorByCause(1.0, 2.0, 0.5).total == 3.5
    parts = ErrorByCause(1.0, 2.0, 0.5, 0.25, 0.125).parts
    assert parts == {"steps": 1.0, "start": 2.0, "link": 0.5, "between_samples": 0.25,
                     "periodicity": 0.125, "load": 0.0}  # fmt: skip
    assert ErrorByCause(1.0, 2.0, 0.5, 0.25, 0.125).scaled(2.0).total == 2.0 * 3.875


@pytest.mark.parametrize(
    ("value", "error", "bound", "counted"),
    [
        (1070.0, 150.0, 13.0, True),  # far over, whatever the error: the interval doubled is too
        (0.072, 0.085, 3.0, True),  # far below: an error larger than the figure says enough
        (18.2e9, 1.1e9, 3.6e9, True),
        (100.0, 15.0, 125.0, False),  # doubled, the interval holds the limit
        (150.0, 15.0, 125.0, False),
        (-500.0, 260.0, 480.0, False),  # an error of more than half the limit is no figure
        (400.0, 20.0, 410.0, True),  # small for the figure: judged, and near its limit
    ],
)
def test_a_figure_counts_by_its_distance_to_the_limit(
    value: float, error: float, bound: float, counted: bool
) -> None:
    assert counts(value, error, replace(LIMIT, bound=bound)) is counted


def test_what_a_start_has_left_fades_and_what_a_run_cannot_tell_does_not() -> None:
    left = Remains(at=1e-3, share=0.02, memory=1e-4, floor=0.001, slow=0.01)
    assert left.tank(1e-3) == pytest.approx(0.021)
    assert left.tank(1.2e-3) == pytest.approx(0.001 + 0.02 * np.exp(-2.0))
    assert left.tank(0.9e-3) == pytest.approx(0.001 + 0.02 * np.exp(1.0))
    assert left.others(1.1e-3) == pytest.approx(0.01 * np.exp(-1.0))
    assert Remains(1e-3, 0.02, float("inf")).tank(5.0) == 0.02


@pytest.mark.parametrize(
    ("value", "bound"),
    [
        (400.0, 20.0),  # a twentieth of itself
        (0.0, 4.8),  # zero by nature: held against its limit, a twentieth of a fifth of it
        (-500.0, 96.0),  # below zero: a fifth of its limit
    ],
)
def test_how_much_error_a_figure_may_have(value: float, bound: float) -> None:
    assert allowed(value, LIMIT) == pytest.approx(bound)


def test_a_temperature_is_measured_from_the_coolant() -> None:
    limit = Limit("junction_peak", "degC", 125.0, "a source")
    assert allowed(85.0, limit, 25.0) == pytest.approx(3.0)


def test_what_lies_between_two_known_values_runs_straight() -> None:
    series = of([0.0] * 5, []).series[0]
    known = np.array([np.nan, 1.0, np.nan, 3.0, np.nan])
    assert spread(series, known).tolist() == pytest.approx([1.0, 1.0, 2.0, 3.0, 3.0])


def test_a_figure_too_uncertain_to_judge_is_no_verdict_with_the_reason() -> None:
    row = too_uncertain(replace(ROW, error=40.0), "more than 5% of its size")
    assert (row.status, row.value, row.error, row.ratio) == ("not_evaluated", None, None, None)
    found = verdict([row, replace(ROW, part="Q2")], None)
    assert found.outcome == "no_verdict"
    assert "400 V with a numerical error of 40 V" in found.reason
    assert "more than 5% of its size" in found.reason


def test_an_over_limit_elsewhere_still_counts() -> None:
    over = replace(ROW, part="Q2", value=600.0, ratio=1.25, status="over", first_over_s=1e-3)
    row = too_uncertain(replace(ROW, error=40.0), "more than 5% of its size")
    assert verdict([row, over], None).outcome == "over_limit"


@pytest.mark.parametrize(
    ("difference", "status"),
    [
        (0.0, "ok"),
        (7.9, "ok"),  # within the sum of both errors
        (-7.9, "ok"),
        (8.1, "near"),  # beyond it, and beyond a per cent: near at best
        (-8.1, "near"),
        (100.0, "near"),
    ],
)
def test_engines_that_differ_leave_a_figure_near_at_best(difference: float, status: str) -> None:
    row = with_opinion(ROW, Opinion(400.0 + difference, difference))
    assert row.status == status
    assert row.second_opinion == Opinion(400.0 + difference, difference)


def test_a_per_cent_is_allowed_even_to_smaller_errors() -> None:
    row = replace(ROW, error=0.1)
    assert with_opinion(row, Opinion(403.9, 3.9)).status == "ok"
    assert with_opinion(row, Opinion(404.1, 4.1)).status == "near"


def test_over_stays_over_only_beyond_the_difference() -> None:
    over = replace(ROW, value=500.0, ratio=500.0 / 480.0, status="over")
    assert with_opinion(over, Opinion(489.0, -11.0)).status == "over"  # 500 - 4 - 11 > 480
    assert with_opinion(over, Opinion(480.0, -20.0)).status == "near"


def test_without_a_second_opinion_nothing_changes() -> None:
    assert with_opinion(ROW, None) is ROW


def lifts(times: list[float], **parts: list[float]) -> list[Series]:
    return [
        Series(part, "gate_lift", "V", np.array(times), np.array(v)) for part, v in parts.items()
    ]


def test_a_lift_that_still_drifts_says_by_how_much_more_it_may() -> None:
    """v = 1 - 0.2 exp(-t/T), T = 2.5 cycles: after three, 1/(exp(0.4) - 1) = 2.03 times the last
    move is to come."""
    v = [1.0 - 0.2 * float(np.exp(-k / 2.5)) for k in range(4)]
    calm: Any = SimpleNamespace(line=SimpleNamespace(events=(), end=1.0))
    left = gate_drift(calm, lifts([0.0, 0.1, 0.2, 0.3], Q1=v, Q2=[0.5, 0.1, 0.5, 0.1]))
    assert left == pytest.approx(1.0 - v[3], rel=0.02)


def test_only_what_nothing_moved_counts_as_drift() -> None:
    event = SimpleNamespace(start=0.15)
    moved: Any = SimpleNamespace(line=SimpleNamespace(events=(event,), end=1.0))
    series = lifts([0.0, 0.1, 0.2, 0.3], Q1=[0.4, 0.5, 3.0, 4.0])
    assert gate_drift(moved, series) == pytest.approx(2.0 * 0.1)
    # A single value tells nothing of a drift, and no lift at all has none.
    assert gate_drift(moved, lifts([0.1], Q1=[0.4])) == 0.0
    assert gate_drift(moved, []) == 0.0


def test_a_whole_run_s_flux_is_doubted_by_the_offset_it_began_with() -> None:
    """Offsets of 1, -3 and 2 mT in three settled cycles, 9 mT in the event after them: 3 mT; twice
    as much where a blocking capacitor lets it swing."""
    machine = varied(demo(), {"transformer.blocking_capacitance": None})
    turns = machine.transformer.primary_turns * machine.transformer.core_area
    time = (np.arange(4000) + 0.5) * 1e-8
    offsets = np.array([1e-3, -3e-3, 2e-3, 9e-3])[(time / 1e-5).astype(int)]
    flux = turns * (offsets + 0.1 * np.cos(2.0 * np.pi * time / 1e-5))
    cycles = tuple(Cycle(k * 1e-5, (k + 1) * 1e-5) for k in range(4))
    made = waves(machine, time, lam=1e6 * flux)  # the deck's node counts microwebers
    whole = Stretch(made, cycles, (), (), (), NOTHING, NOTHING, NOTHING)
    assert start_offset(machine, whole, 3e-5) == pytest.approx(3e-3, rel=1e-2)
    assert start_offset(machine, whole, 0.0) == pytest.approx(1e-3, rel=1e-2)
    blocked = varied(demo(), {"transformer.blocking_capacitance": 1e-6})
    assert start_offset(blocked, whole, 3e-5) == pytest.approx(6e-3, rel=1e-2)


@pytest.mark.parametrize(("duration", "whole", "doubt"), [(5e-5, False, 0.25), (5e-5, True, 0.0),
                                                          (1e-3, False, 0.0)])  # fmt: skip
def test_samples_of_what_changes_too_quickly_leave_a_quarter_in_doubt(
    duration: float, whole: bool, doubt: float
) -> None:
    """A turn shorted within 4 cycles, in a scenario too long to run whole; and within 79."""
    made = scenario(settled=2e-4, margin=0.02).model_dump(exclude_none=True)
    made["events"] = [{"kind": "shorted-turn", "at": 0.0, "duration": duration, "turns": 5,
                       "coupling": 0.4}]  # fmt: skip
    line = timeline(demo(), Scenario.model_validate(made))
    found: Any = SimpleNamespace(is_whole=whole, line=line, scout=scouted(demo(), line))
    series = [Series("Q1", "channel_current_peak", "A", np.zeros(2), np.array([30.0, 40.0]))]
    assert missed(found, series).get("channel_current_peak", 0.0) == pytest.approx(doubt * 40.0)


@pytest.mark.slow
def test_a_source_below_its_link_gives_nothing_and_takes_nothing() -> None:
    """The mains sags to 60 %: until the bridge has drawn the link down, the rectifier blocks, and
    what the bridge takes is all that moves the link (Kirchhoff's current law at its node)."""
    case = next(s for s in SITUATIONS if s.name == "mains-sag").build(demo())
    scout = scouted(case.machine, timeline(case.machine, case.scenario))
    cycles = scout.event.cycles
    k = int(np.searchsorted(cycles.time, 3e-3))
    begin, end = (float(t) for t in cycles.time[k : k + 2])
    assert float(scout.link.bus_at(np.array([begin]))[0]) > 1.1 * scout.line.voltage.at(begin)
    into = scout.into_link(Cycle(begin, end))
    assert into == pytest.approx(-float(cycles.supply_current[k]), rel=1e-6)
    assert into < 0.0
