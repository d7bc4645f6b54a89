"""The search for cures, on a made-up physics whose answers are known."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.circuit.timeline import timeline
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.advice.attempts import Advised, Attempt
from simkit.studies.advice.changes import changes_of
from simkit.studies.advice.levers import ladders, taken
from simkit.studies.advice.search import Option
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.protect import trip
from simkit.studies.protect.cures import cures
from simkit.studies.protect.page import write_protection
from simkit.studies.protect.result import _remedy, document, reason, trip_words, verdict
from simkit.studies.protect.study import Protection, Remedy, Searcher, Tried, clamp
from simkit.studies.protect.view import protect_view
from tests.machines import DEMO

NAMES = ("can_current_rms", "recovery_dv_dt", "flux_peak")


def loaded(name: str = "pull-out-shaken") -> tuple[Machine, Scenario]:
    scenario, machine = load_scenario(DEMO / f"{name}.toml")
    return machine.model, scenario.model


def row(**ratios: float) -> dict[str, Any]:
    limits = {
        q: {"ratio": r, "error": 0.0, "status": "over" if r > 1.0 else "ok", "first_over_s": None}
        for q, r in ratios.items()
    }
    outcome = "over_limit" if any(r > 1.0 for r in ratios.values()) else "within_limits"
    return {"outcome": outcome, "reason": "", "limits": limits, "power": 1000.0,
            "bridge_loss": 30.0, "link_peak": 330.0}  # fmt: skip


# --- the trip


LAST_CAN, LAST_SWITCH = 0.61234e-3, 1.2345e-3
"""Made up: gates off later than this let the cans, or the diodes, go over their limit [s]."""


def tripped(cases: Sequence[tuple[Machine, Scenario]]) -> list[dict[str, Any]]:
    """Going off always drives the flux over its limit, as from a full tank."""
    out = []
    for _, scenario in cases:
        at = next(e.at for e in scenario.events if e.kind == "trip")
        can, slope = 1.2 if at > LAST_CAN else 0.9, 3.0 if at > LAST_SWITCH else 0.0
        out.append(row(can_current_rms=can, recovery_dv_dt=slope, flux_peak=1.05))
    return out


def base(machine: Machine, scenario: Scenario) -> Any:
    """A whole run whose bridge current climbs straight from 15 A by 20 A in a millisecond."""
    line = timeline(machine, scenario)
    start = line.events[0].start
    time = np.linspace(0.0, line.stop, 30001)
    swing = 15.0 + np.maximum(time - start, 0.0) * 20e3
    current = swing * np.where(np.arange(len(time)) % 2, 1.0, -1.0)
    crossed = {"can_current_rms": LAST_CAN + 20e-6, "recovery_dv_dt": LAST_SWITCH + 5e-6}
    rows = tuple(
        SimpleNamespace(
            quantity=q,
            first_over_s=start + crossed[q] if q in crossed else None,
            first_over_error_s=6e-6,
        )
        for q in NAMES
    )
    waves = SimpleNamespace(time=time, primary_current=current)
    whole = SimpleNamespace(waves=waves)
    return SimpleNamespace(is_whole=True, line=line, whole=whole, rows=rows)


@pytest.fixture(scope="module")
def found() -> trip.Trip:
    machine, scenario = loaded()
    return trip.search(machine, scenario, base(machine, scenario), tripped)


def test_the_last_moment_is_bracketed_to_5_per_cent_of_the_delay(found: trip.Trip) -> None:
    every, sudden = found.boundaries
    # 1.2 times 15 A is passed 3 A later, at 20 A/ms: 0.15 ms after the event began.
    crossing = found.levels[0].crossing
    assert crossing == pytest.approx(0.15e-3, abs=1e-6)
    for boundary, last in ((every, LAST_CAN), (sudden, LAST_SWITCH)):
        assert boundary.inside is not None
        assert boundary.outside is not None
        assert boundary.inside <= last < boundary.outside
        delay = boundary.delay(crossing or 0.0)
        assert delay is not None
        assert delay[1] - delay[0] <= 0.05 * (last - 0.15e-3)


def test_just_inside_keeps_and_just_outside_does_not(found: trip.Trip) -> None:
    for boundary in found.boundaries:
        inside, outside = boundary.inside_row, boundary.outside_row
        assert inside is not None
        assert outside is not None
        assert all(inside["limits"][q]["status"] == "ok" for q in boundary.kept)
        assert any(outside["limits"][q]["status"] == "over" for q in boundary.kept)


def test_what_going_off_exceeds_by_itself_is_said_apart(found: trip.Trip) -> None:
    assert set(found.going_off) == {"flux_peak"}
    assert all("flux_peak" not in b.kept for b in found.boundaries)
    said = " ".join(trip_words(found))
    assert "flux density (1.05 times)" in said
    assert "us of delay" in said


def test_a_trip_that_never_helps_has_no_boundary() -> None:
    machine, scenario = loaded()
    start = base(machine, scenario)

    def never(cases: Sequence[tuple[Machine, Scenario]]) -> list[dict[str, Any]]:
        times = [next(e.at for e in s.events if e.kind == "trip") for _, s in cases]
        return [row(can_current_rms=1.5 if t > 1e-5 else 0.9, recovery_dv_dt=0.0, flux_peak=0.5)
                for t in times]  # fmt: skip

    every = trip.search(machine, scenario, start, never).boundaries[0]
    assert every.inside is None or every.inside <= 1e-5


def test_a_run_with_a_trip_ends_soon_after_it() -> None:
    machine, scenario = loaded()
    line = timeline(machine, trip.with_trip(scenario, 1e-3))
    assert line.stop == pytest.approx(line.events[0].start + 1e-3 + trip.AFTER)


def sampled(machine: Machine, scenario: Scenario) -> Any:
    """The same of a lift by hand, sampled: the fast model has 3 % too little of a current that
    climbs by 1 A in a millisecond."""
    line = timeline(machine, scenario)
    start = line.events[0].start
    time = np.linspace(0.0, line.stop, 301)

    def swing(t: Any) -> Any:
        return 15.0 + 1e3 * np.maximum(np.asarray(t) - start, 0.0)

    def sample(at: float) -> Any:
        axis = np.linspace(at, at + 20e-6, 41)
        crest = np.cos(2e6 * (axis - at - 10e-6))
        waves = SimpleNamespace(
            time=axis, primary_current=swing(at + 10e-6) * crest, machine=machine,
            switches=[],
        )  # fmt: skip
        return SimpleNamespace(waves=waves, line=line, cycles=[SimpleNamespace(start=at)])

    cycles = SimpleNamespace(time=time, primary_current_peak=0.97 * swing(time))
    scout = SimpleNamespace(event=SimpleNamespace(cycles=cycles))
    first_pass = tuple(sample(t) for t in (0.0, 0.01, 0.03, 0.05, 0.06))
    return SimpleNamespace(is_whole=False, line=line, scout=scout, first_pass=first_pass)


def test_a_lift_by_hand_has_its_crossings_from_the_fast_model_at_the_samples_scale() -> None:
    machine, scenario = loaded("pull-out-cold")
    assert not trip.is_short(machine, scenario)
    assert trip.is_short(*loaded())
    calm, levels = trip.levels_of(sampled(machine, scenario))
    assert calm == pytest.approx(15.0)
    period = 1.0 / timeline(machine, scenario).frequency.first
    for level in levels:
        # 1 A in a millisecond: 0.2 times 15 A more is passed after 3 ms. Samples that all agree
        # leave no doubt but when within a cycle.
        assert level.crossing == pytest.approx(15e-3 * (level.share - 1.0), abs=20e-6)
        assert level.error == pytest.approx(period, rel=0.5)


def test_samples_that_disagree_are_an_error_of_the_crossing() -> None:
    machine, scenario = loaded("pull-out-cold")
    base = sampled(machine, scenario)
    odd = base.first_pass[2].waves
    odd.primary_current = 1.02 * odd.primary_current
    _, levels = trip.levels_of(base)
    # 2 % of 18 A is 0.36 A: at 1 A in a millisecond, 0.36 ms, and some more along the way.
    assert 0.3e-3 < levels[0].error < 0.6e-3
    inside = trip.Boundary("all", ("flux_peak",), 10e-3, 11e-3, row(flux_peak=0.9),
                           row(flux_peak=1.1))  # fmt: skip
    crossing = levels[0].crossing or 0.0
    longest, late = inside.delay(crossing, levels[0].error) or (0.0, 0.0)
    assert longest == pytest.approx(10e-3 - crossing - levels[0].error)
    assert late == pytest.approx(11e-3 - crossing + levels[0].error)


@pytest.mark.parametrize(
    ("status", "ends", "said"),
    [("over", "over", "is too late"), ("near", "near", "too near its limit to tell"),
     ("not_evaluated", "no_verdict", "reached no verdict")],
)  # fmt: skip
def test_a_boundary_says_what_ends_it(status: str, ends: str, said: str) -> None:
    good, bad = row(flux_peak=0.9, supply_current=1.8), row(flux_peak=1.1)
    bad["limits"]["flux_peak"]["status"] = status
    found = trip.Boundary("all", ("flux_peak",), 1e-3, 1.1e-3, good, bad)
    assert found.ends == ends
    level = trip.Level(1.2, 18.0, 0.5e-3)
    (text,) = trip_words(trip.Trip(15.0, (level,), (found,), {}, good))
    assert said in text
    # What is not among the kept but goes over when the gates go off then is told.
    assert "as the gates go off, over" in text
    assert "(1.80 times)" in text
    # And a run of which nothing is known keeps nothing.
    assert trip.kept({"limits": {}}, ("flux_peak",)) == "no_verdict"


def test_a_bracket_finds_a_moment_far_from_where_it_is_expected() -> None:
    """The diodes are first forced off long after the fast model has the current reversed."""
    machine, scenario = loaded("pull-out-cold")
    found = trip._Hunt(machine, scenario, lambda cases: [
        row(recovery_dv_dt=2.0 if next(e.at for e in s.events if e.kind == "trip") > 39e-3 else 0.5)
        for _, s in cases
    ], "all", ("recovery_dv_dt",), 12.7e-6, 0.3e-3).boundary(30.8e-3, 6e-6, 17.7e-3)  # fmt: skip
    assert found.inside is not None
    assert found.outside is not None
    assert found.inside <= 39e-3 < found.outside
    assert found.outside - found.inside <= 0.05 * (found.inside - 17.7e-3)


# --- the ladders


def test_every_cure_has_a_ladder_on_the_demonstration() -> None:
    keys = [c.key for c in cures(*loaded())]
    assert keys == ["margin", "tracking", "slower", "part", "diodes", "gate", "snubber", "link"]


def hertz(amount: str) -> float:
    """ "loop bandwidth 6.63 Hz" -> 6.63."""
    value, unit = amount.split()[2:4]
    return float(value) * {"Hz": 1.0, "kHz": 1e3}[unit]


def test_tracking_lags_by_its_time_constant() -> None:
    machine, scenario = loaded()
    tracking = next(c for c in cures(machine, scenario) if c.key == "tracking")
    for step in tracking.steps:
        # A first-order loop of bandwidth 1/(2 pi tau) follows a ramp tau behind.
        bandwidth = hertz(step.amount)
        event = step.scenario.events[-1]
        assert event.at == pytest.approx(1.0 / (2.0 * np.pi * bandwidth), rel=0.01)
        line = timeline(machine, step.scenario)
        before = line.frequency.first / machine.resonance(line.inductance.first)
        after = line.frequency.last / machine.resonance(line.inductance.last)
        assert after == pytest.approx(before)


def test_tracking_is_tried_at_the_pace_of_the_lift() -> None:
    """0.8 of 2 ms and of 60 ms: first-order loops of 99 Hz and of 3.3 Hz."""
    for name, slowest in (("pull-out-shaken", 99.5), ("pull-out-cold", 3.32)):
        tracking = next(c for c in cures(*loaded(name)) if c.key == "tracking")
        assert hertz(tracking.steps[0].amount) == pytest.approx(slowest, rel=0.01)


def test_a_larger_gate_resistor_leaves_turn_off_as_it_was() -> None:
    machine, scenario = loaded()
    gate = next(c for c in cures(machine, scenario) if c.key == "gate")
    for step in gate.steps:
        drive = step.machine.drive
        assert drive.turn_off_resistor is not None
        both = 1.0 / (1.0 / drive.gate_resistor + 1.0 / drive.turn_off_resistor)
        assert both == pytest.approx(machine.drive.gate_resistor)


def test_a_drive_that_already_tracks_needs_no_tracking() -> None:
    machine, scenario = loaded()
    start = scenario.start.model_copy(update={"tracks": True})
    tracked = scenario.model_copy(update={"start": start})
    assert "tracking" not in [c.key for c in cures(machine, tracked)]


def test_ladders_end_where_every_limit_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    machine, scenario = loaded()
    margin = next(c for c in cures(machine, scenario) if c.key == "margin")
    searcher = Searcher()

    def runs(cases: Sequence[tuple[Machine, Scenario]]) -> list[dict[str, Any]]:
        return [row(can_current_rms=2.05 - 20.0 * (s.start.margin or 0.0), recovery_dv_dt=0.5)
                for _, s in cases]  # fmt: skip

    monkeypatch.setattr(searcher, "runs", runs)
    (remedy,) = searcher.ladders([margin])
    # 2.05 - 20 m falls below 1 above m = 5.25 %; steps stand at 3, 4, 5, 6.5 %.
    assert remedy.best.within
    assert remedy.best.step.amount.startswith("6.5 %")
    assert remedy.too_little.startswith("5 %")


def test_ranking_puts_every_limit_before_the_sudden_before_neither() -> None:
    cure = cures(*loaded())[0]
    step = cure.steps[0]
    made = [
        Remedy(cure, t, (t,))
        for t in (
            Tried(step, row(can_current_rms=1.1, recovery_dv_dt=1.2)),
            Tried(step, row(can_current_rms=1.5, recovery_dv_dt=0.2)),
            Tried(step, row(can_current_rms=0.9, recovery_dv_dt=0.9)),
        )
    ]
    kept = [(r.best.within, r.best.sudden_kept()) for r in sorted(made, key=lambda r: r.rank)]
    assert kept == [(True, True), (False, True), (False, False)]
    machine, scenario = loaded()
    whole = Protection(machine, scenario, row(can_current_rms=2.0), tuple(made))
    assert verdict(whole) == "within_limits"
    only = Protection(machine, scenario, row(can_current_rms=2.0), tuple(made[:2]))
    assert verdict(only) == "over_limit"
    assert "No cure tried keeps every limit" in reason(only)


def test_ladders_begin_where_they_are_told_and_look_one_step_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    machine, scenario = loaded()
    margin = next(c for c in cures(machine, scenario) if c.key == "margin")
    searcher, asked = Searcher(), []

    def runs(cases: Sequence[tuple[Machine, Scenario]]) -> list[dict[str, Any]]:
        asked.extend(round(s.start.margin or 0.0, 4) for _, s in cases)
        return [row(can_current_rms=2.05 - 20.0 * (s.start.margin or 0.0)) for _, s in cases]

    monkeypatch.setattr(searcher, "runs", runs)
    # 2.05 - 20 m falls below 1 above m = 5.25 %: the fourth step, 6.5 %, is the least.
    (told,) = searcher.ladders([margin], {"margin": 3})
    assert asked == [0.065, 0.05]
    assert (told.best.step.amount[:5], told.too_little[:3]) == ("6.5 %", "5 %")
    asked.clear()
    (early,) = searcher.ladders([margin], {"margin": 2})
    assert asked == [0.05, 0.065]
    assert early.too_little == told.too_little
    asked.clear()
    (late,) = searcher.ladders([margin], {"margin": 5})
    assert asked == [0.11, 0.08, 0.065, 0.05]
    assert late.best.step is told.best.step


@pytest.mark.parametrize(
    ("begins", "asked", "least", "too_little"),
    [
        (6, [0.0995, 0.199, 0.398, 0.796, 1.59, 3.18, 6.37][:0:-1], 0.199, 0.0995),
        (2, [0.398, 0.796, 1.59, 3.18, 6.37, 0.199, 0.0995], 0.199, 0.0995),
    ],
)  # fmt: skip
def test_a_ladder_that_keeps_not_everything_ends_at_the_least_that_keeps_the_sudden(
    monkeypatch: pytest.MonkeyPatch,
    begins: int,
    asked: list[float],
    least: float,
    too_little: float,
) -> None:
    """The cans stay over with every loop; the diodes are at peace from 0.15 kHz on."""
    machine, scenario = loaded()
    cure = next(c for c in cures(machine, scenario) if c.key == "tracking")
    bandwidth = {id(s.scenario): 1e-3 * hertz(s.amount) for s in cure.steps}
    searcher, ran = Searcher(), list[float]()

    def runs(cases: Sequence[tuple[Machine, Scenario]]) -> list[dict[str, Any]]:
        ran.extend(bandwidth[id(s)] for _, s in cases)
        return [row(can_current_rms=2.0, recovery_dv_dt=0.1 if bandwidth[id(s)] > 0.15 else 3.0)
                for _, s in cases]  # fmt: skip

    monkeypatch.setattr(searcher, "runs", runs)
    (found,) = searcher.ladders([cure], {"tracking": begins}, at_least_sudden=True)
    assert hertz(found.best.step.amount) == pytest.approx(1e3 * least, rel=0.01)
    assert hertz(found.too_little) == pytest.approx(1e3 * too_little, rel=0.01)
    assert ran == pytest.approx([*asked, *([too_little] if begins == 6 else [])], rel=0.01)
    # Where nothing sudden was over there is nothing to look for further down.
    ran.clear()
    searcher.ladders([cure], {"tracking": begins})
    assert ran == pytest.approx([6.37] if begins == 6 else asked[:5], rel=0.01)


def test_what_was_not_over_is_not_sold_as_kept() -> None:
    """Only a can was over: slopes that are still within cure nothing."""
    cure = cures(*loaded())[0]
    kept = Tried(cure.steps[0], row(can_current_rms=1.5, recovery_dv_dt=0.2))
    remedy = Remedy(cure, kept, (kept,))
    assert kept.sudden_kept()
    machine, scenario = loaded()
    base = row(can_current_rms=2.0, recovery_dv_dt=0.3)
    assert remedy.cured(base) == ()
    found = Protection(machine, scenario, base, (remedy,))
    assert not found.partly(remedy)
    assert "destroys within a cycle" not in reason(found)
    hard = row(can_current_rms=2.0, recovery_dv_dt=3.0)
    whole = Protection(machine, scenario, hard, (remedy,))
    assert remedy.cured(hard) == ("recovery_dv_dt",)
    assert whole.partly(remedy)
    assert "destroys within a cycle" in reason(whole)
    (told,) = [_remedy(remedy, found)]
    assert (told["sudden_kept"], told["cured"]) == (False, [])


def test_what_was_not_evaluated_is_kept_by_nobody() -> None:
    step = cures(*loaded())[0].steps[0]
    blank = {"outcome": "no_verdict", "reason": "", "limits": {}, "power": None,
             "bridge_loss": None, "link_peak": None}  # fmt: skip
    tried = Tried(step, blank)
    assert not tried.within
    assert not tried.sudden_kept()
    assert tried.worst()[0] == float("inf")


def test_a_clamp_acts_only_where_the_link_rises() -> None:
    machine, _ = loaded()
    assert "would not act" in clamp(machine, row() | {"link_peak": 326.0})
    assert "rises to 420 V" in clamp(machine, row() | {"link_peak": 420.0})


def test_nothing_to_prevent_is_said(tmp_path: Path) -> None:
    machine, scenario = loaded()
    calm = Protection(machine, scenario, row(can_current_rms=0.5))
    assert verdict(calm) == "within_limits"
    assert reason(calm).startswith("Nothing to prevent")


def test_the_page_shows_what_was_tried_beside_the_machine_as_it_is(tmp_path: Path) -> None:
    scenario, machine = load_scenario(DEMO / "pull-out-shaken.toml")
    base = row(can_current_rms=2.0, flux_peak=0.4)
    margin = ladders(machine.model, scenario.model)["margin"][-1]
    made = taken(machine.model, scenario.model, (margin,))
    assert made is not None
    changes = changes_of(machine.model, scenario.model, made, None)
    option = Option((margin,), margin.cost, 0.0, 0.9, {})
    attempt = Attempt(option, changes, row(can_current_rms=0.8, flux_peak=0.5), base, None)
    cure = cures(machine.model, scenario.model)[0]
    idle = Tried(cure.steps[0], row(can_current_rms=1.9, flux_peak=0.4))
    found = Protection(machine.model, scenario.model, base, (Remedy(cure, idle, (idle,)),),
                       advised=Advised((attempt,), 12, None))  # fmt: skip
    told = document(found, scenario, machine)
    assert told["verdict"] == "within_limits"
    assert told["without"]["worst_ratio"] == 2.0
    assert told["advice"][0]["became_worse"] == ["flux_peak"]
    assert told["cures"][0]["cured"] == []
    write_protection(tmp_path, protect_view(found, told))
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    for words in ("Table of changes that were tried", "As it is", "nothing of what was over",
                  "--set"):  # fmt: skip
        assert words in page
