"""The child side: a fenced-in process that opens the engine, runs one deck and leaves vectors.

The process works in a private folder with an empty start-up file, without the variables by which
an engine finds scripts, and under limits on CPU time and file size.
"""

import contextlib
import os
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from simkit.errors import EngineError, EngineFailed
from simkit.run.backend import Budget
from simkit.run.ending import end_with_parent


@dataclass(frozen=True)
class Job:
    """One deck to run in a folder."""

    folder: str
    library: str
    text: str
    saved: tuple[str, ...]
    stop: float
    budget: Budget


def fence(job: Job) -> None:
    """Private folder, empty start-up file, clean environment, limits on CPU and file size.

    The process also ends with its parent, and leaves Ctrl-C to it.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_parent(job.folder)
    os.chdir(job.folder)
    Path(".spiceinit").touch()
    for name in list(os.environ):
        if name.startswith(("SPICE", "NGSPICE")):
            del os.environ[name]
    os.environ["SPICE_LIB_DIR"] = job.folder
    os.environ["SPICE_SCRIPTS"] = job.folder
    os.environ["HOME"] = job.folder
    os.environ["OMP_NUM_THREADS"] = "1"
    try:
        import resource
    except ImportError:  # not on Windows; the parent's wall limit remains
        return
    cpu = int(job.budget.cpu) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu + 5))
    resource.setrlimit(resource.RLIMIT_FSIZE, (job.budget.file_size,) * 2)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with contextlib.suppress(ValueError, OSError):  # some systems know no such limit
        resource.setrlimit(resource.RLIMIT_AS, (job.budget.memory,) * 2)


def work(job: Job, pipe: Connection) -> None:
    """Run one deck; send ("progress", share) and at the end ("done", ...) or ("failed", ...)."""
    lines: list[str] = []
    try:
        fence(job)
        from simkit.run import ngspice

        session, lines = ngspice.open_session(job.library, _reporter(pipe))
        started = time.perf_counter()
        vectors = ngspice.run_deck(session, lines, job.text, job.saved, job.stop)
        seconds = time.perf_counter() - started
        table = np.stack([vectors[name] for name in ("time", *job.saved)])
        _save(table, job.folder)
        cpu = time.process_time()
        pipe.send(("done", ngspice.engine_version(session), tuple(lines), seconds, cpu))
    except EngineError as error:
        pipe.send(("failed", error.reason, error.log))
    except (Exception, SystemExit) as error:  # noqa: BLE001 - the parent must hear of it
        pipe.send(("failed", f"{type(error).__name__}: {error}", tuple(lines)))
    finally:
        pipe.close()


def _save(table: Any, folder: str) -> None:
    try:
        np.save(Path(folder) / "vectors.npy", table, allow_pickle=False)
    except OSError as error:
        raise EngineFailed(
            "the waveforms could not be written to the folder for temporary files (TMPDIR), "
            f"where {table.nbytes / 1e6:.3g} MB were needed: {error.strerror or 'no room left'}"
        ) from None


def probe(library: str, folder: str, pipe: Connection) -> None:
    """Engine's version and the error of its self-test, for `doctor`."""
    try:
        fence(Job(folder, library, "", (), 0.0, Budget(cpu=60, file_size=10_000_000)))
        from simkit.run import ngspice

        session, lines = ngspice.open_session(library)
        error = ngspice.self_test(session, lines)
        pipe.send(("done", ngspice.engine_version(session), error))
    except (Exception, SystemExit) as error:  # noqa: BLE001 - the parent must hear of it
        pipe.send(("failed", f"{type(error).__name__}: {error}", ()))
    finally:
        pipe.close()


def _reporter(pipe: Connection) -> Callable[[float], None]:
    last = [-1.0]

    def report(share: float) -> None:
        if share - last[0] >= 0.01:
            last[0] = share
            pipe.send(("progress", share))

    return report
