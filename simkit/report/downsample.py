"""Waveforms small enough for a page: an overview that keeps every peak, and windows in full.

Overview: the time span in equal bins, lowest and highest value of each, so that a spike of a
single sample is still drawn at its height. Values are stored in 65 536 steps of their own span
(a span of 400 V in steps of 6 mV): for the eye only, the figures come from the full data.
"""

import base64
import gzip
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simkit.measure.waveforms import Array
from simkit.report.view import Record

Steps = NDArray[np.uint16]
LEVELS = 65535
TICK = 1e-12
"""Resolution of the stored time axis [s]."""
GAP = 1e-6
"""Samples further apart than this have a gap between them: the engine steps far finer [s]."""


def minmax(time: Array, values: Array, bins: int, gap: float = float("inf")) -> tuple[Array, Array]:
    """Lowest and highest value in each of some equal bins of the time span.

    Every sample falls in exactly one bin, so the extremes of the whole are kept exactly. A bin
    without a sample takes the straight line between its neighbours; where these lie further
    apart than `gap` [s], nothing is known and the bin is nan.
    """
    edges = np.linspace(time[0], time[-1], bins + 1)
    first = np.searchsorted(time, edges[:-1], side="left")
    last = np.append(first[1:], len(time))
    full = last > first
    low = np.interp(0.5 * (edges[1:] + edges[:-1]), time, values)
    empty = np.flatnonzero(~full)
    after = np.clip(first[empty], 1, len(time) - 1)
    low[empty[time[after] - time[after - 1] > gap]] = np.nan
    high = low.copy()
    # Empty bins lie between full ones: skipping them leaves each full bin's samples contiguous.
    low[full] = np.minimum.reduceat(values, first[full])
    high[full] = np.maximum.reduceat(values, first[full])
    return low, high


def quantised(values: Array) -> tuple[Steps, float, float]:
    """Values as whole steps, with the lowest value and the step: values = lowest + steps * step."""
    low, high = float(values.min()), float(values.max())
    step = (high - low) / LEVELS if high > low else 1.0
    return np.round((values - low) / step).astype(np.uint16), low, step


def packed(columns: Sequence[NDArray[np.unsignedinteger]]) -> str:
    """Columns as differences, compressed, as text; the same data always gives the same text."""
    parts = [np.diff(c, prepend=c.dtype.type(0)).astype(c.dtype) for c in columns]
    raw = b"".join(p.astype(p.dtype.newbyteorder("<")).tobytes() for p in parts)
    return base64.b64encode(gzip.compress(raw, 9, mtime=0)).decode("ascii")


@dataclass(frozen=True)
class Packed:
    """One record ready for the page."""

    title: str
    start: float
    """[s]"""
    end: float
    """[s]"""
    count: int
    scales: tuple[tuple[float, float], ...]
    """Lowest value and step of every trace."""
    data: str


def overview(record: Record, bins: int) -> Packed:
    """A record as lowest and highest value per bin: two columns per trace.

    A bin about which nothing is known has its lowest value above its highest.
    """
    columns, scales = [], []
    for trace in record.traces:
        low, high = minmax(record.time, trace.values, bins, GAP)
        _, base, step = quantised(trace.values)
        scales.append((base, step))
        unknown = np.isnan(low)
        for values, mark in ((low, LEVELS), (high, 0)):
            shown = np.where(unknown, base, values)
            steps = np.round((shown - base) / step).astype(np.uint16)
            columns.append(np.where(unknown, np.uint16(mark), steps))
    start, end = float(record.time[0]), float(record.time[-1])
    return Packed(record.title, start, end, bins, tuple(scales), packed(columns))


def window(record: Record) -> Packed:
    """A record at full rate: the time axis in picoseconds, then a column per trace."""
    start, end = float(record.time[0]), float(record.time[-1])
    axis = np.round((record.time - start) / TICK).astype(np.uint32)
    columns: list[NDArray[np.unsignedinteger]] = [axis]
    scales = []
    for trace in record.traces:
        steps, low, step = quantised(trace.values)
        columns.append(steps)
        scales.append((low, step))
    return Packed(record.title, start, end, len(axis), tuple(scales), packed(columns))


def within_budget(records: Sequence[Record], budget: int) -> list[Packed]:
    """Records at full rate, in order, as long as their texts fit a budget [byte] together."""
    out: list[Packed] = []
    for record in records:
        item = window(record)
        if sum(len(p.data) for p in out) + len(item.data) > budget:
            continue
        out.append(item)
    return out
