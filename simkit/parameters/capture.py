"""A scope's export of up to four channels over time: columns of numbers under any header."""

import re
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.columns import MOST_SAMPLES, lines_of, wrong

HEADER = 100
"""Lines without samples that may stand before the first one."""
MOST_CHANNELS = 4
LEAST = 64
"""Samples below which no reading is taken [1]."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Columns:
    """What a file holds: time and channels, in the file's own units."""

    time: Array
    channels: tuple[Array, ...]
    """A value that the file leaves empty is NaN."""


def read_columns(path: Path) -> Columns:
    """Read a capture: time first, then up to four channels.

    Columns are parted by comma, semicolon, tab or blanks; where semicolons or tabs part them a
    number may have a decimal comma. Whatever stands before the first sample is a header.
    Errors: InputError with file and line.
    """
    rows: list[tuple[int, list[float]]] = []
    for number, line in enumerate(lines_of(path), 1):
        row = _numbers(line)
        if row is not None and (not rows or len(row) == len(rows[0][1])):
            rows.append((number, row))
        elif line.strip() and (rows or number > HEADER):
            rule = "is no sample: time and up to four channels, as many as in the lines before"
            raise wrong(path, number, rule, line.strip()[:60])
        if len(rows) > MOST_SAMPLES:
            raise wrong(path, number, f"has more than {MOST_SAMPLES} samples")
    if len(rows) < LEAST:
        raise wrong(path, None, f"has {len(rows)} samples; at least {LEAST} are needed")
    table = np.array([row for _, row in rows])
    back = np.flatnonzero(np.diff(table[:, 0]) <= 0.0)
    if len(back):
        raise wrong(path, rows[back[0] + 1][0], "time does not rise from line to line")
    return Columns(table[:, 0], tuple(table[:, k] for k in range(1, table.shape[1])))


def _numbers(line: str) -> list[float] | None:
    """Time and channels of a line; None when it is no sample."""
    if ";" in line or "\t" in line:
        parts = [p.strip().replace(",", ".") for p in re.split(r"[;\t]", line.strip("; \t\r"))]
    elif "," in line:
        parts = [p.strip() for p in line.strip().rstrip(",").split(",")]
    else:
        parts = line.split()
    if not 2 <= len(parts) <= MOST_CHANNELS + 1:
        return None
    try:
        row = [float(p) if p else float("nan") for p in parts]
    except ValueError:
        return None
    return row if isfinite(row[0]) and not any(np.isinf(row)) else None
