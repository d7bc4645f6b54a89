"""Junction temperatures from losses per cycle, by the definition, on plain numbers.

The settled state's losses: mean of at most a dozen whole cycles before the first event. From there
each cycle's loss is a step at the cycle's start; temperatures are those at the cycles' ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.random_machines.plain_run import Array

SHOWN = 12
"""Most cycles that a mean is taken over [1]."""
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


def temperatures(stack: Stack, marks: Array, watts: Array, event: float) -> dict[str, float]:
    """`junction_peak` and `junction_held` of the hottest switch [degC].

    marks: cycle boundaries [s]; watts: a row per switch, a value per cycle; event: first start.
    """
    calm = np.flatnonzero(marks[1:] <= event + 1e-9)[-SHOWN:]
    calm = calm if len(calm) else np.array([0])
    ends = marks[1:]
    late = np.flatnonzero(ends > ends[-1] - LAST)[-SHOWN:]
    before = watts[:, calm].mean(axis=1)
    peak, held = [], []
    for row, was in zip(watts, before, strict=True):
        start = stack.ambient + stack.heatsink * before.sum() + (stack.pad + stack.steady) * was
        steps = np.diff(row, prepend=was)
        ages = ends[:, None] - marks[None, :-1]
        rise = np.where(ages > 0.0, impedance(stack, ages), 0.0) @ steps
        peak.append(start + max(float(rise.max()), 0.0))
        step = row[late].mean() - was
        held.append(start + step * float(impedance(stack, np.array([stack.hold]))[0]))
    return {"junction_peak": max(peak), "junction_held": max(held)}
