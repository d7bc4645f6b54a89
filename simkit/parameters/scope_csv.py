"""Plain columns "time, volts" of a scope: read with a size limit, judged line by line."""

from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.columns import MOST_SAMPLES, lines_of, wrong

HEADER = 40
"""Lines without numbers that may stand before the first sample."""
LEAST = 16
"""Samples below which nothing can be said of a ringing."""


@dataclass(frozen=True)
class Trace:
    """Samples of one channel."""

    time: NDArray[np.float64]
    """[s]"""
    volts: NDArray[np.float64]
    """[V]"""


def read_trace(path: Path) -> Trace:
    """Read a trace: two columns, time [s] and voltage [V], times rising.

    Columns are parted by comma, semicolon, tab or blanks, decimals have points. Up to `HEADER`
    lines without numbers may come first. Errors: InputError with file and line.
    """
    rows = _rows(path)
    if len(rows) < LEAST:
        raise wrong(path, None, f"has {len(rows)} samples; at least {LEAST} are needed")
    table = np.array(rows)
    steps = np.flatnonzero(np.diff(table[:, 1]) <= 0.0)
    if len(steps):
        raise wrong(path, int(table[steps[0] + 1, 0]), "time does not rise from line to line")
    return Trace(time=table[:, 1], volts=table[:, 2])


def _rows(path: Path) -> list[tuple[float, float, float]]:
    """Line number, time and volts of every sample."""
    rows: list[tuple[float, float, float]] = []
    for number, line in enumerate(lines_of(path), 1):
        pair = _pair(line)
        if pair is not None:
            rows.append((float(number), *pair))
        elif line.strip() and (rows or number > HEADER):
            rule = "is not a sample: two numbers, time in s and voltage in V, with decimal points"
            raise wrong(path, number, rule, line.strip()[:60])
        if len(rows) > MOST_SAMPLES:
            raise wrong(path, number, f"has more than {MOST_SAMPLES} samples")
    return rows


def _pair(line: str) -> tuple[float, float] | None:
    parts = line.replace(",", " ").replace(";", " ").split()
    if len(parts) != 2:
        return None
    try:
        time, volts = (float(p) for p in parts)
    except ValueError:
        return None
    return (time, volts) if isfinite(time) and isfinite(volts) else None
