"""A second engine behind the same door: written apart from ngspice, so that its slips are others.

Its models come from the same family, so it is a second opinion on the numbers, not on the model
equations. It needs no system package. A process of its own per run, fenced in as ngspice's is.
"""

import importlib
import importlib.metadata
import os
import tempfile
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from simkit.errors import EngineError, EngineFailed, EngineMissing
from simkit.run.backend import Budget, EngineRun, Progress, Vector
from simkit.run.dialect import otherwise, signal, translated
from simkit.run.guard import inspect
from simkit.run.ngspice import check_complete
from simkit.run.process import run_job
from simkit.run.worker import Job, fence

PACKAGE = "neospice"


@dataclass(frozen=True)
class NeospiceEngine:
    """neospice, a process per run."""

    name: str = PACKAGE

    def run(
        self,
        text: str,
        saved: tuple[str, ...],
        stop: float,
        budget: Budget = Budget(),  # noqa: B008 - a frozen value
        progress: Progress | None = None,
    ) -> EngineRun:
        """Run a deck to its end time; the engine reports no progress on the way.

        Errors: DeckRefused before anything starts; EngineMissing, EngineFailed, EngineTimeout.
        """
        inspect(text)
        self.version()
        with tempfile.TemporaryDirectory(
            prefix="simkit-run-", ignore_cleanup_errors=True
        ) as folder:
            job = Job(folder, "", text, saved, stop, budget)
            return run_job(work, job, budget.wall, progress)

    def version(self) -> str:
        """Name and version of the installed package.

        Errors: EngineMissing.
        """
        try:
            return f"{PACKAGE} {importlib.metadata.version(PACKAGE)}"
        except importlib.metadata.PackageNotFoundError:
            raise EngineMissing(
                f"the second engine {PACKAGE} is not installed. Run: pip install {PACKAGE}"
            ) from None

    def identity(self) -> str:
        """What its answers depend on."""
        return self.version()


def work(job: Job, pipe: Connection) -> None:
    """In the worker: run one deck; send ("done", ...) or ("failed", ...)."""
    try:
        fence(job)
        started = time.perf_counter()
        vectors, log = _vectors(job)
        seconds = time.perf_counter() - started
        check_complete(vectors, job.saved, job.stop, log)
        table = np.stack([vectors[name] for name in ("time", *job.saved)])
        np.save(Path(job.folder) / "vectors.npy", table, allow_pickle=False)
        version = NeospiceEngine().version()
        pipe.send(("done", version, log, seconds, time.process_time()))
    except EngineError as error:
        pipe.send(("failed", error.reason, error.log))
    except (Exception, SystemExit) as error:  # noqa: BLE001 - the parent must hear of it
        pipe.send(("failed", f"the second engine: {type(error).__name__}: {error}", ()))
    finally:
        pipe.close()


def _vectors(job: Job) -> tuple[dict[str, Vector], tuple[str, ...]]:
    # The package declares types but not what it exports.
    simulator: Any = importlib.import_module(PACKAGE).Simulator()
    # What it cannot read it leaves out of the circuit and says so on the error stream only.
    said = Path(job.folder) / "said.txt"
    os.dup2(os.open(said, os.O_WRONLY | os.O_CREAT, 0o600), 2)
    found = _transient(simulator, translated(job.text))
    log = tuple(said.read_text(encoding="utf-8", errors="replace").splitlines())
    log += tuple(found.status.warnings)
    if log:
        raise EngineFailed(f"the second engine did not read the deck whole: {log[0]}", log)
    time_axis = np.asarray(found.time)
    # At an edge it tells the same time twice, of which the second counts.
    keep = np.append(np.diff(time_axis) > 0.0, True)
    vectors: dict[str, Vector] = {"time": time_axis[keep]}
    known = set(found.signal_names())
    for name in job.saved:
        own, is_current = signal(name)
        if is_current and f"i({own})" in known:
            vectors[name] = np.asarray(found.current(own))[keep]
        elif own in known:
            vectors[name] = np.asarray(found.voltage(own))[keep]
    return vectors, log


def _transient(simulator: Any, text: str) -> Any:
    """Its transient analysis; where that stops, of decks that differ by next to nothing."""
    for other in otherwise(text):
        try:
            return simulator.run(simulator.parse(other)).transient
        except RuntimeError as error:
            stopped = error
    raise stopped
