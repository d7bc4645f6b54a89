"""Processes of this machine that take cases, each started once and used again.

An own executor, because the library's pool breaks as a whole when one of its workers is killed,
and leaves those that work to themselves when it is interrupted.
"""

import atexit
import contextlib
import os
import queue
import signal
import threading
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Future
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Any

from simkit.run.ending import end_with_parent
from simkit.run.process import start_worker

_Task = tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]


class WorkerLost(BrokenExecutor):
    """The process that worked on a case went away."""


class Workers:
    """As many processes as cases may run at a time; an executor to `pool.collect`.

    A worker that is lost costs the case it worked on (WorkerLost) and is replaced. Leaving the
    `with` block by an error, Ctrl-C among them, ends all workers at once; no worker outlives this
    process, even when it is killed.
    """

    def __init__(self, jobs: int) -> None:
        """Nothing starts before the first case."""
        self._jobs = jobs
        self._tasks: queue.SimpleQueue[_Task | None] = queue.SimpleQueue()
        self._threads: list[threading.Thread] = []
        self._processes: dict[int, Any] = {}
        self._ended = False
        self._lock = threading.Lock()
        # Without it, leaving the program would wait for workers that wait for cases.
        atexit.register(self.kill)

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Future[Any]:
        """Give a case to the next worker that is free."""
        if self._ended:
            raise RuntimeError("the workers were ended")
        future: Future[Any] = Future()
        self._tasks.put((future, fn, args))
        with self._lock:
            if len(self._threads) < self._jobs:
                name = f"worker {len(self._threads) + 1}"
                thread = threading.Thread(target=self._tend, name=name, daemon=True)
                self._threads.append(thread)
                thread.start()
        return future

    def shutdown(self) -> None:
        """Let the workers finish what was submitted, then end them."""
        self._ended = True
        for _ in self._threads:
            self._tasks.put(None)
        for thread in self._threads:
            thread.join()
        atexit.unregister(self.kill)

    def kill(self) -> None:
        """End the workers at once; the cases they worked on are lost."""
        self._ended = True
        with contextlib.suppress(queue.Empty):
            while True:
                task = self._tasks.get_nowait()
                if task is not None:
                    task[0].cancel()
        for process in list(self._processes.values()):
            with contextlib.suppress(ValueError):  # closed meanwhile
                process.kill()
        self.shutdown()

    def __enter__(self) -> "Workers":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self.shutdown()
        else:
            self.kill()

    def _started(self) -> tuple[Any, Any]:
        process, pipe = start_worker(serve, duplex=True)
        self._processes[threading.get_ident()] = process
        if self._ended:  # too late to be seen by `kill`
            process.kill()
        return process, pipe

    def _tend(self) -> None:
        """One worker's cases, one after the other; a lost worker is replaced for the next."""
        process, pipe = None, None
        while (task := self._tasks.get()) is not None:
            future, fn, args = task
            if not future.set_running_or_notify_cancel():
                continue
            try:
                if process is None:
                    process, pipe = self._started()
                kind, answer = _asked(pipe, fn, args)
            except (EOFError, OSError):
                _end(process, pipe)
                process = None
                future.set_exception(WorkerLost("the process that worked on the case went away"))
            except Exception as error:  # noqa: BLE001 - a case that cannot be sent
                future.set_exception(error)
            else:
                if kind == "done":
                    future.set_result(answer)
                else:
                    future.set_exception(answer)
        _end(process, pipe)


def _asked(pipe: Any, fn: Callable[..., Any], args: tuple[Any, ...]) -> tuple[str, Any]:
    pipe.send((fn, args))
    kind, answer = pipe.recv()
    return kind, answer


def _end(process: Any, pipe: Any) -> None:
    if process is None:
        return
    pipe.close()  # an idle worker sees that and goes
    process.join(2.0)
    if process.is_alive():
        process.kill()
        process.join()
    process.close()


def serve(pipe: Connection) -> None:
    """In a worker: answer cases until the parent closes the pipe or goes away."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's affair
    end_with_parent()
    while True:
        try:
            fn, args = pipe.recv()
        except (EOFError, OSError):
            os._exit(0)
        except Exception as error:  # noqa: BLE001 - a case that cannot be read; the parent hears
            pipe.send(("failed", RuntimeError(f"the case could not be read: {error}")))
            continue
        try:
            answer = ("done", fn(*args))
        except Exception as error:  # noqa: BLE001 - the parent must hear of it
            answer = ("failed", error)
        try:
            pipe.send(answer)
        except (TypeError, AttributeError, ValueError) as error:
            said = f"{type(error).__name__}: {error}; it was {str(answer[1])[:200]}"
            pipe.send(("failed", RuntimeError(f"the answer could not be sent: {said}")))
