"""Plain `ngspice -b` on a deck: the yardstick of every ratio."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.cost import Cost, command_cost
from simkit.circuit.netlist import Deck
from simkit.measure.waveforms import Array

MISSING = (
    "the benchmarks compare with the plain `ngspice` program, which is not there; "
    "install it (Debian and Ubuntu: apt-get install ngspice) and run this again"
)


class NoProgram(Exception):
    """The plain program is missing; the text says how to get it."""


class Unfinished(Exception):
    """A plain run did not reach its end."""


@dataclass(frozen=True)
class PlainRun:
    """Vectors by lower-case name and what the run cost."""

    vectors: dict[str, Array]
    cost: Cost


def find_program() -> str:
    """The plain program; NoProgram when it is not there."""
    found = shutil.which("ngspice")
    if found is None:
        raise NoProgram(MISSING)
    return found


@contextmanager
def plain_run(deck: Deck) -> Iterator[PlainRun]:
    """Run a deck in plain `ngspice -b`; the raw file lives as long as the context.

    Errors: NoProgram; Unfinished when the run stopped early.
    """
    program = find_program()
    with tempfile.TemporaryDirectory(prefix="simkit-bench-") as name:
        folder = Path(name)
        (folder / "deck.cir").write_text(deck.text, encoding="utf-8")
        command = [program, "-n", "-b", "-r", "out.raw", "deck.cir"]
        cost = command_cost(command, folder, dict(os.environ))
        yield PlainRun(_finished(folder / "out.raw", deck), cost)


def _finished(path: Path, deck: Deck) -> dict[str, Array]:
    if not path.exists():
        raise Unfinished("no raw file")
    vectors = raw_vectors(path)
    time = vectors["time"]
    if not len(time) or time[-1] < deck.stop * (1.0 - 1e-6):
        raise Unfinished(f"stopped at {time[-1] if len(time) else 0.0:.4g} s of {deck.stop:.4g} s")
    return vectors


def raw_vectors(path: Path) -> dict[str, Array]:
    """Vectors of a binary raw file, by lower-case name as the decks save them.

    The table is mapped, not read: a long fine run has gigabytes.
    """
    with path.open("rb") as file:
        header = b""
        while not header.endswith(b"Binary:\n"):
            line = file.readline()
            if not line:
                raise Unfinished("no points in the raw file")
            header += line
        start = file.tell()
    lines = header.decode().splitlines()
    count = int(next(x for x in lines if x.startswith("No. Variables")).split(":")[1])
    first = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[first : first + count]]
    rows = (path.stat().st_size - start) // (8 * count)
    if rows == 0:
        return {name: np.zeros(0) for name in names}
    table = np.memmap(path, dtype="<f8", mode="r", offset=start, shape=(rows, count))
    return {
        name.removeprefix("i(").removesuffix(")") if name.startswith("i(@") else name: table[:, k]
        for k, name in enumerate(names)
    }
