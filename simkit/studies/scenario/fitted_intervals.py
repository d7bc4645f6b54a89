"""Judged figures with what a fit left uncertain: intervals, and chances of being over a limit.

Linearised: the rehearsal runs again with the values moved by one standard deviation along the
`DIRECTIONS` of the joint uncertainty that move the settled readings most, by the fast model; the
differences add in squares. Other directions are left out, which is said. The interval is that of
the values alone, 95 %; the chance takes the numerical error in as well, as a 95 % half-width.
"""

from collections.abc import Callable
from dataclasses import replace
from math import hypot

import numpy as np

from simkit.circuit.timeline import start_frequency
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.result.document import FitUncertainty, LimitRow, Result
from simkit.scout.bench import Setting, fast_readings
from simkit.studies.inputs.uncertain_values import (
    COVERAGE,
    Array,
    Uncertain,
    prior_covariance,
    scaled,
    uncertain,
)

DIRECTIONS = 2
"""Directions of the joint uncertainty that get a rehearsal of their own [1]."""
WATCHED = ("supply_current", "tank_voltage", "primary_current", "phase")
METHOD = (
    "linearised: one more circuit rehearsal for each of the two directions of the fit's joint "
    "uncertainty that move the settled readings most by the fast model; others are left out"
)

Rehearse = Callable[[Machine], Rehearsal]


def with_intervals(
    result: Result, machine: Loaded[Machine], scenario: Scenario, rehearse: Rehearse
) -> Result:
    """The result with the interval of every limit and its chance of being over.

    A row that was not evaluated, here or in a moved rehearsal, gets neither. Errors: EngineError
    when a moved rehearsal gives no whole answer.
    """
    moved = [rehearse(m) for m in moved_machines(machine, scenario)]
    others = [{row.quantity: row.value for row in r.rows} for r in moved]
    rows = tuple(bounded(row, [other.get(row.quantity) for other in others])
                 for row in result.limits)  # fmt: skip
    return replace(result, limits=rows, parameter_uncertainty=FitUncertainty(METHOD, len(moved)))


def bounded(row: LimitRow, moved: list[float | None]) -> LimitRow:
    """A row with interval and chance from its value in each moved rehearsal."""
    value, error = row.value, row.error
    known = [m for m in moved if m is not None]
    if value is None or error is None or len(known) < len(moved):
        return row
    deviation = float(np.sqrt(sum((m - value) ** 2 for m in known)))
    half = COVERAGE * deviation
    over = chance_over(value, row.limit, hypot(deviation, error / COVERAGE))
    return replace(row, interval=(value - half, value + half), probability_over=over)


def chance_over(value: float, limit: float, deviation: float) -> float:
    """Chance that a normally distributed figure is above a limit [1]."""
    from scipy.stats import norm

    if deviation <= 0.0:
        return float(value > limit)
    return float(norm.sf((limit - value) / deviation))


def moved_machines(machine: Loaded[Machine], scenario: Scenario) -> list[Machine]:
    """The machine moved by one standard deviation along each direction that matters."""
    start = scenario.start
    setting = Setting(
        start.load,
        start.supply_voltage or machine.model.supply.voltage,
        start_frequency(machine.model, scenario),
        at_source=True,
    )
    loads = [start.load, *(e.load for e in scenario.events if e.load)]
    chosen = _fitted(machine, loads)
    covariance = prior_covariance(machine.model, chosen) + 1e-14 * np.eye(len(chosen))
    root: Array = np.asarray(np.linalg.cholesky(covariance), dtype=float)
    slope = _slope(machine.model, chosen, setting, root)
    _, sizes, rows = np.linalg.svd(slope, full_matrices=False)
    kept = rows[:DIRECTIONS][sizes[:DIRECTIONS] > 0.0]
    return [scaled(machine.model, chosen, root @ row) for row in kept]


def _fitted(machine: Loaded[Machine], loads: list[str]) -> tuple[Uncertain, ...]:
    """Values of the fit's record that the machine and the scenario have."""
    record = machine.model.fit
    known = set(record.parameters) if record is not None else set()
    return tuple(u for u in uncertain(machine, loads) if u.key in known)


def _slope(machine: Machine, chosen: tuple[Uncertain, ...], setting: Setting, root: Array) -> Array:
    """Relative change of each watched reading (phase in radians) for each whitened unknown."""
    names = frozenset(WATCHED)
    base = fast_readings(machine, setting, names)
    size = np.array([57.3 if n == "phase" else abs(base[n]) for n in WATCHED])
    columns = []
    for k in range(len(chosen)):
        there = fast_readings(scaled(machine, chosen, root[:, k]), setting, names)
        columns.append([there[n] - base[n] for n in WATCHED])
    return np.asarray(np.array(columns).T / size[:, None], dtype=float)
