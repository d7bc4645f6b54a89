"""What a command or a piece of work costs: user and system CPU, wall time, peak memory."""

from __future__ import annotations

import ctypes
import os
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

PR_SET_CHILD_SUBREAPER = 36
"""Linux: orphans of a command come to us, so that what its helpers used is counted too."""


@dataclass(frozen=True)
class Cost:
    """Fields: cpu, user and system together [s]; wall [s]; peak resident memory [byte]; status,
    the command's exit code."""

    cpu: float
    wall: float
    memory: int
    status: int


def command_cost(command: Sequence[str], folder: Path, environment: dict[str, str]) -> Cost:
    """Cost of a command with everything it starts, helpers that outlive it included.

    A child of ours runs it, takes in what is orphaned, and reports its children's use. `memory`
    is the largest of any single process. Linux only.
    """
    here, there = os.pipe()
    started = time.monotonic()
    child = os.fork()
    if child == 0:
        os.close(here)
        _measure(command, folder, environment, there)
    os.close(there)
    with os.fdopen(here) as pipe:
        told = pipe.read().split()
    os.waitpid(child, 0)
    if len(told) != 3:
        raise RuntimeError(f"could not measure {command[0]}")
    wall = time.monotonic() - started
    return Cost(float(told[0]), wall, int(told[1]) * 1024, int(told[2]))


def _measure(command: Sequence[str], folder: Path, environment: dict[str, str], pipe: int) -> None:
    import resource

    status = 127
    try:
        if sys.platform == "linux":
            ctypes.CDLL(None).prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0)
        first = os.fork()
        if first == 0:
            os.chdir(folder)
            silent = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(silent, stream)
            os.execvpe(command[0], list(command), environment)
        while True:
            try:
                ended, code = os.wait()
            except ChildProcessError:
                break
            if ended == first:
                status = os.waitstatus_to_exitcode(code)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        said = f"{used.ru_utime + used.ru_stime} {used.ru_maxrss} {status}"
        os.write(pipe, said.encode())
    finally:
        os._exit(0)


@dataclass
class Spent:
    """CPU [s] and wall time [s] of a piece of work in this process, engine workers not included."""

    cpu: float = 0.0
    wall: float = 0.0


@contextmanager
def spent() -> Iterator[Spent]:
    """Count what the work inside costs this process, all its threads together."""
    told = Spent()
    wall, cpu = time.monotonic(), time.process_time()
    yield told
    told.cpu, told.wall = time.process_time() - cpu, time.monotonic() - wall
