"""Junction temperatures of a rehearsal: in the event, with the last state held, minutes later.

All three are one course through `parts.heat_path`: settled before the event, its losses cycle by
cycle, then the mean loss of the last cycles standing still.
"""

from collections.abc import Mapping, Sequence
from math import inf

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.judge.limits import machine_limits
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.parameters.aftermath import Aftermath
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.heat_path import HeatPath, heat_course, heat_path
from simkit.rehearsal.closeup import settled_until
from simkit.rehearsal.heat_in_cycle import LossCourse
from simkit.rehearsal.surrogate import Curve

LEDGER = 12
"""Most cycles over which operating points and last states are averaged [1]."""
LAST = 80e-6
"""The last state is no longer than this [s]."""
STEP = 1e-12
"""A moment this near a cycle's start belongs to it [s]."""
GRID = 200
"""Moments of an event looked at beside those of its cycles [1]."""
STAY = np.geomspace(1e-6, 1e5, 551)
"""Moments looked at while the last state goes on, fifty a decade: over a day [s]."""
POINTS = 400
"""Points of the minutes after [1]."""


def junctions(
    machine: Machine,
    scenario: Scenario,
    line: Timeline,
    series: Sequence[Series],
    curves: Mapping[str, Curve],
    closely: LossCourse | None = None,
) -> tuple[list[Series], float]:
    """Junction temperatures of each switch, with the heatsink's later, and the time left [s].

    `junction_stay` and `heatsink_stay` are the last state going on for more than a day.

    Between samples the loss follows the fast model's course, scaled to them; `closely`: the course
    within the cycles, where their means tell too little.
    """
    losses, after = [s for s in series if s.quantity == "loss"], scenario.aftermath
    if not losses:
        return [], inf
    # The cycle in which the event begins is no settled one any more, though its middle is earlier.
    calm_until = settled_until(line) - 0.5 / line.frequency.first
    before = np.array([calm_mean(s, calm_until) for s in losses])
    last = np.array([float(np.mean(_late(s)[-LEDGER:])) for s in losses])
    grid, event = _event(losses, curves) if closely is None else _closely(closely)
    path = heat_path(machine, after.heatsink_heat_capacity if after else None)
    hold = machine.limits.hold_time
    stay = np.union1d(STAY, [hold])
    whole = heat_course(path, before, *_going_on(grid, event, last, stay))
    course = whole.junctions
    parts, held = [s.part for s in losses], stay <= hold
    split = len(grid)
    out = [Series(p, "junction_peak", "degC", grid, c[:split])
           for p, c in zip(parts, course, strict=True)]  # fmt: skip
    out += [Series(p, "junction_held", "degC", grid[-1] + stay[held], c[split:][held])
            for p, c in zip(parts, course, strict=True)]  # fmt: skip
    hottest = int(np.argmax(course[:, -1]))
    out += [
        Series(parts[hottest], "junction_stay", "degC", grid[-1] + stay, course[hottest, split:]),
        Series("heatsink", "heatsink_stay", "degC", grid[-1] + stay, whole.heatsink[split:]),
    ]
    bound = next(x.bound for x in machine_limits(machine) if x.quantity == "junction_held")
    left = _first_over(stay, course[:, split - 1 :].max(axis=0), bound)
    if after is not None:
        out += _later(path, after, parts, before, (grid, event, last))
    return out, left


def calm_mean(series: Series, until: float) -> float:
    """Mean over the last values up to a time [s], or the first value where there is none."""
    calm = series.values[series.times <= until + 1e-9]
    return float(np.mean(calm[-LEDGER:] if len(calm) else series.values[:1]))


def _late(series: Series) -> Array:
    return np.asarray(series.values[series.times > series.times[-1] - LAST])


def _event(losses: Sequence[Series], curves: Mapping[str, Curve]) -> tuple[Array, Array]:
    """Moments of the event and each switch's loss from then on.

    Where the cycles follow one another without a gap each one's loss stands from its start to its
    end, so that the heat of the last is in the last temperature; between samples it runs straight.
    """
    whole = np.unique(np.concatenate([s.times for s in losses]))
    period = float(np.median(np.diff(whole))) if len(whole) > 1 else 0.0
    if not curves and len(whole) > 1 and np.diff(whole).max() < 1.5 * period:
        starts = whole - 0.5 * period
        grid = np.union1d(np.append(starts, whole[-1] + 0.5 * period),
                          np.linspace(starts[0], whole[-1] + 0.5 * period, GRID))  # fmt: skip
        which = np.clip(np.searchsorted(starts, grid + STEP, side="right") - 1, 0, len(whole) - 1)
        return grid, np.array([np.interp(whole, s.times, s.values)[which] for s in losses])
    grid = np.union1d(whole, np.linspace(whole[0], whole[-1], GRID))
    rows = []
    for s in losses:
        dense = curves.get(f"loss {s.part}")
        known = (s.times, s.values) if dense is None else (dense.time, dense.values)
        rows.append(np.interp(grid, *known))
    return grid, np.array(rows)


def _closely(course: LossCourse) -> tuple[Array, Array]:
    """Moments of an event and each switch's loss from then on, from a course by parts of cycles."""
    first, last = float(course.starts[0]), float(course.ends[-1])
    grid = np.union1d(np.append(course.starts, last), np.linspace(first, last, GRID))
    which = np.clip(np.searchsorted(course.starts, grid + STEP, side="right") - 1, 0, None)
    return grid, course.values[:, which]


def _going_on(grid: Array, event: Array, last: Array, stay: Array) -> tuple[Array, Array]:
    """Times and losses of an event and of its last state going on."""
    held = np.repeat(last[:, None], len(stay) + 1, axis=1)
    return np.concatenate((grid, grid[-1] + stay)), np.hstack((event[:, :-1], held))


def _first_over(stay: Array, course: Array, bound: float) -> float:
    """How long a course stays below a bound [s]; its first value is that at the beginning."""
    over = np.flatnonzero(course >= bound)
    if not len(over):
        return inf
    k = int(over[0])
    if k < 2:
        return 0.0 if k == 0 else float(stay[0])
    a, b = course[k - 1], course[k]
    return float(np.exp(np.interp(bound, [a, b], np.log(stay[k - 2 : k]))))


def _later(
    path: HeatPath, after: Aftermath, parts: Sequence[str], before: Array,
    state: tuple[Array, Array, Array],
) -> list[Series]:  # fmt: skip
    """The hottest junction and the heatsink while the last state goes on for minutes."""
    grid, event, last = state
    stay = np.geomspace(1e-3, after.time, POINTS)
    if after.begins == "cold":
        grid, event, before = grid[-1:], event[:, -1:], np.zeros_like(before)
    outward = None if after.heatsink_resistance is None else (grid[-1], after.heatsink_resistance)
    course = heat_course(path, before, *_going_on(grid, event, last, stay), outward)
    hottest = int(np.argmax(course.junctions[:, -1]))
    times = grid[-1] + stay
    return [
        Series(parts[hottest], "junction_later", "degC", times,
               course.junctions[hottest, len(grid) :]),
        Series("heatsink", "heatsink_later", "degC", times, course.heatsink[len(grid) :]),
    ]  # fmt: skip
