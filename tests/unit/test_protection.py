"""Protection in the drive: comparators, trips, lock-out, a channel that is late."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from simkit.circuit.commands import Toggles, command, told_to
from simkit.circuit.faults import driver_level, locked_out
from simkit.circuit.timeline import Timeline, timeline
from simkit.parameters.drive import Drive
from simkit.parameters.machine import Machine
from simkit.parameters.protection import Trip
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.comparators import Watch, first_turned, heard, watches
from simkit.rehearsal.cut_events import undriven
from simkit.rehearsal.tripping import _Trips, sentence, told_off, tripped
from simkit.scout.drive import dead_time_left
from simkit.studies.situations.base import draft
from tests.machines import demo

TRIP = {"senses": "output", "level": 60.0, "blanking": 5e-7, "delay": 5e-6}


def with_drive(**fields: Any) -> Machine:
    machine = demo()
    drive = Drive.model_validate(machine.drive.model_dump(exclude_none=True) | fields)
    return machine.model_copy(update={"drive": drive})


def case(machine: Machine, events: list[dict[str, Any]]) -> Scenario:
    return draft(machine, "case", events=events, tail=1e-4).scenario


def waves(machine: Machine, line: Timeline, current: Any, across: Any) -> Any:
    """Waveforms as the comparators ask for them: one current in every upper switch, one voltage
    across each."""
    time = np.linspace(line.begin, line.end, 20_001)
    switch = [
        SimpleNamespace(number=n, drain_current=current(time) * (n == 1), lead_voltage=across(time))
        for n in (1, 2, 3, 4)
    ]
    return SimpleNamespace(
        machine=machine, time=time, switches=switch, primary_current=-current(time)
    )


@pytest.mark.parametrize(
    ("fields", "said"),
    [({"retry_after": 0.1}, "retry_after and retries"), ({"retries": 2}, "retry_after and retries"),
     ({"level": -1.0}, "must be above 0 A"), ({"senses": "coil"}, "output")],
)  # fmt: skip
def test_a_trip_that_makes_no_sense_is_refused(fields: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        Trip.model_validate(TRIP | fields)


def test_a_lock_out_above_the_drivers_supply_is_refused() -> None:
    with pytest.raises(ValidationError, match="the drivers would never switch"):
        with_drive(lock_out=12.0)
    assert with_drive(lock_out=9.0).drive.lock_out == 9.0


def test_a_drive_without_protection_has_no_comparator() -> None:
    assert watches(demo()) == ()
    both = with_drive(trip=TRIP, desaturation={"level": 9.0, "blanking": 2e-6, "delay": 1e-6})
    assert [w.senses for w in watches(both)] == ["output", "desaturation"]


def test_the_output_sees_either_sign_and_the_link_only_what_flows_in() -> None:
    machine = demo()
    line = timeline(machine, case(machine, []))
    seen = waves(machine, line, lambda t: 0.0 * t + 90.0, lambda t: 0.0 * t)
    for senses, current, share in (("output", 90.0, 1.5), ("link", 90.0, 1.5), ("link", -90.0, 0)):
        seen = waves(machine, line, lambda t, i=current: 0.0 * t + i, lambda t: 0.0 * t)
        found = heard(seen, line, Watch(senses, 60.0, "A", 0.0, 0.0))
        assert max(found.max(), 0.0) == pytest.approx(share)


def test_what_falls_into_the_blanking_is_not_heard() -> None:
    machine = demo()
    line = timeline(machine, case(machine, []))
    told = told_to(line, machine.drive, 1, True)
    on = next(t for t in told.times if t > 1e-5 and told.at(t))

    def spike(late: float) -> Any:
        return lambda t: np.where(np.abs(t - on - late) < 5e-8, 90.0, 0.0)

    watch = Watch("output", 60.0, "A", 0.5e-6, 5e-6)
    for late, hit in ((0.2e-6, False), (0.8e-6, True)):
        found = first_turned(waves(machine, line, spike(late), spike(9.0)), line, [watch], 0.0)
        assert (found is not None) == hit
        if found is not None:
            assert found.time == pytest.approx(on + late, abs=1e-7)
            assert found.off == pytest.approx(found.time + 5e-6)


def test_desaturation_hears_only_a_switch_that_is_told_on() -> None:
    """Across a switch that is off stands the link: no comparator may take that for a fault."""
    machine = demo()
    line = timeline(machine, case(machine, []))
    told = [told_to(line, machine.drive, n, n in (1, 4)) for n in (1, 2)]
    watch = Watch("desaturation", 9.0, "V", 1e-6, 1e-6)

    def standing(low: float) -> Any:
        """The link across what is off, some volts across what is on."""
        seen = waves(machine, line, lambda t: 0.0 * t, lambda t: 0.0 * t)
        for switch in seen.switches:
            mine = told[0] if switch.number in (1, 4) else told[1]
            switch.lead_voltage = np.array([low if mine.at(t) else 325.0 for t in seen.time])
        return seen

    assert first_turned(standing(2.0), line, [watch], 0.0) is None
    hit = first_turned(standing(12.0), line, [watch], 0.0)
    assert hit is not None
    turned = max(t for t in (*told[0].times, *told[1].times, line.begin) if t <= hit.time)
    assert hit.time - turned >= 1e-6 - 1e-8 or turned == line.begin


def test_the_gates_go_off_a_delay_after_the_crossing_and_stay_off() -> None:
    machine = with_drive(trip=TRIP)
    scenario = case(machine, [{"kind": "gates-together", "at": 0.0, "leg": "a"}])
    line = timeline(machine, scenario)
    hit = first_turned(
        waves(machine, line, lambda t: np.where(t > line.events[0].start, 90.0, 0.0), abs),
        line, watches(machine), 0.0,
    )  # fmt: skip
    assert hit is not None
    trips = tripped(_Trips(scenario), hit, line)
    (found,) = trips.found
    after = timeline(machine, trips.case)
    assert found.off - found.crossed == pytest.approx(5e-6)
    for switch, first in ((1, True), (2, False)):
        told = told_to(after, machine.drive, switch, first)
        assert not any(told.at(t) for t in np.linspace(found.off, after.end, 200)[1:])
    assert told_to(after, machine.drive, 1, True).at(found.off - 1e-7), "on until then"
    assert "by output current, 5 us after it had passed 60 A" in sentence(found)


def test_a_trip_that_tries_again_comes_on_again_and_latches_when_it_has() -> None:
    machine = with_drive(trip=TRIP | {"retry_after": 40e-6, "retries": 1})
    scenario = case(machine, [{"kind": "gates-together", "at": 0.0, "leg": "a"}])
    line = timeline(machine, scenario)
    seen = waves(machine, line, lambda t: 0.0 * t + 90.0, abs)
    hit = first_turned(seen, line, watches(machine), line.events[0].start)
    assert hit is not None
    once = tripped(_Trips(scenario), hit, line)
    assert once.found[0].again == pytest.approx(once.found[0].off + 40e-6)
    again = timeline(machine, once.case)
    told = told_to(again, machine.drive, 4, True)
    assert not told.at(once.found[0].off + 39e-6)
    assert any(told.at(t) for t in np.linspace(once.found[0].again, again.end, 99))
    twice = tripped(once, hit, again)
    assert twice.latched


def test_the_drivers_supply_falls_along_a_line_and_locks_out_where_it_crosses() -> None:
    machine = with_drive(lock_out=9.0)
    scenario = case(
        machine, [{"kind": "driver-supply", "at": 0.0, "duration": 1e-4, "voltage": 4.0}]
    )
    line = timeline(machine, scenario)
    start = line.events[0].start
    assert driver_level(line.faults, 12.0, start + 5e-5) == pytest.approx(8.0)
    # 12 V to 4 V in 100 us passes 9 V after 3/8 of it.
    assert locked_out(line.faults, 12.0, 9.0) == pytest.approx(start + 37.5e-6)
    assert locked_out(line.faults, 12.0, None) is None
    told = told_to(line, machine.drive, 1, True)
    assert not any(told.at(t) for t in np.linspace(start + 37.6e-6, line.end, 200))
    unlocked = told_to(line, demo().drive, 1, True)
    assert any(unlocked.at(t) for t in np.linspace(start + 37.6e-6, line.end, 200))
    text = command(line, demo().drive, 1, True, 12.0, 0.0)
    levels = [float(v) for v in text[4:-1].split()[1::2]]
    assert min(v for v in levels if v > 0.0) == pytest.approx(4.0, rel=0.02)


def test_a_late_channel_takes_from_the_dead_time_and_moves_one_gate_alone() -> None:
    machine, late = demo(), with_drive(delay_spread=2e-7)
    assert dead_time_left(machine) - dead_time_left(late) == pytest.approx(2e-7)
    line = timeline(machine, case(machine, [{"kind": "trip", "at": 5e-5}]))
    mine: list[Toggles] = [told_to(line, m.drive, 1, True) for m in (machine, late)]
    before = [t for t in mine[0].times if t < line.events[0].start]
    assert np.array(mine[1].times)[: len(before)] == pytest.approx(np.array(before) + 2e-7)
    assert told_to(line, late.drive, 2, False) == told_to(line, machine.drive, 2, False)
    calm = timeline(machine, case(machine, []))
    delays = [
        float(command(calm, m.drive, 1, True, 12.0, 0.0)[6:].split()[2]) for m in (machine, late)
    ]
    assert delays[1] - delays[0] == pytest.approx(2e-7, rel=1e-6)


LIFT = {"kind": "pull-out", "at": 0.0, "duration": 0.06}


@pytest.mark.parametrize(
    ("events", "at"),
    [
        ([LIFT, {"kind": "trip", "at": 0.03}], 0.03),
        ([LIFT | {"duration": 2e-3}, {"kind": "trip", "at": 1e-3}], None),  # short
        ([LIFT], None),
        ([{"kind": "trip", "at": 0.03}], None),  # nothing to sample
        # The circuit is another one before, or something happens after it.
        ([LIFT, {"kind": "can-open", "at": 0.01, "cans": 1}, {"kind": "trip", "at": 0.03}], None),
        ([LIFT, {"kind": "trip", "at": 0.03}, {"kind": "restart", "at": 0.05}], None),
    ],
)  # fmt: skip
def test_a_long_event_whose_gates_are_told_to_go_off_is_sampled_until_then(
    events: list[dict[str, Any]], at: float | None
) -> None:
    machine = demo()
    assert told_off(machine, case(machine, events)) == at


def test_what_goes_on_after_the_gates_went_off_for_good_was_not_cut() -> None:
    machine = demo()
    trip, restart = {"kind": "trip", "at": 0.03}, {"kind": "restart", "at": 0.0301}
    for more, off in (([trip], True), ([], False), ([trip, restart], False)):
        found = case(machine, [LIFT, *more]).model_copy(update={"ends": 0.0303})
        line = timeline(machine, found)
        assert [e.name for e in line.cut] == ["pull-out"]
        assert undriven(SimpleNamespace(line=line, tripped=())) is off  # type: ignore[arg-type]
