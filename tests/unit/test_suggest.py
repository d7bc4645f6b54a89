"""The nearest machine within all limits: what is searched, in what order, and what is verified."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice
from math import log
from typing import Any

import pytest

from simkit.parameters.machine import Machine
from simkit.studies.check import suggest
from simkit.studies.check.suggest import changed, current, nearest_first, sentence, settled
from tests.machines import demo, varied

FEW = {"tank.cans": 14}


def row(outcome: str) -> dict[str, Any]:
    return {"outcome": outcome, "reason": "", "power": 1000.0, "limits": {}}


def distance(machine: Machine, changes: Mapping[str, float]) -> float:
    return sum(abs(log(v / current(machine, k))) for k, v in changes.items())


def test_the_nearest_comes_first_and_the_machine_itself_before_all() -> None:
    machine = demo()
    found = list(islice(nearest_first(machine), 120))
    far = [distance(machine, c) for c in found]
    assert far[0] == pytest.approx(0.0)
    assert far == sorted(far)


def test_the_transformer_goes_with_the_square_of_its_turns() -> None:
    base = demo()
    made = changed(base, {"transformer.primary_turns": 33.0, "tank.cans": 20.0,
                          "drive.dead_time": 0.6e-6, "drive.gate_resistor": 10.0})  # fmt: skip
    assert made is not None
    # On the same core inductance goes with N^2: (33/22)^2 = 2.25.
    assert made.transformer.magnetising_inductance == pytest.approx(
        2.25 * base.transformer.magnetising_inductance
    )
    assert made.transformer.leakage_inductance == pytest.approx(
        2.25 * base.transformer.leakage_inductance
    )


def test_a_combination_the_machine_cannot_have_is_left_out() -> None:
    wanted = {"transformer.primary_turns": 22.0, "tank.cans": 20.0, "drive.dead_time": 20e-6,
              "drive.gate_resistor": 10.0}  # fmt: skip
    assert changed(demo(), wanted) is None  # no on-time is left at 130 kHz


@pytest.mark.slow
def test_fewer_cans_are_answered_with_more_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    # 14 cans carry 20/14 of the current each: over their 16.2 A with the hot piece. Turns n bring
    # the coil current down as 1/n, and ln(27/22) = 0.20 is nearer than ln(19/14) = 0.31.
    monkeypatch.setattr(suggest, "rehearsed", lambda *_: {"piece": row("within_limits")})
    machine = varied(demo(), FEW)
    assert not suggest.within(machine)
    found = suggest.suggest(machine)
    assert found.best is not None
    assert suggest.within(found.best.machine)
    assert set(found.best.changes) == {"transformer.primary_turns"}
    assert found.best.changes["transformer.primary_turns"][1] > 22
    assert "primary_turns 22 to" in sentence(found)


def test_what_circuit_runs_refuse_is_not_suggested(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suggest, "within", lambda machine: True)
    monkeypatch.setattr(suggest, "rehearsed", lambda *_: {"piece": row("over_limit")})
    found = suggest.suggest(demo())
    assert len(found.suggestions) == suggest.VERIFIED
    assert found.best is None
    assert suggest.document(found)["verdict"] == "over_limit"
    assert suggest.document(found)["changes"] is None


def test_a_machine_that_is_well_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suggest, "within", lambda machine: True)
    monkeypatch.setattr(suggest, "rehearsed", lambda *_: {"piece": row("within_limits")})
    found = suggest.suggest(demo())
    assert found.evaluated == 1
    assert sentence(found).startswith("Nothing to change")


def test_it_is_verified_settled_at_the_working_margin() -> None:
    scenario = settled(demo(), "steel-hot")
    assert scenario.events == ()
    assert scenario.start.margin == demo().drive.working_margin
