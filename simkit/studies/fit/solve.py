"""Least squares of a machine's uncertain values against readings, tolerances as priors.

Unknowns are whitened logarithms z (theta = root z, root root' the prior covariance), so that the
prior adds |z|^2. What the readings add is read off the singular values of the whitened Jacobian:
above one, a direction is told by the readings rather than by the tolerances. The posterior is
linearised: cov z = (1 + J'J)^-1 (Gauss-Newton; Tarantola, Inverse Problem Theory, SIAM 2005,
section 3.4, recalled from memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from simkit.parameters.machine import Machine
from simkit.scout.bench import Setting, fast_readings
from simkit.studies.inputs.uncertain_values import Array, Uncertain, prior_covariance, scaled

ADDED = frozenset({"phase", "heatsink"})
"""Readings whose correction adds; the others' multiplies."""
STEP = 0.02
"""Step of a whitened unknown for the Jacobian, in standard deviations [1]."""
FAINT = 0.1
STEPS = 25
"""Most evaluations of one descent [1]."""
STARTS = 6
"""Further starts when the first ends far from the readings [1]."""


@dataclass(frozen=True)
class Observation:
    """One reading as the fit sees it; value and deviation in the reading's unit."""

    key: str
    """Where it stands in the readings file."""
    name: str
    value: float
    deviation: float
    """Standard deviation."""
    setting: Setting


@dataclass(frozen=True)
class Problem:
    """Readings against a machine; corrections make the fast model agree with circuit runs."""

    machine: Machine
    chosen: tuple[Uncertain, ...]
    observations: tuple[Observation, ...]
    corrections: Array = field(default_factory=lambda: np.zeros(0))
    """Circuit over fast model, or their difference for `ADDED`, one an observation."""

    def fast(self, logs: Array) -> Array:
        """Fast model's reading for every observation, uncorrected; nan where it tells none."""
        return predicted(scaled(self.machine, self.chosen, logs), self.observations)

    def model(self, logs: Array) -> Array:
        """The same, corrected."""
        raw = self.fast(logs)
        if not len(self.corrections):
            return raw
        added = np.array([o.name in ADDED for o in self.observations])
        return np.where(added, raw + self.corrections, raw * self.corrections)

    def corrected(self, circuit: Array, logs: Array) -> "Problem":
        """With corrections from circuit readings at some values."""
        raw = self.fast(logs)
        added = np.array([o.name in ADDED for o in self.observations])
        return replace(self, corrections=np.where(added, circuit - raw, circuit / raw))

    def without(self, dropped: set[int]) -> "Problem":
        """Without some observations, by place."""
        keep = [k for k in range(len(self.observations)) if k not in dropped]
        some = self.corrections[keep] if len(self.corrections) else self.corrections
        return replace(self, observations=tuple(self.observations[k] for k in keep),
                       corrections=some)  # fmt: skip


def predicted(machine: Machine, observations: Sequence[Observation]) -> Array:
    """Fast model's readings on a machine, each setting worked out once; nan where there is none."""
    names: dict[Setting, set[str]] = {}
    for seen in observations:
        names.setdefault(seen.setting, set()).add(seen.name)
    known = {at: fast_readings(machine, at, frozenset(some)) for at, some in names.items()}
    return np.array([known[s.setting].get(s.name, float("nan")) for s in observations])


def influential(problem: Problem) -> tuple[Uncertain, ...]:
    """The uncertain values that any of the readings depend on, by the fast model.

    Left out is what moves no reading by as much as `FAINT` of its deviation when it goes to the
    end of its tolerance.
    """
    base = problem.fast(np.zeros(len(problem.chosen)))
    deviation = np.array([o.deviation for o in problem.observations])
    kept = []
    for k, value in enumerate(problem.chosen):
        logs = np.zeros(len(problem.chosen))
        logs[k] = value.tolerance
        moved = np.abs(problem.fast(logs) - base) / deviation
        if not np.isfinite(moved).all() or float(moved.max()) > FAINT:
            kept.append(value)
    return tuple(kept)


@dataclass(frozen=True)
class Solution:
    """Where the least squares ended.

    Fields: logs of the values over the file's [1]; covariance of the logs; prior covariance;
    jacobian of the whitened residuals by whitened unknowns; residuals (read less modelled, in
    standard deviations); singular values of the jacobian; leverage of each observation.
    """

    logs: Array
    covariance: Array
    prior: Array
    jacobian: Array
    residuals: Array
    singular: Array
    leverage: Array

    @property
    def chi_square(self) -> float:
        """Squared misfit of readings and priors together; expected: the number of readings."""
        inverse = np.linalg.pinv(self.prior)
        return float(self.residuals @ self.residuals + self.logs @ inverse @ self.logs)

    @property
    def left(self) -> Array:
        """Share of each value's prior uncertainty that is left [1]."""
        return np.sqrt(np.diag(self.covariance) / np.diag(self.prior))


def solve(
    problem: Problem,
    start: Array | None = None,
    starts: int = STARTS,
    steps: int = STEPS,
    seed: int = 1,
) -> Solution:
    """Values that readings and tolerances together make likeliest.

    Started from the file's values, and from some random ones besides when the first end is
    further from the readings than chance allows. Raises ValueError for readings the model cannot
    tell anything about.
    """
    prior = prior_covariance(problem.machine, problem.chosen)
    root: Array = np.asarray(np.linalg.cholesky(prior + 1e-12 * np.eye(len(prior))), dtype=float)
    first = np.zeros(len(prior)) if start is None else np.linalg.solve(root, start).astype(float)
    found = _descend(problem, root, first, steps)
    if found.chi_square > 3.0 * len(problem.observations) + 10.0:
        chance = np.random.default_rng(seed)
        others = [_descend(problem, root, chance.standard_normal(len(prior)), steps)
                  for _ in range(starts)]  # fmt: skip
        found = min((found, *others), key=lambda s: s.chi_square)
    return found


def _descend(problem: Problem, root: Array, start: Array, steps: int) -> Solution:
    from scipy.optimize import least_squares

    deviation = np.array([o.deviation for o in problem.observations])
    value = np.array([o.value for o in problem.observations])

    def gaps(z: Array) -> Array:
        out = (value - problem.model(root @ z)) / deviation
        # A reading that the model loses on the way (a ringing that dies out) pulls back firmly.
        return np.where(np.isfinite(out), out, 30.0)

    def slope(z: Array) -> Array:
        return jacobian(gaps, z)

    def with_prior(z: Array) -> Array:
        return np.concatenate((gaps(z), z))

    def whole_slope(z: Array) -> Array:
        return np.vstack((slope(z), np.eye(len(z))))

    found = least_squares(
        with_prior, start, method="trf", xtol=1e-5, ftol=1e-6, jac=whole_slope, max_nfev=steps
    )
    return _solution(root, found.x, slope(found.x), gaps(found.x))


def jacobian(function: Callable[[Array], Array], at: Array) -> Array:
    """Forward differences, a column per unknown."""
    here = function(at)
    columns = []
    for k in range(len(at)):
        step = np.zeros(len(at))
        step[k] = STEP
        columns.append((function(at + step) - here) / STEP)
    return np.stack(columns, axis=1)


def _solution(root: Array, z: Array, slope: Array, gaps: Array) -> Solution:
    whitened = np.linalg.inv(np.eye(len(z)) + slope.T @ slope)
    return Solution(
        logs=root @ z,
        covariance=root @ whitened @ root.T,
        prior=root @ root.T,
        jacobian=slope,
        residuals=gaps,
        singular=np.asarray(np.linalg.svd(slope, compute_uv=False), dtype=float),
        leverage=np.clip(np.einsum("ij,jk,ik->i", slope, whitened, slope), 0.0, 0.999),
    )
