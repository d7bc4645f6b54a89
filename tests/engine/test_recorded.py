"""Recorded runs stand in for the engine, and never say more than it did."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simkit.errors import EngineFailed
from simkit.rehearsal.rehearse import rehearse
from simkit.rehearsal.settings import Settings
from simkit.run.backend import Budget, Engine, EngineRun, Progress
from simkit.run.guard import DeckRefused
from simkit.run.process import NgspiceEngine
from simkit.run.recorded import NotRecorded, RecordedEngine, Recorder, key_of
from tests.machines import demo, run_deck, scenario, seeded_deck, still

DECK = (
    "* rc\nv1 in 0 1\nr1 in out 1e3\nc1 out 0 1e-7 ic=0\n"
    ".save v(out)\n.tran 1e-6 1e-4 0 1e-6 uic\n.end\n"
)
SAVED, STOP, BUDGET = ("v(out)",), 1e-4, Budget()


def test_a_kept_run_is_given_back_bit_for_bit(tmp_path: Path) -> None:
    engine: Engine = Recorder(NgspiceEngine(), tmp_path)
    real = engine.run(DECK, SAVED, STOP, BUDGET)
    stand_in: Engine = RecordedEngine(tmp_path)
    heard: list[float] = []
    again = stand_in.run(DECK, SAVED, STOP, BUDGET, heard.append)
    assert list(again.vectors) == list(real.vectors)
    for name, values in real.vectors.items():
        assert np.array_equal(again.vectors[name], values)
    assert (again.engine, again.log, again.seconds) == (real.engine, real.log, real.seconds)
    assert heard == [1.0]


@pytest.mark.parametrize(
    ("text", "saved", "stop"),
    [(DECK.replace("1e3", "1.1e3"), SAVED, STOP), (DECK, ("v(in)",), STOP), (DECK, SAVED, 2e-4)],
    ids=["a value", "the vectors", "the end time"],
)
def test_a_deck_that_differs_has_no_answer(
    text: str, saved: tuple[str, ...], stop: float, tmp_path: Path
) -> None:
    Recorder(NgspiceEngine(), tmp_path).run(DECK, SAVED, STOP)
    with pytest.raises(NotRecorded, match="no run of this deck"):
        RecordedEngine(tmp_path).run(text, saved, stop)


class Broken:
    """An engine that stops early."""

    name = "broken"

    def run(
        self, text: str, saved: tuple[str, ...], stop: float, budget: Budget,
        progress: Progress | None = None,
    ) -> EngineRun:  # fmt: skip
        raise EngineFailed("stopped at 1 us; the engine said: too small", ("a line",))

    def version(self) -> str:
        return "broken"


def test_a_failure_is_kept_with_its_reason_and_lines(tmp_path: Path) -> None:
    with pytest.raises(EngineFailed):
        Recorder(Broken(), tmp_path).run(DECK, SAVED, STOP)
    with pytest.raises(EngineFailed, match="stopped at 1 us") as caught:
        RecordedEngine(tmp_path).run(DECK, SAVED, STOP)
    assert caught.value.log == ("a line",)


def test_what_the_door_refuses_is_refused_here_too(tmp_path: Path) -> None:
    with pytest.raises(DeckRefused):
        RecordedEngine(tmp_path).run(".control\n" + DECK, SAVED, STOP)


def test_a_damaged_recording_is_no_answer(tmp_path: Path) -> None:
    """A run cut short on disk fails as one cut short by the engine would."""
    Recorder(NgspiceEngine(), tmp_path).run(DECK, SAVED, STOP)
    path = tmp_path / f"{key_of(DECK, SAVED, STOP)}.npz"
    with np.load(path) as kept:
        facts, table = kept["facts"], kept["table"]
    np.savez_compressed(path, facts=facts, table=table[:, :-5])
    with pytest.raises(EngineFailed, match="stopped at"):
        RecordedEngine(tmp_path).run(DECK, SAVED, STOP)


@pytest.mark.slow
def test_a_rehearsal_on_recordings_is_the_same(tmp_path: Path) -> None:
    """Same decks from the same inputs, so the stand-in answers every one, to the last bit."""
    machine, short = demo(), scenario(settled=3e-4, tail=1e-4)

    def rehearsed(engine: Engine):  # type: ignore[no-untyped-def]
        def door(deck, progress):  # type: ignore[no-untyped-def]
            return engine.run(deck.text, deck.saved, deck.stop, BUDGET, progress)

        return rehearse(machine, short, door, settings=Settings(refine=False))

    real = rehearsed(Recorder(NgspiceEngine(), tmp_path))
    kept = rehearsed(RecordedEngine(tmp_path))
    assert [r.value for r in kept.rows] == [r.value for r in real.rows]
    assert kept.before == real.before


def test_runs_repeat_bit_for_bit() -> None:
    """One engine version is deterministic, which is what makes recordings meaningful."""
    machine = demo()
    deck = seeded_deck(machine, still(machine, 3))
    one, two = run_deck(deck), run_deck(replace(deck))
    for name, values in one.vectors.items():
        assert np.array_equal(values, two.vectors[name]), name
