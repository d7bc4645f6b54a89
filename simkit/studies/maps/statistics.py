"""What a sample of cases says: probabilities with their intervals, and what matters most.

Intervals: Wilson's, from scipy.stats (E. B. Wilson, 1927, recalled from memory). They hold for
independent cases; for a Sobol or Latin hypercube sample, which fills the space more evenly, they
are on the wide side. Sensitivity: Sobol indices by scipy.stats.sobol_indices (the estimators of
Saltelli and others, 2010) on a smooth model through the cases, and Spearman's rank correlation.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LEVEL = 0.95
"""Confidence of every interval [1]."""
INDEX_SAMPLE = 2048
"""Base sample of the Sobol indices [1]."""
LEAST_CASES = 3
"""Cases per parameter that a smooth model through them needs at least [1]."""


@dataclass(frozen=True)
class Probability:
    """How often a limit is exceeded; undecided cases count either way in the interval."""

    over: int
    undecided: int
    cases: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """Share of all cases that are over [1]."""
        return self.over / self.cases


@dataclass(frozen=True)
class Importance:
    """What one parameter does to a figure; shares of its variance [1]."""

    name: str
    first_order: float | None
    """By itself."""
    total: float | None
    """With all its interactions."""
    rank_correlation: float | None
    """Spearman's, from -1 to 1."""


def probability(over: int, undecided: int, cases: int) -> Probability:
    """Probability of a limit being exceeded, with its interval.

    The low end takes every undecided case as within the limit, the high end as over it.
    """
    from scipy.stats import binomtest

    low = binomtest(over, cases).proportion_ci(LEVEL, method="wilson").low
    high = binomtest(over + undecided, cases).proportion_ci(LEVEL, method="wilson").high
    return Probability(over, undecided, cases, float(low), float(high))


def importance(names: Sequence[str], points: Array, values: Array) -> tuple[Importance, ...]:
    """What matters to a figure, from its values at points of the unit cube; NaN are left out."""
    use = np.isfinite(values)
    inside, known = points[use], values[use]
    if len(known) < LEAST_CASES * points.shape[1] + 2 or np.ptp(known) == 0.0:
        return tuple(Importance(name, None, None, None) for name in names)
    ranks = _ranks(inside, known)
    first, total = indices(smooth(inside, known), points.shape[1])
    return tuple(
        Importance(name, float(first[k]), float(total[k]), float(ranks[k]))
        for k, name in enumerate(names)
    )


def _ranks(points: Array, values: Array) -> list[float]:
    from scipy.stats import spearmanr

    return [float(spearmanr(points[:, k], values).statistic) for k in range(points.shape[1])]


def smooth(points: Array, values: Array) -> Callable[[Array], Array]:
    """A smooth function through values at points: thin-plate splines on a linear trend."""
    from scipy.interpolate import RBFInterpolator

    make: Any = RBFInterpolator  # its annotation knows no points of unknown shape
    found = make(points, values, kernel="thin_plate_spline", degree=1,
                 neighbors=min(len(points), 120), smoothing=1e-9)  # fmt: skip
    return lambda wanted: np.asarray(found(wanted), dtype=float)


def indices(function: Callable[[Array], Array], count: int) -> tuple[Array, Array]:
    """First-order and total Sobol indices of a function on the unit cube, rows being points."""
    from scipy.stats import sobol_indices, uniform

    found = sobol_indices(
        func=lambda x: function(np.atleast_2d(x.T))[None, :],
        n=INDEX_SAMPLE,
        dists=cast(Any, [uniform()] * count),
        rng=np.random.default_rng(7),
    )
    return np.ravel(found.first_order), np.ravel(found.total_order)
