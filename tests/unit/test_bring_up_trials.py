"""What rehearsals make of the bring-up sheet; the rehearsals themselves are made up here.

That real ones keep the promise on the shipped machines stands in tests/report/test_sheet.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import log
from typing import Any

import pytest

from simkit.parameters.machine import Machine
from simkit.scout.bench import Setting, resonance
from simkit.studies.bring_up import trials as trials_module
from simkit.studies.bring_up.charge import discharge_tool, stored
from simkit.studies.bring_up.study import BringUpResult, StageResult, settled_stages, usual_stages
from simkit.studies.bring_up.trial_words import after, forbidden, retreat, rows, why_no_step
from simkit.studies.bring_up.trials import Rehearsals, Trials, course_of, hot_load, rehearsed
from tests.machines import crucible, demo, varied

Made = Callable[[str, float, str], str]
COLD, FULL = "cold-steel-weak-field", 325.0


def by(verdict: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rehearsals whose verdict is told by kind, frequency [Hz] and load at the start."""

    def told(job: Mapping[str, Any]) -> dict[str, Any]:
        start = job["scenario"]["start"]
        found = verdict(job["scenario"]["name"], start["frequency"], start["load"])
        ratio = {"within_limits": 0.6, "over_limit": 3.4}.get(found)
        return {"verdict": found, "part": "Q2", "quantity": "recovery_dv_dt", "ratio": ratio,
                "reason": "it did not converge", "timed_out": False}  # fmt: skip

    monkeypatch.setattr(trials_module, "rehearse_case", told)


def one(machine: Machine, fixed: bool = False, margin: float = 0.12) -> Trials:
    setting = Setting(COLD, FULL, margin=margin, at_source=True)
    return rehearsed(machine, [setting], fixed, Rehearsals())[0]


def test_every_usual_stage_stays_above_the_warm_resonance() -> None:
    """The piece that warms raises its resonance by 7 %: no stage may wait for it from below."""
    machine = demo()
    for stage in usual_stages(machine):
        if stage.load in (None, "empty"):
            continue
        assert stage.supply_voltage is not None
        assert stage.margin is not None
        cold = resonance(machine, Setting(str(stage.load), stage.supply_voltage))
        warm = resonance(machine, Setting("steel-hot", stage.supply_voltage))
        assert warm > 1.05 * cold
        assert (1.0 + stage.margin) * cold >= (1.0 + machine.drive.working_margin) * warm * 0.999


def test_what_fails_is_tried_further_up_and_then_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    cold = resonance(demo(), Setting(COLD, FULL))
    by(lambda kind, f, load: "within_limits" if f > 1.2 * cold else "over_limit", monkeypatch)
    found = one(demo())
    assert found.step
    assert found.frequency > 1.2 * cold
    assert found.retreat == found.frequency
    # Only what it was set away from is forbidden: the setting by the cold piece alone.
    assert [t.kind for t in found.forbidden] == ["set-by-the-cold-piece"]
    assert found.forbidden[0].frequency == pytest.approx(1.04 * cold, rel=1e-5)


def test_a_persons_own_stage_is_not_moved_and_no_step(monkeypatch: pytest.MonkeyPatch) -> None:
    by(
        lambda kind, f, load: "over_limit" if kind == "warm-through" else "within_limits",
        monkeypatch,
    )
    found = one(demo(), fixed=True)
    cold = resonance(demo(), Setting(COLD, FULL))
    assert found.frequency == pytest.approx(1.12 * cold, rel=1e-5)
    assert not found.step


def test_no_verdict_is_no_step(monkeypatch: pytest.MonkeyPatch) -> None:
    by(lambda *_: "no_verdict", monkeypatch)
    found = one(demo())
    assert not found.step
    assert found.retreat is None
    assert "take the supply away" in retreat(found)
    assert "it did not converge" in rows(found)[0].found


def test_a_lift_that_is_over_is_forbidden_and_has_a_retreat(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    top = course_of(demo(), Setting(COLD, FULL)).highest

    def verdict(kind: str, f: float, _: str) -> str:
        return "over_limit" if kind == "lift" and f < 1.1 * top else "within_limits"

    by(verdict, monkeypatch)
    found = one(demo(), margin=0.1)
    assert [t.kind for t in found.elsewhere][-1] == "set-by-the-cold-piece"
    assert found.step
    assert [t.kind for t in found.forbidden] == ["lift"]
    assert found.retreat == pytest.approx(1.12 * top, rel=1e-5)
    assert forbidden(found)[0].startswith("Do not lift the piece at this setting: at ")
    assert "3.4 times its limit" in forbidden(found)[0]
    assert "up to" in retreat(found)


def test_the_sheet_ends_at_the_first_stage_that_is_no_step(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Over a limit at full voltage alone: the two stages there are printed as no steps."""

    def told(job: Mapping[str, Any]) -> dict[str, Any]:
        over = job["scenario"]["start"]["supply_voltage"] > 300.0
        return {"verdict": "over_limit" if over else "within_limits", "part": "Q1", "ratio": 2.0,
                "quantity": "recovery_dv_dt", "reason": "", "timed_out": False}  # fmt: skip

    monkeypatch.setattr(trials_module, "rehearse_case", told)
    machine = demo()
    stages, trials = settled_stages(machine, Rehearsals(), None)
    made = tuple(StageResult(s, None, None, (), None, trials.get(k)) for k, s in enumerate(stages))
    result = BringUpResult(machine, made, ())
    assert result.steps == 5
    assert [s.stage.name for s in made[result.steps :]] == ["full-held-back", "working"]
    assert [bool(why_no_step(n, result)) for n in range(1, 8)] == [False] * 5 + [True] * 2
    assert "recovery dv/dt" in why_no_step(6, result)


def test_a_piece_without_a_warm_twin_warms_by_resistance_alone() -> None:
    assert hot_load(crucible(), "graphite-crucible") is None
    assert hot_load(demo(), COLD) == "steel-hot"


def test_the_resistor_to_discharge_with_is_quick_enough() -> None:
    """R C ln(V/5 V) within ten seconds, by hand: 10/(1e-3 ln 65) = 2395 ohm, in E12 2.2 kohm."""
    tool = discharge_tool(1e-3, 325.0)
    assert tool.resistance == pytest.approx(2200.0)
    assert tool.time == pytest.approx(2.2 * log(65.0))
    assert tool.power == pytest.approx(325.0**2 / 2200.0)
    assert tool.energy == pytest.approx(0.5e-3 * 325.0**2)


def test_a_failed_leg_charges_the_blocking_capacitor_to_the_link() -> None:
    """A switch that shorts ties its end to a rail: up to the whole link lies across it."""
    machine = varied(demo(), {"transformer.blocking_capacitance": 2e-6})
    found = {s.part: s for s in stored(machine, 325.0, 60.0)}
    block = next(s for name, s in found.items() if name.startswith("blocking"))
    assert block.voltage == 325.0
    assert block.energy == pytest.approx(0.5 * 2e-6 * 325.0**2)
    assert found["tank bank, where a joint of the coil has opened"].voltage == 60.0


def test_the_files_own_bleeder_is_counted() -> None:
    alone = varied(demo(), {"supply.rectifier": None})
    machine = varied(alone, {"bring_up": {"discharge_resistor": 10e3}})
    setting = Setting(COLD, FULL, frequency=9e4)
    stage = StageResult(usual_stages(machine)[-1], setting, 9e4, (), None)
    assert "10 kΩ needs" in after(stage, machine)[0]
    assert (
        "the file's own 8.25 k"
        in after(stage, varied(demo(), {"bring_up": {"discharge_resistor": 10e3}}))[0]
    )  # 47 kohm of the rectifier beside it
    bare = after(stage, alone)[0]
    assert "nothing in the file empties it" in bare
    assert "2.2 kΩ" in bare or "1.8 kΩ" in bare
