"""Junction temperatures from losses per cycle, by the definition, on plain numbers.

The settled state's losses: mean of at most a dozen whole cycles before the first event. From there
each cycle's loss acts from the cycle's start to its end; temperatures are those at the ends, and
then those of the last state going on for the hold time. Junction over case: the data sheet's curve,
by superposition. What case, pad and heatsink add: the heat balances of their nodes, the chip one
node with the least capacity that the curve allows, less the same chip on a case that holds still. A
capacity that is not given is once nothing and once endless, and the hotter counts. Cycles whose
losses move a junction by more than a few kelvin beside the mean's course are followed in parts, and
so is what comes after the last whole one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.random_machines.figures import Watts
from benchmarks.random_machines.plain_run import Array

SHOWN = 12
"""Most cycles that a mean is taken over [1]."""
MOVED = 3.0
"""From this on a cycle is followed in its parts [K], as the tool's own definition has it."""
MOST = 80
"""Cycles followed so, those that move most [1]; the tool's definition too."""
LAST = 80e-6
"""What counts as the last state [s], where a dozen cycles are longer."""


@dataclass(frozen=True)
class Stack:
    """The way of the heat."""

    ambient: float
    heatsink: float
    """[K/W], all switches together."""
    pad: float
    """[K/W], each."""
    steady: float
    """Junction to case [K/W]."""
    times: Array
    impedances: Array
    """Transient impedance, junction to case, at those times [K/W]."""
    hold: float
    """[s]"""
    case_capacity: float | None = None
    """[J/K]"""
    sink_capacity: float | None = None
    """[J/K]"""


def impedance(stack: Stack, age: Array) -> Array:
    """Junction over case per watt, so long after a step [K/W].

    Straight on log-log axes between the points, by the root of time before the first, to the
    steady value within a decade after the last.
    """
    age = np.maximum(age, 0.0)
    first, last = stack.times[0], stack.times[-1]
    inner = np.exp(np.interp(np.log(np.clip(age, first, last)), np.log(stack.times),
                             np.log(stack.impedances)))  # fmt: skip
    early = stack.impedances[0] * np.sqrt(age / first)
    decades = np.clip(np.log10(np.maximum(age, last) / last), 0.0, 1.0)
    late = stack.impedances[-1] + (stack.steady - stack.impedances[-1]) * decades
    return np.where(age < first, early, np.where(age > last, late, inner))


def temperatures(stack: Stack, found: Watts, event: float) -> dict[str, float]:
    """`junction_peak` and `junction_held` of the hottest switch [degC].

    found: losses from time zero on; event: start of the first [s].
    """
    marks, watts = found.marks, found.means
    calm = np.flatnonzero(marks[1:] <= event + 1e-9)[-SHOWN:]
    calm = calm if len(calm) else np.array([0])
    late = np.flatnonzero(marks[1:] > marks[-1] - LAST)[-SHOWN:]
    before = watts[:, calm].mean(axis=1)
    bounds, power = _followed(stack, found)
    held = np.geomspace(1e-6, stack.hold, 200)
    ends = np.concatenate((bounds[1:], bounds[-1] + held))
    starts = np.concatenate((bounds, bounds[-1] + held[:-1]))
    last = np.repeat(watts[:, late].mean(axis=1)[:, None], len(held), axis=1)
    power = np.hstack((power, last))
    course = over_case(stack, before, starts, ends, power) + stack.ambient
    course += np.max(
        [
            behind(stack, before, np.diff(ends, prepend=bounds[0]), power, case, sink)
            for case in _either(stack.case_capacity)
            for sink in _either(stack.sink_capacity)
        ],
        axis=0,
    )
    settled = stack.ambient + stack.heatsink * before.sum() + (stack.pad + stack.steady) * before
    during = len(bounds) - 1
    return {
        "junction_peak": float(max(course[:, :during].max(), settled.max())),
        "junction_held": float(course[:, during:].max()),
    }


def _followed(stack: Stack, found: Watts) -> tuple[Array, Array]:
    """Bounds of the spans in which losses are constant [s], and the losses of each switch [W]."""
    width = np.diff(found.marks) / found.parts.shape[2]
    moved = np.zeros(len(width))
    for k, length in enumerate(width):
        rises = np.diff(impedance(stack, length * np.arange(found.parts.shape[2] + 1.0)))
        for power in found.parts[:, k] - found.means[:, k, None]:
            moved[k] = max(moved[k], np.abs(np.convolve(power, rises)[: len(power)]).max())
    closely = {k for k in np.argsort(-moved)[:MOST] if moved[k] > MOVED}
    bounds, power = [found.marks[:1]], []
    for k, (start, end) in enumerate(zip(found.marks[:-1], found.marks[1:], strict=True)):
        count = found.parts.shape[2] if k in closely else 1
        bounds.append(np.linspace(start, end, count + 1)[1:])
        power.append(found.parts[:, k] if k in closely else found.means[:, k : k + 1])
    return (np.concatenate((*bounds, found.rest_marks[1:])),
            np.hstack((*power, found.rest)))  # fmt: skip


def _either(capacity: float | None) -> tuple[float, ...]:
    return (0.0, np.inf) if capacity is None else (capacity,)


def over_case(stack: Stack, before: Array, starts: Array, ends: Array, power: Array) -> Array:
    """Each junction over a case that holds still at each end [K]; power acts from each start."""
    steps = np.diff(power, axis=1, prepend=before[:, None])
    ages = ends[:, None] - starts[None, :]
    answer = np.where(ages > 0.0, impedance(stack, ages), 0.0)
    return stack.steady * before[:, None] + steps @ answer.T


def chip_capacity(stack: Stack) -> float:
    """Integral of (R - Z) dt over R^2 [J/K]: the capacity of one stage with this curve."""
    grid = np.concatenate(([0.0], np.geomspace(1e-4 * stack.times[0], 10 * stack.times[-1], 4000)))
    return float(np.trapezoid(stack.steady - impedance(stack, grid), grid)) / stack.steady**2


def behind(
    stack: Stack, before: Array, lengths: Array, power: Array, case: float, sink: float
) -> Array:
    """What the warming of cases and heatsink adds to each junction at the end of each span [K].

    Nodes: chips, cases, heatsink; those without capacity are eliminated, those with an endless one
    keep their settled temperature.
    """
    n = len(before)
    capacities = np.array([chip_capacity(stack)] * n + [case] * n + [sink])
    flows = np.zeros((2 * n + 1, 2 * n + 1))
    edges = [(i, n + i, stack.steady) for i in range(n)]
    edges += [(n + i, 2 * n, stack.pad) for i in range(n)]
    for a, b, resistance in edges:
        flows[[a, b, a, b], [a, b, b, a]] += np.array([1, 1, -1, -1]) / resistance
    flows[2 * n, 2 * n] += 1.0 / stack.heatsink
    injected = np.vstack((power, np.zeros((n + 1, power.shape[1]))))
    rest = np.linalg.solve(flows, np.concatenate((before, np.zeros(n + 1))))
    course = _march(flows, capacities, injected, lengths, rest)[:n]
    alone = _march(np.eye(n) / stack.steady, capacities[:n], power, lengths, stack.steady * before)
    return np.asarray(course - alone)


def _march(flows: Array, capacities: Array, power: Array, lengths: Array, rest: Array) -> Array:
    """Temperatures of the chips' network at the end of each span, from rest [K]."""
    still, none = np.isinf(capacities), capacities == 0.0
    live = ~still & ~none
    force = power - flows[:, still] @ rest[still][:, None]
    inner = flows[np.ix_(none, none)]
    out = flows[np.ix_(live, none)] @ (np.linalg.inv(inner) if none.any() else inner)
    whole = flows[np.ix_(live, live)] - out @ flows[np.ix_(none, live)]
    drive = force[live] - out @ force[none]
    root = np.sqrt(capacities[live])
    rates, shapes = np.linalg.eigh(whole / root[:, None] / root[None, :])
    state = shapes.T @ (root * rest[live])
    aims = (shapes.T / root) @ drive / rates[:, None]
    found = np.empty((live.sum(), len(lengths)))
    for k, length in enumerate(lengths):
        state = aims[:, k] + np.exp(-rates * length) * (state - aims[:, k])
        found[:, k] = (shapes @ state) / root
    return found
