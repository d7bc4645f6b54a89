"""A map: cases drawn, worked out by the calibrated fast model, verified by circuit runs.

The first cases of the sample are run in full; they calibrate the fast model (calibrate.py). Then
every case that is near a limit, or unknown, is run in full, until no such case is left; and at
least one case in twenty of the others, drawn at random, to see whether the fast model told right.
`full` runs every case in full.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from simkit.run.cache import Store
from simkit.run.pool import Executor, collect
from simkit.studies.maps.calibrate import Predicted, predict
from simkit.studies.maps.cases import case_of, key_of, work
from simkit.studies.maps.space import Array, Space, draw

VERIFIED = 0.05
"""Least share of all cases that are verified by circuit runs [1]."""
FIRST = 4
"""Cases run in full at the start for each parameter, and one more [1]."""
ROUNDS = 6
"""How often the calibration is renewed before what is still near is run as it is [1]."""
SHARE = 0.6
"""Share of the progress that is kept for circuit runs [1]."""


@dataclass(frozen=True)
class Point:
    """One case of a map.

    Fields: values of the axes; outcome; ratios: share of each limit [1], None where not known;
    over, near: quantities over their limit, and those that could not be told; method: "circuit
    run" or "fast model"; reason, of a circuit run.
    """

    units: tuple[float, ...]
    values: tuple[float, ...]
    outcome: str
    ratios: Mapping[str, float | None]
    over: tuple[str, ...]
    near: tuple[str, ...]
    method: str
    reason: str = ""

    @property
    def worst(self) -> float:
        """Largest share of a limit [1]; NaN when none is known."""
        known = [r for r in self.ratios.values() if r is not None]
        return max(known, default=float("nan"))


@dataclass(frozen=True)
class Checked:
    """How the fast model did on cases that were not near a limit, drawn at random."""

    cases: int
    wrong: int
    spreads: Mapping[str, float]
    """Spread of each quantity's calibration, as a share [1]."""


@dataclass(frozen=True)
class Mapped:
    """A finished map."""

    space: Space
    sample: str
    points: tuple[Point, ...]
    checked: Checked | None
    """None when every case was run in full."""


@dataclass
class Mapper:
    """Works cases of one space, through a pool and a store."""

    space: Space
    executor: Executor | None = None
    store: Store | None = None
    progress: Any = None
    _shown: float = field(default=0.0)

    def run(self, sample: str, cases: int, full: bool = False) -> Mapped:
        """Draw and work a whole map."""
        units = draw(self.space, sample, cases)
        everything = range(len(units))
        if full:
            found = self.work(units, everything, "full", 0.0, 1.0)
            return Mapped(self.space, sample, self._told(units, found, {}), None)
        fast = self.work(units, everything, "fast", 0.0, 1.0 - SHARE)
        rows = [fast[k] for k in everything]
        found, predicted = self._calibrated(units, rows)
        spare = np.array([k for k in everything if k not in found], dtype=int)
        checked = self._verify(units, found, predicted, spare)
        return Mapped(self.space, sample, self._told(units, found, predicted), checked)

    def _calibrated(
        self, units: Array, fast: list[Any]
    ) -> tuple[dict[int, Any], dict[str, Predicted]]:
        """Circuit runs until every case is told clearly or run in full."""
        count = len(units)
        first = min(count, max(int(np.ceil(VERIFIED * count)), FIRST * len(self.space.axes) + 1))
        found = self.work(units, range(first), "full", 1.0 - SHARE, 1.0 - 0.7 * SHARE)
        predicted = predict(units, fast, found)
        for k in range(ROUNDS):
            wanted = [c for c in unclear(predicted, count) if c not in found]
            if not wanted:
                break
            # Half of them teach the calibration where it matters; then look again.
            some = wanted if k == ROUNDS - 1 or len(wanted) < 8 else wanted[::2]
            low = self._shown
            found |= self.work(units, some, "full", low, low + 0.5 * (0.97 - low))
            predicted = predict(units, fast, found)
        return found, predicted

    def _verify(
        self, units: Array, found: dict[int, Any], predicted: Mapping[str, Predicted], spare: Any
    ) -> Checked:
        """Circuit runs of some cases that the fast model told clearly."""
        some = int(np.ceil(VERIFIED * len(units)))
        picked = np.random.default_rng(11).permutation(spare)[:some].tolist()
        before = {k: _predicted_over(predicted, k) for k in picked}
        fresh = self.work(units, picked, "full", 0.97, 1.0)
        wrong = sum(set(before[k]) != set(_over(fresh[k])) for k in picked)
        found |= fresh
        return Checked(len(picked), wrong, {q: p.spread for q, p in predicted.items()})

    def work(
        self, units: Array, which: Iterable[int], level: str, low: float, high: float
    ) -> dict[int, Any]:
        """Results of some cases, by their number; those in the store are not worked again."""
        keys: dict[str, list[int]] = {}
        cases = {}
        for k in which:
            case = case_of(*self.space.at(self.space.values(units[k])), level)
            key = key_of(case)
            cases[key] = case
            keys.setdefault(key, []).append(k)

        def show(share: float) -> None:
            self._shown = low + share * (high - low)
            if self.progress:
                self.progress(self._shown)

        found = {}
        for key, result in collect(cases, work, self.store, self.executor, show):
            for k in keys[key]:
                found[k] = result
        return found

    def _told(
        self, units: Array, found: Mapping[int, Any], predicted: Mapping[str, Predicted]
    ) -> tuple[Point, ...]:
        return tuple(
            full_point(self.space, units[k], found[k])
            if k in found
            else fast_point(self.space, units[k], k, predicted)
            for k in range(len(units))
        )


def unclear(predicted: Mapping[str, Predicted], count: int) -> list[int]:
    """Cases with a quantity near its limit, or unknown."""
    if not predicted:
        return list(range(count))
    near = np.any([p.near for p in predicted.values()], axis=0)
    return [int(k) for k in np.flatnonzero(near)]


def _over(row: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(q for q, r in row["limits"].items() if r["status"] == "over")


def _predicted_over(predicted: Mapping[str, Predicted], k: int) -> tuple[str, ...]:
    return tuple(q for q, p in predicted.items() if p.ratio[k] > 1.0)


def full_point(space: Space, units: Array, row: Mapping[str, Any]) -> Point:
    """A case as its circuit run told it."""
    near = tuple(q for q, r in row["limits"].items() if r["status"] in ("near", "not_evaluated"))
    plain = tuple(float(u) for u in units)
    return Point(
        plain, space.values(plain), row["outcome"],
        {q: r["ratio"] for q, r in row["limits"].items()}, _over(row), near, "circuit run",
        row["reason"],
    )  # fmt: skip


def fast_point(space: Space, units: Array, k: int, predicted: Mapping[str, Predicted]) -> Point:
    """A case as the calibrated fast model told it: clear of every limit by its spread.

    No verdict where it is not clear of one, where one is unknown, or where nothing was predicted:
    the last renewal of the calibration may leave such a case behind.
    """
    plain = tuple(float(u) for u in units)
    near = tuple(q for q, p in predicted.items() if p.near[k])
    over = tuple(q for q in _predicted_over(predicted, k) if q not in near)
    clear = "within_limits" if predicted and not near else "no_verdict"
    ratios = {q: float(p.ratio[k]) if np.isfinite(p.ratio[k]) else None
              for q, p in predicted.items()}  # fmt: skip
    outcome = "over_limit" if over else clear
    return Point(plain, space.values(plain), outcome, ratios, over, near, "fast model")
