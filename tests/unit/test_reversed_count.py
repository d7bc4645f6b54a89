"""How often a current has reversed at turn-on: counted, or told by samples with an error."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.circuit.timeline import Timeline, timeline
from simkit.rehearsal.reversed_count import SEEN, reversed_of
from simkit.studies.inputs.loading import load_scenario
from tests.machines import DEMO

FALL = 100.0
"""The made-up current at turn-on falls by so much in a second, from 3 A at the start [A/s]."""


def on_at(time: Any) -> Any:
    return 3.0 - FALL * np.asarray(time)


def lifted(above: tuple[float, ...]) -> tuple[Any, Timeline]:
    """A sampled lift of 60 ms: the circuit's currents are so far above the fast model's [A], at
    samples along it."""
    scenario, machine = load_scenario(DEMO / "pull-out-cold.toml")
    line = timeline(machine.model, scenario.model)
    time = np.linspace(0.0, line.end, 400)

    def sample(at: float, more: float) -> Any:
        cycle = SimpleNamespace(start=at, end=at + 12e-6)
        # Of its two change-overs the smaller current counts, as in the fast model.
        each = [SimpleNamespace(time=at + t, turn_on_current=float(on_at(at + 6e-6)) + more + x)
                for t, x in ((1e-6, 0.0), (7e-6, 0.4))]  # fmt: skip
        return SimpleNamespace(cycles=[cycle], transitions=each)

    cycles = SimpleNamespace(
        time=time, turn_on_current=on_at(time), primary_current_peak=np.full(len(time), 10.0)
    )
    places = np.linspace(0.0, 0.06, len(above))
    return SimpleNamespace(
        is_whole=False, machine=machine.model, line=line,
        scout=SimpleNamespace(event=SimpleNamespace(cycles=cycles)),
        first_pass=tuple(sample(t, m) for t, m in zip(places, above, strict=True)),
    ), line  # fmt: skip


@pytest.mark.parametrize("more", [0.0, 0.5, -0.5])
def test_samples_move_the_onset_and_say_how_well_it_is_known(more: float) -> None:
    found, line = lifted((more,) * 5)
    back = reversed_of(found)
    assert back is not None
    # Below zero from (3 + more) / FALL on, two change-overs a cycle.
    rate = 2.0 * line.frequency.first
    assert back.count == pytest.approx(rate * (line.end - (3.0 + more) / FALL), abs=2.0)
    # Samples that agree leave what a sample is known to: of 10 A, at FALL.
    assert back.error == pytest.approx(rate * SEEN * 10.0 / FALL, abs=2.0)
    assert back.change_overs == pytest.approx(rate * line.end, abs=1.0)


def test_samples_that_disagree_leave_a_larger_error() -> None:
    found, line = lifted((0.0, 0.0, 0.4, 0.0, 0.0))
    back = reversed_of(found)
    assert back is not None
    # Left out, the middle one is missed by 0.4 A, its neighbours by 0.2: the onset, near the
    # middle one, may be off by what lies between; the samples' own fall adds 27 A/s.
    rate = 2.0 * line.frequency.first
    assert rate * 0.3 / (FALL + 27.0) < back.error < rate * 0.4 / FALL


def test_none_is_none() -> None:
    found, _ = lifted((10.0,) * 5)
    back = reversed_of(found)
    assert back is not None
    assert (back.count, back.error) == (0, 0)


def test_a_run_of_the_whole_event_is_counted() -> None:
    scenario, machine = load_scenario(DEMO / "pull-out-shaken.toml")
    line = timeline(machine.model, scenario.model)
    currents = (2.0, 0.01, -0.01, -1.0, -2.0, -3.0)
    each = [SimpleNamespace(time=k * 1e-5, turn_on_current=i, outgoing=leg + k % 2)
            for k, i in enumerate(currents) for leg in (1, 3)]  # fmt: skip
    waves = SimpleNamespace(primary_current=np.array([-20.0, 10.0]))
    whole = SimpleNamespace(transitions=each, waves=waves)
    back = reversed_of(SimpleNamespace(is_whole=True, line=line, whole=whole))  # type: ignore[arg-type]
    assert back is not None
    # One leg's; 0.1 A, half a per cent of 20 A, says nothing of two of them.
    assert (back.count, back.error) == (4, 2)
