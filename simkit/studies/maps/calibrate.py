"""A fast model calibrated by circuit runs: the factor between the two over the space of a map.

For each quantity, the logarithm of circuit over fast model is interpolated over the unit cube by
thin-plate splines on a linear trend (scipy's RBFInterpolator, smoothed); how far that is off is
found by leaving out a fifth of the circuit runs at a time. What cannot be told from the runs there
are is not guessed: such a case is "unknown" and needs its own circuit run.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.figures.table import figures

Array = NDArray[np.float64]
FOLDS = 5
TRUST = 3.0
"""Times the root mean square of what was off that a prediction must be clear of the limit by."""
LEAST_SPREAD = 0.004
"""Spread a calibration is credited with at best, as a share [1]: circuit runs have errors too."""
FAINT = 0.02
"""Share of a limit below which a quantity's factor teaches nothing [1]."""
EDGE = 0.12
"""Share of the primary current within which the fast model may be wrong about the mode [1]."""
SMOOTHING = 1e-6


@dataclass(frozen=True)
class Predicted:
    """Share of the limit for each case [1], NaN where unknown, and its spread as a share of it."""

    ratio: Array
    spread: float

    @property
    def near(self) -> NDArray[np.bool_]:
        """Whether the verdict on the limit is not clear."""
        room = TRUST * self.spread
        with np.errstate(invalid="ignore"):
            clear = (self.ratio * (1.0 + room) < 1.0) | (self.ratio * (1.0 - room) > 1.0)
        return ~clear


def predict(
    points: Array, fast: Sequence[Mapping[str, Any]], full: Mapping[int, Mapping[str, Any]]
) -> dict[str, Predicted]:
    """Every quantity of every case from the fast model, calibrated by the cases run in full."""
    names = dict.fromkeys(q for row in full.values() for q in row["limits"])
    return {name: _quantity(name, points, fast, full) for name in names}


def _quantity(
    name: str, points: Array, fast: Sequence[Mapping[str, Any]],
    full: Mapping[int, Mapping[str, Any]],
) -> Predicted:  # fmt: skip
    base = np.array([_number(row["limits"].get(name)) for row in fast])
    if name in figures() and figures()[name].fast.only_forced:
        return _forced(name, points, fast, full, base)
    known = np.array([k for k in sorted(full) if _teaches(full[k], name, base[k])], dtype=int)
    missing = [k for k in full if full[k]["limits"].get(name, {}).get("ratio") is None]
    if missing or len(known) < points.shape[1] + 3:
        return Predicted(np.full(len(points), np.nan), 0.0)
    wanted = np.array([full[k]["limits"][name]["ratio"] for k in known])
    factor, spread = _factors(points, known, np.log(wanted / base[known]))
    return Predicted(base * np.exp(factor), spread)


def _forced(
    name: str, points: Array, fast: Sequence[Mapping[str, Any]],
    full: Mapping[int, Mapping[str, Any]], base: Array,
) -> Predicted:  # fmt: skip
    """Nothing where no diode is forced off, unknown near where that begins."""
    forced = np.array([_number(row["forced"]) for row in fast])
    swing = np.array([_number(row["swing"]) for row in fast])
    hard = forced > EDGE * swing
    calm = forced < -EDGE * swing
    rated = {k: row["limits"].get(name, {}).get("ratio") for k, row in full.items()}
    ratio = np.full(len(points), np.nan)
    quiet = [r for k, r in rated.items() if calm[k] and r is not None]
    if quiet and max(quiet) < 0.5:  # the runs bear it out: far below the limit without forcing
        ratio[calm] = max(quiet)
    known = np.array([k for k in sorted(full) if hard[k] and _teaches(full[k], name, base[k])],
                     dtype=int)  # fmt: skip
    if len(known) < points.shape[1] + 3:
        return Predicted(ratio, LEAST_SPREAD)
    wanted = np.array([rated[k] for k in known], dtype=float)
    factor, spread = _factors(points, known, np.log(wanted / base[known]))
    ratio[hard] = (base * np.exp(factor))[hard]
    return Predicted(ratio, spread)


def _teaches(row: Mapping[str, Any], name: str, base: float) -> bool:
    ratio = row["limits"].get(name, {}).get("ratio")
    return ratio is not None and ratio > FAINT * 1e-3 and base > 0.0


def _factors(points: Array, known: NDArray[np.intp], logs: Array) -> tuple[Array, float]:
    """Logarithm of the factor at every point, and the spread by leaving runs out [1]."""
    inside = points[known]
    fold = np.arange(len(known)) % FOLDS
    missed = np.zeros(len(known))
    for k in range(FOLDS):
        out = fold == k
        missed[out] = logs[out] - _interpolated(inside[~out], logs[~out], inside[out])
    spread = max(float(np.sqrt(np.mean(missed**2))), LEAST_SPREAD)
    return _interpolated(inside, logs, points), spread


def _interpolated(inside: Array, logs: Array, wanted: Array) -> Array:
    from scipy.interpolate import RBFInterpolator

    if len(inside) < inside.shape[1] + 2:
        return np.full(len(wanted), float(np.mean(logs)))
    make: Any = RBFInterpolator  # its annotation knows no points of unknown shape
    try:
        found = make(inside, logs, kernel="thin_plate_spline", degree=1, smoothing=SMOOTHING)(
            wanted
        )
    except np.linalg.LinAlgError:  # all on one plane: the mean is what is left
        return np.full(len(wanted), float(np.mean(logs)))
    return np.asarray(found, dtype=float)


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)
