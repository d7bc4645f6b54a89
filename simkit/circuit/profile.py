"""Values over time that change along smooth curves, and their break points for a deck."""

from dataclasses import dataclass, field
from math import cos, pi

import numpy as np
from numpy.typing import NDArray

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

    def along(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values at times [s]."""
        return np.array([self.at(t) for t in times.tolist()])

    @property
    def steepest(self) -> float:
        """Largest rate of change, per second; a raised cosine's is pi/2 times its mean."""
        rates = [0.0]
        for change in self.changes:
            steps = np.diff(change.course) * (len(change.course) - 1) if change.course else ()
            span = abs(change.after - change.before) * 0.5 * pi
            rates.append(float(np.max(np.abs(steps), initial=span)) / (change.end - change.start))
        return max(rates)

    def points(self, origin: float, stop: float) -> list[tuple[float, float]]:
        """Break points (time since origin, value) from origin to stop, times rising strictly."""
        times = {origin, stop}
        for change in self.changes:
            times.update(np.linspace(change.start, change.end, self.segments + 1).tolist())
        inside = sorted(t for t in times if origin <= t <= stop)
        return [(t - origin, self.at(t)) for t in inside]


@dataclass(frozen=True)
class Followed(Profile):
    """A value that was worked out along the way: straight between `times` [s], flat outside."""

    times: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1), compare=False)
    values: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1), compare=False)

    @property
    def constant(self) -> bool:
        """Never: a loop moves it."""
        return False

    @property
    def last(self) -> float:
        """Value at the end."""
        return float(self.values[-1])

    @property
    def steepest(self) -> float:
        """Largest rate of change."""
        return float(np.max(np.abs(np.diff(self.values)) / np.diff(self.times)))

    def at(self, time: float) -> float:
        """Value at a time [s]."""
        return float(np.interp(time, self.times, self.values))

    def along(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values at times [s]."""
        return np.interp(times, self.times, self.values)

    def points(self, origin: float, stop: float) -> list[tuple[float, float]]:
        """Break points (time since origin, value) from origin to stop."""
        inside = self.times[(self.times > origin) & (self.times < stop)].tolist()
        return [(t - origin, self.at(t)) for t in (origin, *inside, stop)]
