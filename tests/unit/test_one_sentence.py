"""What the sentence of a verdict says of the drive: only what its leading figure comes from."""

from __future__ import annotations

from typing import Any

from simkit.circuit.timeline import Timeline, timeline
from simkit.judge.verdict import Judged
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import ModeSpan, context_of
from tests.machines import demo

RESONANT = [ModeSpan(0.0, 1.0, "resonant")]


def over(quantity: str) -> Judged:
    return Judged(
        "Q1", quantity, "A", 2.0, 0.1, 1.0, 2.0, 2e-4, 2e-4, "over", "class value"
    )  # fmt: skip


def course(*events: dict[str, Any]) -> Timeline:
    return timeline(demo(), Scenario.model_validate({
        "name": "a", "machine": "machine.toml", "tail": 1e-4, "events": events,
        "start": {"load": "steel-hot", "margin": 0.04, "settled": 1e-4},
    }))  # fmt: skip


def test_a_current_that_reversed_is_told_of_diodes_alone() -> None:
    for quantity in ("recovery_dv_dt", "recovery_di_dt"):
        assert "reversed in the dead time" in context_of([over(quantity)], RESONANT, course())
    for quantity in ("can_current_rms", "flux_peak", "supply_current", "channel_current_peak"):
        said = context_of([over(quantity)], RESONANT, course())
        assert said == "with the drive near resonance, "


def test_faulty_gates_say_nothing_of_the_drive() -> None:
    fault = {"kind": "gate-reversed", "at": 0.0, "switches": (1,)}
    assert context_of([over("recovery_dv_dt")], RESONANT, course(fault)) == ""
    later = fault | {"at": 3e-4}
    assert context_of([over("recovery_dv_dt")], RESONANT, course(later)) != ""
