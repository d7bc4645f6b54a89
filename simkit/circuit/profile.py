"""Values over time that change along smooth curves, and their break points for a deck."""

from dataclasses import dataclass
from math import cos, pi

import numpy as np

SEGMENTS = 48
"""Straight pieces per smooth change; the largest error of a raised cosine is then 5e-4 of it."""


@dataclass(frozen=True)
class Change:
    """A smooth change from one value to another between two times [s]."""

    start: float
    end: float
    before: float
    after: float
    course: tuple[float, ...] = ()
    """Values at equal steps from start to end; none: a raised cosine, flat at both ends."""

    def at(self, time: float) -> float:
        """Value at a time [s]."""
        share = min(max((time - self.start) / (self.end - self.start), 0.0), 1.0)
        if self.course:
            steps = range(len(self.course))
            return float(np.interp(share * steps[-1], steps, self.course))
        return self.before + (self.after - self.before) * 0.5 * (1.0 - cos(pi * share))


@dataclass(frozen=True)
class Profile:
    """A value over time: constant but for some changes that do not overlap."""

    first: float
    changes: tuple[Change, ...] = ()
    segments: int = SEGMENTS
    """Straight pieces per change [1]; every corner stops the engine's stride."""

    @property
    def constant(self) -> bool:
        """Whether nothing ever changes."""
        return not self.changes

    @property
    def last(self) -> float:
        """Value after all changes."""
        return self.changes[-1].after if self.changes else self.first

    def at(self, time: float) -> float:
        """Value at a time [s]."""
        for change in reversed(self.changes):
            if time >= change.start:
                return change.at(time)
        return self.first

    def points(self, origin: float, stop: float) -> list[tuple[float, float]]:
        """Break points (time since origin, value) from origin to stop, times rising strictly."""
        times = {origin, stop}
        for change in self.changes:
            times.update(np.linspace(change.start, change.end, self.segments + 1).tolist())
        inside = sorted(t for t in times if origin <= t <= stop)
        return [(t - origin, self.at(t)) for t in inside]
