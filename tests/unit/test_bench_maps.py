"""Maps over drive frequency from the fast model: what they show, and on which pages."""

from __future__ import annotations

from itertools import pairwise
from math import atan, degrees
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from simkit.circuit.timeline import timeline
from simkit.report.operating_map import COLUMNS, map_rows, mode_spans, operating_figure
from simkit.report.view import OperatingMap
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.operating_map.study import operating_view, tuned
from tests.machines import DEMO, demo, varied

LOAD = "cold-steel-weak-field"


def rehearsed(name: str, machine: Any = None) -> Any:
    """What a map needs of a rehearsal of a shipped scenario."""
    scenario, loaded = load_scenario(DEMO / f"{name}.toml")
    used = machine or loaded.model
    return cast(Any, SimpleNamespace(machine=used, line=timeline(used, scenario.model)))


@pytest.fixture(scope="module")
def shown() -> OperatingMap:
    found = tuned(rehearsed("tune-down"))
    assert found is not None
    return found


def test_tuning_down_is_mapped_over_all_its_frequencies(shown: OperatingMap) -> None:
    """From 25 % above resonance, to 0.76 of that, at 100 V: what the file says."""
    machine = demo()
    resonance = machine.resonance(machine.load(LOAD).inductance)
    assert shown.resonance == pytest.approx(resonance)
    assert shown.frequency[0] == pytest.approx(0.76 * 1.25 * resonance)
    assert shown.frequency[-1] == pytest.approx(1.25 * resonance)
    assert shown.supply_voltage == 100.0
    assert shown.band == pytest.approx((1.02 * resonance, 1.06 * resonance)), "margin of 4 %"


def test_phase_is_a_series_circuits(shown: OperatingMap) -> None:
    """tan phi = Q (f/f0 - f0/f), textbook, with the loss resistance of the whole loop.

    To 6 degrees near resonance: the magnetising current and the square wave's harmonics, which the
    fast model has and the formula has not, turn the current by some degrees.
    """
    machine = demo()
    load, turns = machine.load(LOAD), machine.transformer.primary_turns
    transformer, bank = machine.transformer, machine.tank
    bridge = 2.0 * machine.switch.channel.drain_resistance + transformer.primary_resistance
    loop = (
        load.resistance
        + bank.esr
        + transformer.secondary_resistance
        + bridge / turns**2
    )  # fmt: skip
    quality = 2.0 * np.pi * shown.resonance * load.inductance / loop
    for f, phase in zip(shown.frequency, shown.curves["phase"], strict=True):
        x = f / shown.resonance
        if 0.97 < x < 1.06:
            assert phase == pytest.approx(degrees(atan(quality * (x - 1.0 / x))), abs=6.0)


def test_modes_come_in_order(shown: OperatingMap) -> None:
    spans = mode_spans(shown)
    assert [s.name for s in spans] == ["capacitive", "resonant", "inductive"]
    assert spans[0].start == shown.frequency[0]
    assert spans[-1].end == shown.frequency[-1]
    assert spans[1].start < shown.resonance
    for one, other in pairwise(spans):
        assert one.end == other.start
    negative = [i < 0.0 for i in shown.curves["turn_off_current"]]
    assert negative == [m == "capacitive" for m in shown.modes]


def test_rows_and_figure_hold_every_curve(shown: OperatingMap) -> None:
    rows = map_rows(shown)
    assert 10 <= len(rows) <= 16
    assert any(r.in_band for r in rows)
    assert all(len(r.values) == len(COLUMNS) for r in rows)
    drawn = operating_figure(shown)
    for name in (*(name for _, name, _ in COLUMNS), "capacitive", "inductive"):
        assert name in drawn


def test_a_fixed_drive_has_no_map() -> None:
    assert tuned(rehearsed("pull-out-cold")) is None


def test_what_the_fast_model_refuses_has_no_map() -> None:
    """A gate resistor whose delay leaves nothing of the dead time."""
    slow = varied(demo(), {"drive.gate_resistor": 400.0})
    with pytest.raises(ValueError, match="dead_time by"):
        operating_view(slow, slow.load(LOAD), 75e3, 90e3)
    assert tuned(rehearsed("tune-down", slow)) is None
