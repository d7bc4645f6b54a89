"""Trips of 5 and 80 us on a shorted leg and on a lift by hand: which keeps which limit.

What is told of the moment (the current at the crossing, gates off a delay later) is read from the
waveforms again, by hand. That a trip ends a short of an IGBT within its short-circuit time is
arithmetic: 5 us and what the gates need are less than the 10 us of the class, 80 us are more.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.situations.base import draft
from tests.machines import DEMO

BENCH = Rehearser(settings=Settings(refine=False))
TUBE = DEMO.parent / "tube-bending" / "machine.toml"
SHORT = [{"kind": "gates-together", "at": 0.0, "leg": "a"}]
LIFT: dict[str, Any] = {"senses": "output", "level": 16.0, "blanking": 5e-7}


@cache
def shorted(machine: str, senses: str, level: float, delay: float) -> Rehearsal:
    """Both switches of a leg told to be on for good."""
    model = load_machine(TUBE if machine == "tube" else DEMO / "machine.toml").model
    trip = {"senses": senses, "level": level, "blanking": 5e-7, "delay": delay}
    key = "trip"
    if senses == "desaturation":
        key, trip = "desaturation", {"level": level, "blanking": 2e-6, "delay": delay}
    case = draft(model, "shorted-leg", events=SHORT, tail=1.2e-4)
    guarded = case.machine.model_copy(
        update={"drive": type(model.drive).model_validate(
            model.drive.model_dump(exclude_none=True) | {key: trip})}
    )  # fmt: skip
    return BENCH.rehearse(guarded, case.scenario)


def share(found: Rehearsal, quantity: str) -> float:
    """The worst of a quantity over its limit, in the first pass [1]."""
    (limit,) = (row.limit for row in found.rows if row.quantity == quantity)
    return max(s.worst[0] for s in found.series if s.quantity == quantity) / limit


@pytest.mark.slow
def test_the_gates_go_off_when_comparator_and_delay_say() -> None:
    found = shorted("demo", "link", 60.0, 5e-6)
    (trip,) = found.tripped
    waves = found.whole.waves
    into = waves.switches[0].drain_current + waves.switches[2].drain_current
    start = found.line.events[0].start
    # The short begins with a turn-on, so that the comparator hears nothing for its blanking.
    heard = waves.time > start + 5e-7
    assert into[(waves.time > start) & ~heard].max() > 60.0
    crossing = waves.time[np.flatnonzero(heard & (into > 60.0))[0]]
    assert trip.crossed == pytest.approx(crossing, abs=4.5e-8)  # two steps of 20 ns
    assert trip.off - trip.crossed == pytest.approx(5e-6)
    # The channels let go within what the gates need, some 0.2 us here; nothing flows through both
    # switches afterwards.
    later = waves.time > trip.off + 1e-6
    both = np.minimum(waves.switches[0].channel_current, waves.switches[1].channel_current)
    before = (waves.time > trip.off - 2e-6) & (waves.time < trip.off)
    assert both[before].min() > 50.0
    assert both[later].max() < 1.0
    assert "Tripped at" in found.verdict.reason
    assert "tripped by link current" in [e.name for e in found.line.events]


@pytest.mark.slow
def test_a_transformer_in_the_output_sees_no_short_through_a_leg() -> None:
    assert shorted("demo", "output", 60.0, 5e-6).tripped == ()


@pytest.mark.slow
def test_a_quick_trip_keeps_the_short_circuit_time_of_an_igbt_and_a_slow_one_does_not() -> None:
    quick, slow = (shorted("tube", "link", 150.0, d) for d in (5e-6, 80e-6))
    sensed = shorted("tube", "desaturation", 9.0, 1e-6)
    assert 0.3 < share(quick, "short_circuit_time") < 1.0
    assert share(slow, "short_circuit_time") > 1.5
    assert 0.0 < share(sensed, "short_circuit_time") < share(quick, "short_circuit_time")
    assert [t.by for t in sensed.tripped] == ["desaturation"]
    # No trip is quick enough for the current itself: it stands within a microsecond.
    assert all(share(r, "channel_current_peak") > 2.0 for r in (quick, slow, sensed))
    # The class saturates at six to seven times its 50 A: nobody pays ten times the pulsed rating.
    assert share(slow, "channel_current_peak") < 5.0
    # The link pays for the time: 75 us of some 300 A are 10 V of 2.2 mF, and the source gives back
    # a part of it until the end.
    assert quick.whole.waves.link_voltage[-1] > slow.whole.waves.link_voltage[-1] + 3.0


@cache
def lifted() -> tuple[Rehearsal, Rehearsal]:
    """The lift by hand with a trip of 5 us and with one of 80."""
    scenario, machine = load_scenario(DEMO / "drives" / "fixed.toml")
    assert scenario.model.events[0].speed == 1.0
    bare = machine.model
    found = []
    for delay in (5e-6, 80e-6):
        drive = type(bare.drive).model_validate(
            bare.drive.model_dump(exclude_none=True) | {"trip": LIFT | {"delay": delay}}
        )
        found.append(Rehearser().rehearse(bare.model_copy(update={"drive": drive}), scenario.model))
    return found[0], found[1]


@pytest.mark.slow
def test_a_lift_by_hand_leaves_a_trip_all_the_time_it_wants() -> None:
    """In 80 us a piece lifted at a metre a second moves by 0.08 mm: both delays are as good."""
    found = quick, slow = lifted()
    assert quick.tripped[0].crossed == pytest.approx(slow.tripped[0].crossed)
    for each in found:
        assert not each.is_whole, "seconds of a lift are sampled, the trip alone is run"
        for kept in ("recovery_di_dt", "recovery_dv_dt", "can_current_rms", "channel_current_peak",
                     "supply_current", "can_voltage_rms"):  # fmt: skip
            assert share(each, kept) < 1.0
        assert share(each, "can_current_rms") > 0.5, "it was on its way"
        waves = each.whole.waves
        near = (waves.time > each.tripped[0].crossed - 2.5e-5) & (
            waves.time < each.tripped[0].crossed
        )
        assert np.abs(waves.primary_current[near]).max() == pytest.approx(16.0, rel=0.01)
        rung = waves.time > each.tripped[0].off + 2.5e-4
        assert np.abs(waves.primary_current[rung]).max() < 0.1 * 16.0


@pytest.mark.slow
def test_what_a_lift_leaves_of_the_limits_is_where_in_the_period_the_gates_go_off() -> None:
    """75 us are not whole periods of 78.9 kHz, but 5.92: the core is left with another flux."""
    quick, slow = lifted()
    assert quick.verdict.outcome == "within_limits"
    assert {r.quantity for r in slow.rows if r.status == "over"} == {"flux_peak"}
    assert {r.status for r in slow.rows} == {"ok", "over"}
    (flux,) = (r.ratio for r in slow.rows if r.quantity == "flux_peak")
    assert flux == pytest.approx(1.2, abs=0.05), "docs/trips.md"


@pytest.mark.slow
def test_a_trip_that_nothing_reaches_leaves_the_run_as_it_is() -> None:
    machine = load_machine(DEMO / "machine.toml").model
    drive = type(machine.drive).model_validate(
        machine.drive.model_dump(exclude_none=True)
        | {"trip": {"senses": "link", "level": 1000.0, "blanking": 0.0, "delay": 1e-6}}
    )
    case = draft(machine, "settled")
    bare = BENCH.rehearse(machine, case.scenario)
    found = BENCH.rehearse(machine.model_copy(update={"drive": drive}), case.scenario)
    assert found.tripped == ()
    assert found.before.primary_current_peak_a == pytest.approx(
        bare.before.primary_current_peak_a, rel=0.01
    )


@pytest.mark.slow
def test_drivers_that_lock_out_switch_off_and_without_it_the_channel_starves() -> None:
    machine = load_machine(DEMO / "machine.toml").model
    events = [{"kind": "driver-supply", "at": 0.0, "duration": 1e-4, "voltage": 4.5}]
    rows = []
    for least in (None, 9.0):
        drive = machine.drive.model_copy(update={"lock_out": least})
        case = draft(machine, "starving", events=events, tail=1e-4)
        rows.append(BENCH.rehearse(machine.model_copy(update={"drive": drive}), case.scenario))
    starved, locked = rows
    assert starved.tripped == ()
    assert [t.by for t in locked.tripped] == ["drivers' lock-out"]
    # 12 V to 4.5 V in 100 us passes 9 V after 40 us.
    start = locked.line.events[0].start
    assert locked.tripped[0].off - start == pytest.approx(40e-6, abs=1e-7)

    def on(found: Rehearsal, since: float) -> float:
        waves = found.whole.waves
        return float(waves.switches[0].gate_source[waves.time > since].max())

    assert on(locked, locked.tripped[0].off + 3e-6) < 2.0
    assert on(starved, start + 1.2e-4) == pytest.approx(4.5, abs=0.3)
