"""The trip boundary of the shank shaken loose: full runs just inside keep, just outside do not.

The moments are those that `simkit protect` brackets (docs/protection.md); each is run again here,
to the fine steps. Nothing outside the project gives them: the check is that the bracket holds, and
that what is exceeded beyond it is what reasoning says.
"""

from __future__ import annotations

from typing import Any

import pytest

from simkit.figures.table import sudden
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.workers import Workers
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.protect.study import Searcher
from simkit.studies.protect.trip import with_trip
from tests.machines import DEMO

CROSSING = 0.628e-3
"""When the bridge current passes 1.2 times its settled peak, after the event began [s]."""
EVERY = (0.7987e-3, 0.8067e-3)
SUDDENLY = (1.3023e-3, 1.3341e-3)
"""Last moment kept, first moment exceeded, after the event began [s]."""
CYCLE_BEFORE = 0.7868e-3
"""A cycle before the last moment kept, at the same phase [s]."""


def tripped(name: str, *times: float) -> list[dict[str, str]]:
    """Status of each limit of a shipped scenario, tripped so long after its event began [s]."""
    scenario, machine = load_scenario(DEMO / f"{name}.toml")
    with Workers(2) as crew:
        rows = Searcher(crew).runs([(machine.model, with_trip(scenario.model, t)) for t in times])
    return [{q: r["status"] for q, r in row["limits"].items()} for row in rows]


def test_brackets_are_as_narrow_as_told() -> None:
    # 5 % of the delay at the lowest level, for both.
    for last, first in (EVERY, SUDDENLY):
        assert 0.0 < first - last <= 0.05 * (last - CROSSING)


@pytest.mark.study
def test_trips_inside_the_boundary_keep_and_outside_do_not() -> None:
    inside, outside, before = tripped("pull-out-shaken", *EVERY, CYCLE_BEFORE)
    # The current per can goes up a per cent a cycle and is known to half of one: at the last moment
    # kept it may be too near its limit to call, a cycle earlier nothing is.
    assert set(before.values()) == {"ok"}, "every limit, those of the tank too"
    assert {q for q, status in inside.items() if status != "ok"} <= {"can_current_rms"}
    assert "over" not in inside.values()
    # The cans' current rises with the tank's, slowly: it is the first to go, alone.
    assert {q for q, status in outside.items() if status == "over"} == {"can_current_rms"}


@pytest.mark.slow
def test_in_a_first_pass_diodes_are_forced_off_beyond_the_boundary_alone() -> None:
    """Shares of the limits without the finer runs, which come to the statuses below."""
    scenario, machine = load_scenario(DEMO / "pull-out-shaken.toml")
    bench = Rehearser(settings=Settings(refine=False))
    shares = []
    for moment in SUDDENLY:
        found = bench.rehearse(machine.model, with_trip(scenario.model, moment))
        limits = {r.quantity: r.limit for r in found.rows}
        worst = [(s.quantity, s.worst[0] / limits[s.quantity])
                 for s in found.series if s.quantity in sudden() & set(limits)]  # fmt: skip
        shares.append({q: max(x for p, x in worst if p == q) for q, _ in worst})
    early, late = shares
    hard = {"recovery_di_dt", "recovery_dv_dt"}
    assert hard | {"channel_current_peak"} <= set(early)
    assert max(early.values()) < 1.0
    assert min(late[q] for q in hard) > 1.0


@pytest.mark.study
def test_trips_before_the_diodes_are_forced_off_keep_what_destroys_at_once() -> None:
    early, late = tripped("pull-out-shaken", *SUDDENLY)
    # Diodes are forced off only once the drive is below resonance, some half a millisecond later.
    # `sudden` names the figures of every kind of switch: this bridge has MOSFETs.
    here = sudden() & set(early)
    assert {"recovery_di_dt", "recovery_dv_dt", "channel_current_peak"} <= here
    assert {early[q] for q in here} == {"ok"}
    assert {"recovery_di_dt", "recovery_dv_dt"} <= {q for q in here if late[q] == "over"}


def lifted_in(duration: float) -> tuple[Any, Any]:
    """The lift by hand, at another pace."""
    scenario, machine = load_scenario(DEMO / "pull-out-cold.toml")
    data = scenario.model.model_dump(exclude_none=True, exclude={"map"})
    data["events"] = [{"kind": "pull-out", "at": 0.0, "duration": duration}]
    return machine.model, Scenario.model_validate(data)


@pytest.mark.study
def test_a_trip_in_a_sampled_lift_is_that_of_a_run_right_through() -> None:
    """10 ms, gates off after 6.6: the longest event that a run right through costs no hour.

    The run right through has not been refined: steps of 20 ns are worth half a per cent, which the
    tolerance has beside the sampled answer's own error.
    """
    machine, scenario = lifted_in(10e-3)
    case = with_trip(scenario, 6.6e-3)
    sampled = Rehearser().rehearse(machine, case)
    whole = Rehearser(settings=Settings(whole=True, refine=False)).rehearse(machine, case)
    assert (sampled.is_whole, whole.is_whole) == (False, True)
    assert len(sampled.whole.waves.time) < 0.3 * len(whole.whole.waves.time)
    told = {r.quantity: r for r in sampled.rows}
    for quantity in ("can_current_rms", "can_voltage_rms", "drain_current_rms", "supply_current",
                     "flux_peak", "junction_peak", "drain_voltage_peak"):  # fmt: skip
        row, value = told[quantity], max(
            s.worst[0] for s in whole.series if s.quantity == quantity
        )  # fmt: skip
        assert row.value is not None
        assert row.error is not None
        assert row.value == pytest.approx(value, abs=row.error + 0.01 * abs(value)), quantity
        assert row.status in ("ok", "over"), "none of these is near its limit"
        assert (row.status == "over") == (value > row.limit)
    # The cans' current is over its limit on the way, and the first diodes are forced off.
    assert told["can_current_rms"].status == "over"
    hard = told["recovery_dv_dt"]
    worst = max(s.worst[0] for s in whole.series if s.quantity == "recovery_dv_dt")
    assert (hard.status == "over", worst > hard.limit) == (True, True)


BY_HAND = (22.15e-3, 22.72e-3), (38.35e-3, 39.25e-3)
"""Of the lift by hand: the last moment kept, one that is too late, after the event began [s]."""


@pytest.mark.slow
def test_of_a_lift_by_hand_trips_inside_the_boundary_keep_and_outside_do_not() -> None:
    inside, outside = tripped("pull-out-cold", *BY_HAND[0])
    tank = {"can_current_rms", "can_voltage_rms", "supply_current", "drain_current_rms"}
    assert {inside[q] for q in tank} == {"ok"}
    # The cans' current first, and alone of what the lift drives over: the flux is the going off's.
    assert {q for q in tank | sudden() & set(outside) if outside[q] == "over"} == {
        "can_current_rms"
    }


@pytest.mark.study
def test_of_a_lift_by_hand_what_destroys_at_once_keeps_longer() -> None:
    early, late = tripped("pull-out-cold", *BY_HAND[1])
    # The current has reversed at turn-on since 31 ms. Until 39 the nodes' own capacitances take it:
    # no diode is forced off before.
    assert {early[q] for q in ("recovery_di_dt", "recovery_dv_dt", "gate_lift")} == {"ok"}
    assert {late[q] for q in ("recovery_di_dt", "recovery_dv_dt")} == {"over"}
