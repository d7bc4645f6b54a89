"""Which readings would pin down what the readings at hand leave open."""

from dataclasses import dataclass

import numpy as np

from simkit.parameters.machine import Machine
from simkit.scout.bench import Setting, fast_readings, resonance
from simkit.studies.bring_up.study import instrument
from simkit.studies.fit.solve import STEP, Observation, Problem
from simkit.studies.fit.study import UNDETERMINED, Fit
from simkit.studies.inputs.uncertain_values import COVERAGE, Array, Uncertain

VOLTAGE = 30.0
MARGINS = (0.03, 0.15)
PLAIN = 0.03
"""Half-width at 95 % of an instrument that no `[probes]` describes, as a share [1]."""
WORTH = 0.8
"""A reading is suggested when it leaves less than this share of what was left [1]."""


@dataclass(frozen=True)
class Suggestion:
    """One value still open, and the reading that would tell most of it."""

    key: str
    title: str
    left: float
    """Share of the tolerance left now [1]."""
    reading: str
    setting: Setting
    would_leave: float
    """Share of the tolerance left with that reading besides [1]."""


def candidates(machine: Machine, loads: list[str]) -> tuple[Observation, ...]:
    """Readings a person could add, valued as the machine shows them."""
    out = []
    for load in dict.fromkeys(["empty", *loads]):
        at = resonance(machine, Setting(load, VOLTAGE))
        settings = [Setting(load, VOLTAGE), *(Setting(load, VOLTAGE, (1 + m) * at)
                                              for m in MARGINS)]  # fmt: skip
        for setting in settings:
            for name, value in fast_readings(machine, setting).items():
                powered = setting.frequency is not None
                needs = name in ("supply_current", "tank_voltage", "primary_current", "phase")
                if powered == needs and not name.endswith("_scope") and name != "heatsink":
                    half = instrument(machine.probes, name, value) or PLAIN * abs(value)
                    out.append(Observation("", name, value, half / COVERAGE, setting))
    return tuple(out)


def suggestions(found: Fit) -> tuple[Suggestion, ...]:
    """For each open value the reading that would tell most, where one would; best first."""
    loads = [c.observation.setting.load for c in found.compared]
    open_keys = [v for v in found.values if v.left >= UNDETERMINED]
    possible = candidates(found.machine, loads)
    everything = _everything(found)
    problem = Problem(found.machine, everything, possible)
    covariance = _covariance(found, everything)
    slope = _slope(problem)
    keys = [u.key for u in everything]
    gains = _left(covariance, slope)
    out = []
    for value in open_keys:
        k = keys.index(value.key)
        best = int(np.argmin(gains[:, k]))
        if gains[best, k] < WORTH:
            seen = possible[best]
            out.append(Suggestion(value.key, value.title, value.left, seen.name, seen.setting,
                                  value.left * float(gains[best, k])))  # fmt: skip
    return tuple(sorted(out, key=lambda s: s.would_leave))


def _everything(found: Fit) -> tuple[Uncertain, ...]:
    return tuple(
        Uncertain(v.key, v.title, v.after, v.tolerance_before, v.stated, v.source)
        for v in found.values
    )


def _covariance(found: Fit, everything: tuple[Uncertain, ...]) -> Array:
    out = np.diag([u.deviation**2 for u in everything])
    at = {u.key: k for k, u in enumerate(everything)}
    places = [at[u.key] for u in found.chosen]
    out[np.ix_(places, places)] = found.solution.covariance
    return out


def _slope(problem: Problem) -> Array:
    """Change of each reading, in its deviations, for each logarithm."""
    size = len(problem.chosen)
    base = problem.fast(np.zeros(size))
    deviation = np.array([o.deviation for o in problem.observations])
    columns = []
    for k, one in enumerate(problem.chosen):
        logs = np.zeros(size)
        logs[k] = max(STEP * one.deviation, 1e-5)
        ends = problem.fast(logs)
        columns.append((ends - base) / deviation / logs[k])
    return np.asarray(np.nan_to_num(np.stack(columns, axis=1)), dtype=float)


def _left(covariance: Array, slope: Array) -> Array:
    """Deviation of each value with one more reading over that without, a row per reading [1]."""
    told = slope @ covariance
    gain = told**2 / (1.0 + np.einsum("ij,ij->i", told, slope))[:, None]
    share = 1.0 - gain / np.diag(covariance)
    return np.asarray(np.sqrt(np.clip(share, 0.0, 1.0)), dtype=float)
