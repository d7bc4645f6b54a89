"""A deck through plain `ngspice -b`, within limits of time; nothing of simkit's engine door."""

from __future__ import annotations

import resource
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LIMIT = 150.0
"""CPU time one run may take [s]."""
FILE_LIMIT = 4_000_000_000


class PlainFailed(Exception):
    """The plain program gave no whole answer; the text says how it ended."""


@dataclass(frozen=True)
class PlainRun:
    """Saved vectors by lower-case name, `time` among them, and the CPU it took [s]."""

    vectors: Mapping[str, Array]
    seconds: float


def _limits() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (int(LIMIT), int(LIMIT) + 5))
    resource.setrlimit(resource.RLIMIT_FSIZE, (FILE_LIMIT, FILE_LIMIT))


def plain_run(text: str, stop: float) -> PlainRun:
    """Run a deck that ends at a time [s]; PlainFailed when it does not get there."""
    program = shutil.which("ngspice")
    if program is None:
        raise PlainFailed("the plain ngspice program is not there")
    with tempfile.TemporaryDirectory(prefix="simkit-random-") as name:
        folder = Path(name)
        (folder / "deck.cir").write_text(text, encoding="utf-8")
        command = [program, "-n", "-b", "-r", "out.raw", "deck.cir"]
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        try:
            told = subprocess.run(
                command, cwd=folder, capture_output=True, text=True, errors="replace",
                timeout=3.0 * LIMIT, preexec_fn=_limits, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            raise PlainFailed("took too long") from None
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        said = _first_error(told.stdout + told.stderr)
        vectors = read_raw(folder / "out.raw")
        reached = float(vectors["time"][-1]) if len(vectors.get("time", ())) else 0.0
        if reached < stop * (1.0 - 1e-6):
            raise PlainFailed(f"stopped at {reached:.4g} s of {stop:.4g} s: {said}")
        return PlainRun(vectors, after.ru_utime + after.ru_stime - before.ru_utime
                        - before.ru_stime)  # fmt: skip


def _first_error(text: str) -> str:
    words = ("error", "too small", "aborted", "singular")
    found = [x.strip() for x in text.splitlines() if any(w in x.lower() for w in words)]
    return found[0][:160] if found else "nothing said"


def read_raw(path: Path) -> dict[str, Array]:
    """Vectors of a binary raw file as they came; empty without a table."""
    data = path.read_bytes() if path.exists() else b""
    head, mark, body = data.partition(b"Binary:\n")
    if not mark:
        return {}
    lines = head.decode(errors="replace").splitlines()
    first = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[first:] if line.strip()]
    rows = len(body) // (8 * len(names))
    table = np.frombuffer(body, "<f8", rows * len(names)).reshape(rows, len(names))
    return {_bare(name): np.ascontiguousarray(table[:, k]) for k, name in enumerate(names)}


def _bare(name: str) -> str:
    """Device vectors come as i(@x[id]); the decks save them as @x[id]."""
    return name[2:-1] if name.startswith("i(@") else name
