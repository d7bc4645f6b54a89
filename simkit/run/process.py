"""The parent side: one fresh worker process per run, watched until it answers or must end.

A worker that crashes, hangs or is killed becomes an EngineError with its reason; it never takes
the tool down with it. Workers are forked from a small server that has already read the slow
imports, so that starting one costs milliseconds.
"""

import contextlib
import multiprocessing
import os
import signal
import sys
import tempfile
import threading
import time
import types
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing import resource_tracker
from multiprocessing.context import BaseContext
from pathlib import Path
from typing import Any

from simkit.errors import EngineFailed, EngineTimeout
from simkit.run import worker
from simkit.run.arrays import load_array
from simkit.run.backend import Budget, EngineRun, Progress
from simkit.run.guard import inspect
from simkit.run.library import find_library, library_digest

_STARTING = threading.Lock()
"""Several threads may run decks, but only one at a time starts a worker."""


@dataclass(frozen=True)
class NgspiceEngine:
    """ngspice through its shared library, a process per run."""

    name: str = "ngspice"

    def run(
        self,
        text: str,
        saved: tuple[str, ...],
        stop: float,
        budget: Budget = Budget(),  # noqa: B008 - a frozen value
        progress: Progress | None = None,
    ) -> EngineRun:
        """Run a deck to its end time.

        Errors: DeckRefused before anything starts; EngineMissing, EngineFailed, EngineTimeout.
        """
        inspect(text)
        library = find_library().path
        with tempfile.TemporaryDirectory(
            prefix="simkit-run-", ignore_cleanup_errors=True
        ) as folder:
            job = worker.Job(folder, library, text, saved, stop, budget)
            return run_job(worker.work, job, budget.wall, progress)

    def version(self) -> str:
        """Name and version of the engine."""
        return self.test()[0]

    def identity(self) -> str:
        """Digest of the library's own bytes: engines differ in the last digits by version.

        Errors: EngineMissing.
        """
        return library_digest()

    def test(self) -> tuple[str, float]:
        """Version, and relative error of the self-test [1]."""
        library = find_library().path
        with tempfile.TemporaryDirectory(
            prefix="simkit-run-", ignore_cleanup_errors=True
        ) as folder:
            _, version, error = _watched(worker.probe, (library, folder), 30.0, None)
        return version, error


def run_job(
    target: Callable[..., None], job: worker.Job, wall: float, progress: Progress | None
) -> EngineRun:
    """A job done by a target in a fresh process, with the vectors it left in the job's folder.

    Errors: EngineFailed, EngineTimeout.
    """
    _, version, log, seconds, cpu = _watched(target, (job,), wall, progress)
    try:
        table = load_array(Path(job.folder) / "vectors.npy")
    except ValueError as error:
        raise EngineFailed(f"the engine's vectors could not be read: {error}", log) from error
    vectors = dict(zip(("time", *job.saved), table, strict=True))
    return EngineRun(vectors, version, tuple(log), seconds, cpu)


def _watched(
    target: Callable[..., None],
    arguments: tuple[Any, ...],
    wall: float,
    progress: Progress | None,
) -> tuple[Any, ...]:
    """Run a target in a fresh process; its "done" message, or the EngineError it amounts to."""
    process, here = start_worker(target, *arguments, daemon=True)
    try:
        return _listen(here, process, time.monotonic() + wall, wall, progress)
    finally:
        _end(process)
        here.close()


def start_worker(
    target: Callable[..., None], *arguments: Any, daemon: bool = False, duplex: bool = False
) -> tuple[Any, Any]:
    """A fresh process at work on a target, and this end of the pipe it was given as last argument.

    Only one that is no daemon may have processes of its own.
    """
    # The helpers started here would else look for the standard library in the current folder
    # first, and so run a `socket.py` that lies beside somebody's machine file.
    os.environ.setdefault("PYTHONSAFEPATH", "1")
    context = _context()
    here, there = context.Pipe(duplex=duplex)
    make = context.Process  # type: ignore[attr-defined]  # a class per start method
    with _without_main(), _without_interrupts():
        if context.get_start_method() == "forkserver":
            # Its folder for sockets must be there before the first worker is described: workers
            # then share it, and it goes with this process. Else each leaves one of its own.
            from multiprocessing import forkserver

            forkserver.ensure_running()
        process = make(target=target, args=(*arguments, there), daemon=daemon)
        process.start()
    there.close()
    return process, here


def _listen(
    pipe: Any, process: Any, deadline: float, wall: float, progress: Progress | None
) -> tuple[Any, ...]:
    while True:
        left = deadline - time.monotonic()
        if left <= 0 or not pipe.poll(left):
            raise EngineTimeout(f"the engine was ended after {wall:g} s, the time limit of a run")
        try:
            message = pipe.recv()
        except EOFError:
            process.join(5)
            raise EngineFailed(_death(process.exitcode)) from None
        if message[0] == "progress":
            if progress:
                progress(message[1])
        elif message[0] == "failed":
            raise EngineFailed(message[1], message[2])
        else:
            return tuple(message)


def _death(code: int | None) -> str:
    if code is not None and code < 0:
        return f"the engine's process was ended by signal {-code}"
    return f"the engine's process ended without an answer (exit code {code})"


def _end(process: Any) -> None:
    process.join(0.5)
    if process.is_alive():
        process.kill()
        process.join(5)
    process.close()


SOCKET_NAME = 104 - 34
"""Most bytes of the folder for temporary files of which a socket's path holds [byte].

An address of the family AF_UNIX holds 104 bytes at the least (macOS; Linux 108), and the standard
library adds a folder and a name of up to 34.
"""


def _context() -> BaseContext:
    # With a longer folder for temporary files no server can listen: each worker starts alone.
    fits = len(os.fsencode(tempfile.gettempdir())) <= SOCKET_NAME
    if fits and "forkserver" in multiprocessing.get_all_start_methods():
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["simkit.run.preload"])
        return context
    return multiprocessing.get_context("spawn")


@contextlib.contextmanager
def _without_interrupts() -> Iterator[None]:
    # Ctrl-C goes to every process of a terminal. The parent answers it; what it starts here, the
    # server that workers are forked from among them, inherits that it does not listen.
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # starting it later would listen again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def _without_main() -> Iterator[None]:
    # A worker needs nothing of the caller's main module; without this a script with no
    # "if __name__" guard would be run again in every worker.
    with _STARTING:
        main = sys.modules["__main__"]
        sys.modules["__main__"] = types.ModuleType("__main__")
        try:
            yield
        finally:
            sys.modules["__main__"] = main
