"""Advice: what is searched, what is tried, and what is never sold as a cure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simkit.errors import EngineError
from simkit.judge.limits import machine_limits
from simkit.parameters.goal import Goal
from simkit.parameters.instead import replaced
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.advice.attempts import Advised
from simkit.studies.advice.changes import changes_of, told
from simkit.studies.advice.levers import Step, ladders, margin_of, supply_of, taken
from simkit.studies.advice.looking import with_edges
from simkit.studies.advice.search import ROOM, options
from simkit.studies.advice.study import Adviser, matters, not_followed
from simkit.studies.advice.superposed import Base, Effects, effect, predicted
from simkit.studies.advice.telling import advice_of, note
from simkit.studies.inputs.loading import divided, load_scenario
from simkit.studies.scenario.advised import with_advice
from simkit.studies.scenario.no_verdict import no_answer
from tests.machines import DEMO, demo
from tests.machines import scenario as still

NAMES = ("can_current_rms", "supply_current")


def full(can: float, supply: float = 0.5, power: float = 1000.0, **more: float) -> dict[str, Any]:
    """What circuit runs would find, shares of limits told."""
    shares = {"can_current_rms": can, "supply_current": supply} | more
    rows = {
        q: {"ratio": r, "error": 0.002, "status": "over" if r > 1.002 else "ok",
            "first_over_s": 0.0 if r > 1.002 else None}
        for q, r in shares.items()
    }  # fmt: skip
    over = any(r["status"] == "over" for r in rows.values())
    return {"outcome": "over_limit" if over else "within_limits", "reason": "told", "limits": rows,
            "power": power, "bridge_loss": 20.0, "link_peak": 325.0}  # fmt: skip


def fast(can: float, supply: float = 0.5, power: float = 1000.0) -> dict[str, Any]:
    return {"limits": {"can_current_rms": can, "supply_current": supply}, "forced": -5.0,
            "swing": 20.0, "power": power, "coil": 100.0, "primary": 5.0, "loss": 20.0}  # fmt: skip


def effects(*steps: tuple[Step, float, float, float]) -> Effects:
    """Steps with their factors on can current, supply current and power."""
    logs = np.log(np.array([row[1:] for row in steps]))
    return Effects(tuple(row[0] for row in steps), (*NAMES, "power"), logs, np.zeros(len(steps)))


BASE = Base(full(1.5, 0.8), fast(1.5, 0.8), {})
KNOB = Step("margin", 0.02, 0.2, more_margin=0.02)
WINDING = Step("turns", 0.2, 0.7, {"transformer.primary_turns": 26})
BANK = Step("cans", 0.5, 0.7, {"tank.cans": 30})


def test_the_least_change_comes_first_where_both_do() -> None:
    both = effects((WINDING, 0.55, 0.9, 0.9), (KNOB, 0.6, 0.9, 0.9))
    first, *_ = options(BASE, both, None, {})
    assert [s.lever for s in first.steps] == ["margin"]
    assert first.excess == 0.0
    # 1.5 x 0.6, with a factor a step.
    assert first.shares["can_current_rms"] == pytest.approx(0.9)


def test_factors_of_steps_taken_together_multiply() -> None:
    two = effects((WINDING, 0.8, 1.0, 0.95), (KNOB, 0.75, 1.0, 0.9))
    first, *_ = options(BASE, two, None, {})
    assert first.levers == {"margin", "turns"}
    assert first.shares["can_current_rms"] == pytest.approx(1.5 * 0.8 * 0.75)
    assert first.power == pytest.approx(0.95 * 0.9)


def test_power_that_was_asked_for_is_held_and_one_wished_for_weighs() -> None:
    made = effects((KNOB, 0.5, 0.6, 0.4), (BANK, 0.6, 0.9, 0.95))
    asked = options(BASE, made, Goal(keep_power=0.9), {})
    assert asked
    assert all(o.power >= 0.89 for o in asked)
    wished = options(BASE, made, None, {})
    assert wished[0].levers == {"cans"}
    # What gives the power up is still among them: it is the least change.
    assert any(o.levers == {"margin"} for o in wished)
    assert options(BASE, effects((KNOB, 0.5, 0.6, 0.4)), Goal(keep_power=0.9), {}) == []


def test_a_cure_of_one_figure_that_passes_another_is_no_cure() -> None:
    trap = effects((BANK, 0.5, 1.6, 1.2), (KNOB, 0.6, 0.7, 0.85))
    first, *_ = options(BASE, trap, None, {})
    assert first.levers == {"margin"}
    alone = options(BASE, effects((BANK, 0.5, 1.6, 1.2)), None, {})
    assert alone[0].excess == pytest.approx(0.8 * 1.6 - ROOM)


def test_a_change_that_adds_nothing_is_left_out() -> None:
    idle = Step("dead time", 0.3, 0.2, {"drive.dead_time": 0.8e-6})
    found = options(BASE, effects((KNOB, 0.6, 0.9, 0.9), (idle, 1.0, 1.0, 1.0)), None, {})
    assert [o.levers for o in found if o.excess == 0.0] == [{"margin"}]


def test_what_a_temperature_makes_of_more_loss_counts_from_the_air() -> None:
    """T = T_a + P R: of 90 degC at 30 degC of air, two thirds are the loss's."""
    base = Base(full(0.5, junction_peak=0.9), fast(0.5), {"junction_peak": 0.3})
    found = predicted(base, fast(0.5) | {"loss": 40.0})
    assert found["junction_peak"] == pytest.approx(0.3 + 2.0 * 0.6)


def test_where_a_diode_comes_to_be_forced_off_a_limit_is_told_as_passed() -> None:
    row = full(1.5, recovery_dv_dt=0.1)
    base = Base(row, fast(1.5), {})
    assert predicted(base, fast(1.0) | {"forced": 4.0})["recovery_dv_dt"] > 1.0
    assert predicted(base, fast(1.0) | {"forced": -6.0})["recovery_dv_dt"] < 0.2
    assert effect(base, fast(0.75))["can_current_rms"] == pytest.approx(np.log(0.5))


def test_as_long_as_the_fast_model_is_not_sure_a_recovery_stays() -> None:
    """4.8 times its slope, on a diode that is forced off: gone only well clear of that."""
    forced = {"forced": 8.0}
    base = Base(full(0.5, recovery_dv_dt=4.8), fast(0.5) | forced, {})

    def told_of(amps: float) -> float:
        return predicted(base, fast(0.5) | {"forced": amps})["recovery_dv_dt"]

    assert told_of(-1.2) <= 0.5  # 6 % of the swing of 20 A
    assert told_of(4.0) > 3.0
    found = [told_of(a) for a in (-1.2, -0.5, 0.0, 0.5, 1.2, 4.0)]
    assert found == sorted(found)
    assert told_of(0.0) > 1.0


def edged(off: float, on: float, link: float) -> dict[str, Any]:
    return fast(0.5) | {"at_off": off, "at_on": on, "link": link}


def test_a_slower_gate_a_shorter_loop_or_a_snubber_lower_an_overshoot() -> None:
    """Rings of an L C go with the current broken off times the root of L/C: to a half with a
    quarter of the loop; above the link, which stays."""
    limits = {"can_current_rms": 0.5, "supply_current": 0.5, "drain_voltage_peak": 0.6}
    before = edged(20.0, -5.0, 300.0) | {"limits": limits}

    def told_of(**changes: Any) -> float:
        made = replaced(demo(), {k.replace("__", "."): v for k, v in changes.items()})
        base = Base(full(0.5, drain_voltage_peak=1.2), with_edges(demo(), before), {})
        return predicted(base, with_edges(made, before))["drain_voltage_peak"]

    own = demo().bridge.loop_inductance
    assert told_of(bridge__loop_inductance=0.25 * own) == pytest.approx(0.6 + 0.5 * 0.6, rel=1e-6)
    assert told_of(drive__gate_resistor=3.0 * demo().drive.gate_resistor) < 1.1
    assert told_of() == pytest.approx(1.2)


def test_a_gate_that_an_edge_lifts_is_helped_by_less_resistance_or_a_level_below_zero() -> None:
    row = edged(20.0, -5.0, 300.0)
    base = Base(full(0.5, gate_lift=1.4), with_edges(demo(), row), {})
    bound = next(x.bound for x in machine_limits(demo()) if x.quantity == "gate_lift")

    def told_of(**changes: Any) -> float:
        made = replaced(demo(), {k.replace("__", "."): v for k, v in changes.items()})
        return predicted(base, with_edges(made, row))["gate_lift"]

    low = demo().drive.voltage_off - 3.0
    assert told_of(drive__voltage_off=low) == pytest.approx(1.4 - 3.0 / bound, rel=1e-6)
    assert told_of(drive__gate_resistor=0.5 * demo().drive.gate_resistor) < 1.3


class Told(Adviser):
    """An adviser whose models are laws: can current goes with 1/(1 + margin/2 %) in the fast one,
    and `circuit` times that in the circuit."""

    circuit = 1.0
    tried = 0

    def _share(self, machine: Machine, scenario: Scenario) -> float:
        more = margin_of(machine, scenario) - 0.03
        volts = supply_of(machine, scenario) / demo().supply.voltage
        return 1.6 * volts / (1.0 + max(more, 0.0) / 0.02)

    def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
        self.looked += len(pairs)
        return [fast(s := self._share(*p), 0.5, 1000.0 * s / 1.6) for p in pairs]

    def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
        self.tried += len(pairs)
        return [full(self.circuit * self._share(*p), 0.5, 1000.0 * self._share(*p) / 1.6)
                for p in pairs]  # fmt: skip


def advised(adviser: Adviser, goal: Goal | None = None) -> Advised:
    scenario = still(load="cold-steel-weak-field", margin=0.03).model_copy(update={"goal": goal})
    return adviser.advise(demo(), scenario, full(1.6))


def test_advice_is_what_was_rehearsed_and_says_what_it_costs() -> None:
    adviser = Told()
    found = advised(adviser)
    assert adviser.tried == len(found.attempts) > 0
    best = found.best
    assert best is not None
    assert best.row["limits"]["can_current_rms"]["ratio"] < 1.0
    assert "within the limits checked" in note(found)
    told_ = advice_of(best)
    assert told_.tried == "circuit"
    assert told_.before["can_current_rms"] == pytest.approx(1.6)
    assert told_.after["can_current_rms"] == best.worst[0]
    # The law keeps as much power as current: 1/1.6 at most, and that is less than wished for.
    assert not told_.keeps_goal
    assert "less than the 80% wished for" in note(found)


def test_nothing_within_by_circuit_is_said_and_nothing_is_sold() -> None:
    """Breaking the rehearsal breaks this: a search that believes the fast model would advise."""

    class Stubborn(Told):
        def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            return [full(1.3) for _ in pairs]

    found = advised(Stubborn())
    assert found.attempts
    assert found.best is None
    assert note(found).startswith("Nothing tried helps")
    assert "within the limits" not in note(found)


def test_an_engine_without_an_answer_is_no_cure() -> None:
    class Silent(Told):
        def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            blank = {"outcome": "no_verdict", "reason": "timed out", "limits": {}, "power": None}
            return [blank for _ in pairs]

    found = advised(Silent())
    assert found.best is None
    assert "no answer: timed out" in note(found)
    assert advice_of(found.attempts[0]).after["can_current_rms"] is None


def test_the_search_learns_from_a_circuit_that_is_worse_than_told() -> None:
    class Worse(Told):
        circuit = 1.25

    found = advised(Worse())
    assert found.best is not None
    assert found.best.row["limits"]["can_current_rms"]["ratio"] < 1.0


def test_a_share_below_zero_teaches_nothing_and_ends_nothing() -> None:
    """A gate whose negative drive keeps it under zero has a lift below nothing, and a piece that is
    not there takes no power: there is no logarithm of either."""

    class Below(Told):
        def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            rows = super().looks(pairs)
            return [r | {"limits": r["limits"] | {"gate_lift": 0.4}} for r in rows]

        def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            return [full(1.3, gate_lift=-0.2, power=-0.1) for _ in pairs]

    adviser = Below(most=3)
    scenario = still(load="cold-steel-weak-field", margin=0.03)
    found = adviser.advise(demo(), scenario, full(1.6, gate_lift=0.4))
    assert len(found.attempts) > 2


def test_the_most_rehearsals_end_the_search() -> None:
    class Stubborn(Told):
        def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            self.tried += len(pairs)
            return [full(1.3) for _ in pairs]

    adviser = Stubborn(most=2)
    advised(adviser)
    assert adviser.tried == 2
    longer = Stubborn()
    advised(longer)
    assert longer.tried > 2


def test_progress_is_told_while_changes_are_rehearsed(monkeypatch: pytest.MonkeyPatch) -> None:
    class Here(Told):
        runs = Adviser.runs

    shares: list[float] = []
    keys = map(str, range(100))
    monkeypatch.setattr("simkit.studies.advice.looking.rehearsed", lambda _: full(1.3))
    given: dict[int, str] = {}
    monkeypatch.setattr("simkit.studies.advice.looking.key_of",
                        lambda case: given.setdefault(id(case), next(keys)))  # fmt: skip
    advised(Here(most=3, progress=shares.append))
    assert shares == pytest.approx([1.0 / 3.0, 2.0 / 3.0, 1.0])


def test_a_goal_nobody_can_reach_is_said() -> None:
    """What is within with less power is told as that, and is not the one to take."""
    found = advised(Told(), Goal(keep_power=1.4))
    assert found.best is None
    assert found.less is not None
    assert found.less.within
    assert not found.less.keeps_goal
    said = note(found)
    assert said.startswith("Nothing tried keeps the 140% of the power asked for; margin")
    assert "less than the 140% asked for" in said


def test_faults_that_the_fast_model_does_not_follow_are_not_searched() -> None:
    scenario = still(load="cold-steel-weak-field")
    data = scenario.model_dump(exclude_none=True)
    data["events"] = [{"kind": "gate-open", "at": 1e-4, "switches": [1]}]
    broken = Scenario.model_validate(data)
    late = full(1.6)
    late["limits"]["can_current_rms"]["first_over_s"] = 1.0
    assert "gate-open" in not_followed(broken, late)
    assert not_followed(broken, full(1.6)) == ""
    assert not_followed(scenario, late) == ""


def test_gates_that_overlap_get_a_longer_dead_time_tried() -> None:
    """The fast model knows no bridge whose gates overlap: only steps that end that are tried."""

    class Overlapping(Told):
        def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            self.looked += len(pairs)
            enough = 1.25 * demo().drive.dead_time
            return [fast(0.8) if m.drive.dead_time > enough else {"limits": {}, "said": "overlap"}
                    for m, _ in pairs]  # fmt: skip

        def runs(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            return [full(0.8) for _ in pairs]

    found = advised(Overlapping())
    assert found.best is not None
    (change,) = found.best.changes
    # 1.3 times as long just ends the overlap; the next step leaves room.
    assert (change.key, change.after) == ("drive.dead_time", pytest.approx(1.0e-6))
    assert found.best.before["limits"]["can_current_rms"]["ratio"] == 1.6

    class Lost(Told):
        def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            return [{"limits": {}, "said": "overlap"} for _ in pairs]

    assert "no answer to search by: overlap" in note(advised(Lost()))


def test_from_a_machine_that_has_an_answer_the_search_goes_on() -> None:
    """Gates that overlap, and currents too high once they do not: both changes are told, and what
    was before is the file's own machine."""

    class Overlapping(Told):
        def looks(self, pairs: Sequence[tuple[Machine, Scenario]]) -> list[Any]:
            self.looked += len(pairs)
            enough = 1.25 * demo().drive.dead_time
            return [fast(s := self._share(m, x), 0.5, 1000.0 * s / 1.6)
                    if m.drive.dead_time > enough else {"limits": {}, "said": "overlap"}
                    for m, x in pairs]  # fmt: skip

    found = advised(Overlapping())
    assert found.best is not None
    keys = {c.key: c.after for c in found.best.changes}
    assert keys["drive.dead_time"] == pytest.approx(1.0e-6)
    assert len(keys) > 1
    assert found.best.before["limits"]["can_current_rms"]["ratio"] == 1.6
    assert told(found.best.changes).startswith("dead time 600 ns to 1 us, ")


def test_what_only_shapes_edges_is_not_looked_at_for_a_tanks_current() -> None:
    tank, switch = full(1.6), full(0.5, recovery_dv_dt=3.0)
    for lever in ("gate", "turn-off", "dead time", "snubber", "loop", "held off"):
        assert not matters(lever, tank)
        assert matters(lever, switch)
    assert not matters("link", tank)
    assert matters("link", full(0.5, 1.5))
    for lever in ("margin", "turns", "cans", "supply", "tracking"):
        assert matters(lever, tank)
        assert matters(lever, switch)


def test_worse_is_what_uses_clearly_more_of_its_limit() -> None:
    found = advised(Told())
    attempt = replace(found.attempts[0], row=full(0.8, 0.7), before=full(1.6, 0.5))
    assert attempt.worse == ("supply_current",)
    assert replace(attempt, row=full(0.8, 0.505)).worse == ()


@pytest.mark.parametrize(
    "lever",
    ["margin", "turns", "cans", "gate", "dead time", "supply", "tracking", "held off", "loop"],
)
def test_written_into_the_files_a_change_is_what_was_tried(lever: str) -> None:
    """The command that is told gives the machine and the scenario that were rehearsed."""
    path = DEMO / "pull-out-cold.toml"
    scenario, machine = load_scenario(path)
    step = ladders(machine.model, scenario.model)[lever][-1]
    made = taken(machine.model, scenario.model, (step,))
    assert made is not None
    changes = changes_of(machine.model, scenario.model, made, frozenset(machine.origins))
    again, built = load_scenario(path, {c.key: c.text for c in changes})
    for change in changes:
        at: Any = again.model if change.key.startswith("start.") else built.model
        for name in change.key.split("."):
            at = getattr(at, name)
        if isinstance(at, bool):
            assert str(at).lower() == change.after
        else:
            assert at == pytest.approx(change.after, rel=1e-3)
    assert again.model.start == made.scenario.start
    assert told(changes)


def test_more_turns_on_the_same_core_take_their_inductances_along() -> None:
    scenario = still(load="cold-steel-weak-field")
    step = next(s for s in ladders(demo(), scenario)["turns"] if s.x > 0.0)
    n, now = step.values["transformer.primary_turns"], demo().transformer.primary_turns
    leakage = step.values["transformer.leakage_inductance"]
    was = demo().transformer.leakage_inductance
    assert leakage == pytest.approx(was * (n / now) ** 2, rel=1e-3)


def test_a_drive_told_in_hertz_keeps_its_margin_when_cans_are_added() -> None:
    first = still(load="cold-steel-weak-field", frequency=82e3)
    step = ladders(demo(), first)["cans"][-1]
    made = taken(demo(), first, (step,))
    assert made is not None
    assert made.settings["start.frequency"] < 82e3
    kept = margin_of(made.machine, made.scenario)
    assert kept == pytest.approx(margin_of(demo(), first), abs=1e-3)


def test_what_is_not_at_hand_stays_as_it_is() -> None:
    scenario = still(load="cold-steel-weak-field")
    most = demo().tank.cans + 2
    goal = Goal(leave=("transformer.primary_turns", "start.margin"), most_cans=most)
    held = ladders(demo(), scenario.model_copy(update={"goal": goal}))
    assert not {"turns", "margin"} & held.keys()
    assert max(s.values["tank.cans"] for s in held["cans"]) <= most
    top = replaced(demo(), {"drive.frequency_max": 200e3})
    narrow = scenario.model_copy(update={"goal": Goal(frequency_max=85e3)})
    assert len(ladders(top, narrow)["margin"]) < len(ladders(top, scenario)["margin"])


def test_a_goal_and_a_start_are_told_on_the_command_line() -> None:
    told_ = {"start.margin": "5 %", "goal.keep_power": "90 %", "tank.cans": "18"}
    ours = {"start.margin": "5 %", "goal.keep_power": "90 %"}
    assert divided(told_) == (ours, {"tank.cans": "18"})
    scenario, machine = load_scenario(DEMO / "pull-out-cold.toml", told_)
    assert scenario.model.goal == Goal(keep_power=0.9)
    assert scenario.model.start.margin == pytest.approx(0.05)
    assert machine.model.tank.cans == 18


def test_a_search_that_fails_leaves_the_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> Any:
        raise KeyError("nobody thought of this")

    monkeypatch.setattr(Adviser, "advise", broken)
    monkeypatch.setattr("simkit.studies.scenario.advised.row_of", lambda _: {})
    scenario, machine = load_scenario(DEMO / "pull-out-cold.toml")
    result: Any = no_answer(scenario, machine, EngineError("told"), 1.0)
    rehearsal: Any = None
    found = with_advice(result, rehearsal, scenario, machine, Rehearser(), 1.0)
    assert (found.verdict, found.reason, found.advice) == (result.verdict, result.reason, None)
    assert "the search for it failed: KeyError" in (found.advice_note or "")
