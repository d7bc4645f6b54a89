"""A stand-in behind the engine's door: runs kept from an engine, given back without one.

`Recorder` passes decks to an engine and keeps what came back, failures too; `RecordedEngine`
answers the same decks from the folder in milliseconds. A deck that was never run is an error: no
answer is ever made up, and none is taken from a deck that differs in a single character.
"""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simkit.errors import EngineError, EngineFailed
from simkit.run.arrays import load_packed
from simkit.run.backend import Budget, Engine, EngineRun, Progress, Vector
from simkit.run.guard import inspect
from simkit.run.ngspice import check_complete


class NotRecorded(EngineError):
    """No run of this deck was kept."""


def key_of(text: str, saved: tuple[str, ...], stop: float) -> str:
    """Name under which a run is kept: a digest of deck, saved vectors and end time."""
    whole = json.dumps([text, list(saved), repr(float(stop))])
    return hashlib.sha256(whole.encode()).hexdigest()


@dataclass(frozen=True)
class RecordedEngine:
    """Runs from a folder; an `Engine` to everything that uses one."""

    folder: Path
    name: str = "recorded"

    def run(
        self,
        text: str,
        saved: tuple[str, ...],
        stop: float,
        budget: Budget = Budget(),  # noqa: B008 - frozen
        progress: Progress | None = None,
    ) -> EngineRun:
        """The run that was kept for this deck; the budget is not used up.

        Errors: DeckRefused as at the engine's own door; NotRecorded; EngineFailed with
        the reason and the lines that were kept, where the run had failed.
        """
        inspect(text)
        path = self.folder / f"{key_of(text, saved, stop)}.npz"
        if not path.is_file():
            raise NotRecorded(f"no run of this deck is kept in {self.folder}")
        kept = load_packed(path)
        facts, table = json.loads(str(kept["facts"])), kept["table"]
        if facts["failed"] is not None:
            raise EngineFailed(facts["failed"], facts["log"])
        if progress:
            progress(1.0)
        vectors = dict(zip(("time", *saved), table, strict=True))
        check_complete(vectors, saved, stop, tuple(facts["log"]))
        return EngineRun.kept(vectors, facts)

    def version(self) -> str:
        """Says that these are recordings."""
        return f"recordings in {self.folder}"


@dataclass(frozen=True)
class Recorder:
    """An engine whose answers are kept in a folder as they pass."""

    engine: Engine
    folder: Path
    name: str = "recorder"

    def run(
        self,
        text: str,
        saved: tuple[str, ...],
        stop: float,
        budget: Budget = Budget(),  # noqa: B008 - frozen
        progress: Progress | None = None,
    ) -> EngineRun:
        """Run a deck in the engine and keep the answer.

        Errors: as the engine's; only an EngineFailed is kept, as time limits and missing engines
        say nothing about the deck.
        """
        path = self.folder / f"{key_of(text, saved, stop)}.npz"
        try:
            run = self.engine.run(text, saved, stop, budget, progress)
        except EngineFailed as error:
            _keep(path, np.empty((0, 0)), failed=error.reason, log=list(error.log))
            raise
        table = np.stack([run.vectors[name] for name in ("time", *saved)])
        _keep(path, table, failed=None, **run.facts())
        return run

    def version(self) -> str:
        """Name and version of the engine behind."""
        return self.engine.version()


def _keep(path: Path, table: Vector, **facts: object) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    text = np.array(json.dumps(facts))
    np.savez_compressed(path, table=table, facts=text, allow_pickle=False)
