"""`simkit fit`: a machine's uncertain values from readings at a low supply voltage.

The fast model carries the least squares; circuit runs at its answer correct it, reading by
reading, and the least squares runs again, until the answer stands still (space mapping: Bandler
et al., IEEE Trans. Microwave Theory and Techniques 42(12), 1994, recalled from memory). The last
circuit runs are the check of the answer that is reported.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.fit.readings import circuit_of
from simkit.studies.fit.solve import Observation, Problem, Solution, influential, solve
from simkit.studies.inputs.uncertain_values import COVERAGE, Array, Uncertain, scaled, uncertain

ROUNDS = 3
"""Most rounds of circuit runs and least squares [1]."""
STILL = 0.15
"""Change of the answer, in standard deviations of each value, at which it stands still [1]."""
FAR = 3.5
"""Misfit of an outlier in its own standard deviations, what the fit took up counted in [1]."""
MOST_OUTLIERS = 3
PINNED = 0.7
"""A value counts as pinned down when less than this share of its tolerance is left [1]."""
UNDETERMINED = 0.9
"""A value of whose tolerance more than this is left keeps what the file says [1]."""

Say = Callable[[float], None]


@dataclass(frozen=True)
class FittedValue:
    """One value before and after; low and high bound its 95 % interval, in the value's unit."""

    key: str
    title: str
    before: float
    tolerance_before: float
    stated: bool
    """Whether the file gave the tolerance."""
    source: str
    after: float
    low: float
    high: float
    left: float
    """Share of the tolerance that is left [1]."""
    fitted: bool
    """Whether the readings told of it; else it keeps what the file says."""

    @property
    def pinned(self) -> bool:
        """Whether the readings pin it down by themselves."""
        return self.left < PINNED


@dataclass(frozen=True)
class Compared:
    """One reading against the machine before and after; values in the reading's unit."""

    observation: Observation
    before: float
    """Fast model, file's values."""
    after: float
    """Circuit run or closed formula, fitted values."""
    misfit: float
    """In standard deviations, leverage counted in [1]."""
    outlier: bool


@dataclass(frozen=True)
class Fit:
    """What a fit found."""

    machine: Machine
    """With the fitted values; what the readings did not tell of keeps the file's."""
    values: tuple[FittedValue, ...]
    compared: tuple[Compared, ...]
    chosen: tuple[Uncertain, ...]
    solution: Solution
    logs: Array
    """Logarithms of the values written over the file's [1]."""
    chi_square: float
    probability: float
    """Chance of so large a misfit if machine and uncertainties are as stated [1]."""
    rounds: int
    moved: float
    """Last change of the answer in standard deviations [1]."""

    @property
    def converged(self) -> bool:
        """Whether the answer stood still."""
        return self.moved <= STILL


def fit(
    machine: Loaded[Machine],
    seen: tuple[Observation, ...],
    rehearser: Rehearser,
    say: Say | None = None,
) -> Fit:
    """Fit a machine's uncertain values to observations.

    Errors: EngineError when a circuit run gives no whole answer.
    """
    everything = uncertain(machine, [o.setting.load for o in seen])
    chosen = influential(Problem(machine.model, everything, seen))
    problem = Problem(machine.model, chosen, seen)
    problem, solution, dropped, rounds, moved = _rounds(problem, rehearser, say)
    logs = np.where(solution.left < UNDETERMINED, solution.logs, 0.0)
    fitted = scaled(machine.model, chosen, logs)
    circuit = circuit_of(rehearser, fitted, seen)
    compared = _compare(Problem(machine.model, chosen, seen), solution, circuit, dropped)
    kept = np.array([c.misfit for c in compared if not c.outlier])
    chi = solution.chi_square
    return Fit(
        machine=fitted,
        values=(*_values(chosen, solution, logs), *_undetermined(everything, chosen)),
        compared=compared,
        chosen=chosen,
        solution=solution,
        logs=logs,
        chi_square=chi,
        probability=chance_of(chi, len(kept)),
        rounds=rounds,
        moved=moved,
    )


def chance_of(chi_square: float, count: int) -> float:
    """Upper tail of the chi-square distribution [1]."""
    from scipy.stats import chi2

    return float(chi2.sf(chi_square, max(count, 1)))


def _rounds(
    problem: Problem, rehearser: Rehearser, say: Say | None
) -> tuple[Problem, Solution, set[int], int, float]:
    """Circuit runs and least squares in turn; then outliers are left out one at a time."""
    whole, solution, moved = problem, solve(problem), float("inf")
    count = 0
    while count < ROUNDS and moved > STILL:
        machine = scaled(whole.machine, whole.chosen, solution.logs)
        whole = whole.corrected(circuit_of(rehearser, machine, whole.observations), solution.logs)
        before, solution = solution, solve(whole, solution.logs)
        deviation = np.sqrt(np.diag(solution.covariance))
        moved = float(np.max(np.abs(solution.logs - before.logs) / deviation))
        count += 1
        if say:
            say(count / (ROUNDS + 1.0))
    dropped: set[int] = set()
    part = whole
    while len(dropped) < MOST_OUTLIERS and (worst := _outlier(part, solution)) is not None:
        dropped.add(whole.observations.index(part.observations[worst]))
        part = whole.without(dropped)
        solution = solve(part, solution.logs)
    return part, solution, dropped, count, moved


def misfits(solution: Solution) -> Array:
    """Residuals over their own standard deviation, sqrt(1 - leverage) [1]."""
    return np.asarray(solution.residuals / np.sqrt(1.0 - solution.leverage))


def _outlier(problem: Problem, solution: Solution) -> int | None:
    """The reading furthest off, if it is one that the others rule out."""
    if len(problem.observations) < 3:
        return None
    # Where nearly all of a reading went into the values there is nothing left to rule it out.
    told = np.where(solution.leverage < 0.98, np.abs(misfits(solution)), 0.0)
    worst = int(np.argmax(told))
    return worst if told[worst] > FAR else None


def _compare(
    problem: Problem, solution: Solution, circuit: Array, dropped: set[int]
) -> tuple[Compared, ...]:
    before = problem.fast(np.zeros(len(problem.chosen)))
    own, out = misfits(solution), []
    kept = iter(range(len(own)))
    for k, seen in enumerate(problem.observations):
        far = (seen.value - circuit[k]) / seen.deviation if k in dropped else own[next(kept)]
        out.append(Compared(seen, float(before[k]), float(circuit[k]), float(far), k in dropped))
    return tuple(out)


def _values(
    chosen: tuple[Uncertain, ...], solution: Solution, logs: Array
) -> tuple[FittedValue, ...]:
    wide = COVERAGE * np.sqrt(np.diag(solution.covariance))
    # A value that keeps the file's has the file's tolerance, correlation taken in elsewhere.
    return tuple(
        FittedValue(
            key=u.key,
            title=u.title,
            before=u.value,
            tolerance_before=u.tolerance,
            stated=u.stated,
            source=u.source,
            after=float(u.value * np.exp(logs[k])),
            low=float(u.value * np.exp(logs[k] - wide[k])),
            high=float(u.value * np.exp(logs[k] + wide[k])),
            left=float(solution.left[k]),
            fitted=bool(solution.left[k] < UNDETERMINED),
        )
        for k, u in enumerate(chosen)
    )


def _undetermined(
    everything: tuple[Uncertain, ...], chosen: tuple[Uncertain, ...]
) -> tuple[FittedValue, ...]:
    """Values no reading depends on: they keep what the file says."""
    return tuple(
        FittedValue(
            u.key, u.title, u.value, u.tolerance, u.stated, u.source, u.value,
            float(u.value * np.exp(-u.tolerance)), float(u.value * np.exp(u.tolerance)), 1.0, False,
        )
        for u in everything if u not in chosen
    )  # fmt: skip
