"""What is costly to make and only read: made by the first worker that asks, found by the rest."""

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

import pytest


def shared_by_all(factory: pytest.TempPathFactory) -> Path:
    """The folder above those of the workers of this run."""
    base = factory.getbasetemp()
    return base.parent if "PYTEST_XDIST_WORKER" in os.environ else base


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """A folder that all workers of this run share, filled by whichever comes first.

    A maker that fails leaves no mark, so that the next worker tries, and fails, itself.
    """
    shared = shared_by_all(factory)
    folder, done = shared / name, shared / f"{name}.done"
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            folder.mkdir()
            make(folder)
            done.touch()
    return folder
