"""A measured quantity over the cycles of a run: what a judge looks at."""

from dataclasses import dataclass

import numpy as np

from simkit.measure.waveforms import Array


@dataclass(frozen=True)
class Series:
    """One quantity of one part, a value per cycle or per transition."""

    part: str
    quantity: str
    unit: str
    times: Array
    """[s]"""
    values: Array

    @property
    def worst(self) -> tuple[float, float]:
        """Largest value and its time [s]; nan when nothing was measured."""
        if len(self.values) == 0 or not np.isfinite(self.values).all():
            return float("nan"), float("nan")
        k = int(np.argmax(self.values))
        return float(self.values[k]), float(self.times[k])

    def first_above(self, bound: float) -> float | None:
        """First time at which the value exceeds a bound [s], None when it never does."""
        over = np.flatnonzero(self.values > bound)
        return float(self.times[over[0]]) if len(over) else None


def joined(pieces: list[Series]) -> Series:
    """One series from pieces of the same quantity and part, in the order of time."""
    times = np.concatenate([p.times for p in pieces])
    values = np.concatenate([p.values for p in pieces])
    order = np.argsort(times, kind="stable")
    first = pieces[0]
    return Series(first.part, first.quantity, first.unit, times[order], values[order])
