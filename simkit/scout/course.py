"""What happens during an event, as the fast model takes it: values over time, and the drive's
phase accumulated from its frequency.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from simkit.scout.plant import Array

Course = float | Callable[[float], float] | tuple[ArrayLike, ArrayLike]
"""A value over time: constant, a function of time [s], or times [s] and values between which it
runs straight."""


@dataclass(frozen=True)
class Conditions:
    """What happens from time zero to stop; before time zero everything stays as it is at zero.

    Fields: frequency [Hz], supply_voltage [V], inductance of the coil [H] and its resistance
    [ohm], each a `Course`; stop [s]; start_phase: of the drive at time zero [periods], 0 being
    the start of the positive half, below 1/2.
    """

    frequency: Course
    supply_voltage: Course
    inductance: Course
    resistance: Course
    stop: float
    start_phase: float = 0.25


def as_function(course: Course) -> Callable[[float], float]:
    """A `Course` as a function of time [s]; arrays hold their end values outside."""
    if callable(course):
        return course
    if isinstance(course, tuple):
        times, values = (np.asarray(v, dtype=float) for v in course)
        if np.any(np.diff(times) < 0.0):
            raise ValueError("times of a course must not fall")
        return lambda time: float(np.interp(time, times, values))
    constant = float(course)
    return lambda _time: constant


def half_period_starts(conditions: Conditions) -> Array:
    """Times [s] at which the drive's phase is a multiple of 1/2, the first at or before zero.

    They bound an even number of half periods and reach at least one beyond the stop.

    The phase is accumulated with the frequency in the middle of each step (error of third order
    in the step), so that no pulse is lost while the frequency changes.
    """
    if not 0.0 <= conditions.start_phase < 0.5:
        raise ValueError(f"start_phase = {conditions.start_phase!r} must be in [0, 0.5)")
    frequency = as_function(conditions.frequency)

    def after(time: float, phase: float) -> float:
        width = phase / frequency(time)
        for _ in range(3):
            width = phase / frequency(time + 0.5 * width)
        return time + width

    starts = [-conditions.start_phase / frequency(0.0), after(0.0, 0.5 - conditions.start_phase)]
    while len(starts) % 2 == 0 or starts[-2] <= conditions.stop:
        starts.append(after(starts[-1], 0.5))
    return np.array(starts)


def link_course(
    times: Array, conductance: Array, source: Course, resistance: float, capacitance: float
) -> Course:
    """Voltage of a link capacitor [F] fed through a resistance R [ohm] from a source [V].

    `conductance` G is what the bridge draws over the link's voltage [S] from each of the `times`
    [s] on, as a march gives it per cycle: the bridge and its tank are linear, so it stands still
    while the link moves, where the current would not. Settled before the first. C dV/dt = (V_s -
    V)/R - G V, solved exactly over each step; behind its rectifier the source takes nothing back:
    with V above V_s, C dV/dt = -G V.
    Give the result as the supply voltage of a second march to let the link sag with the load.
    """
    value = as_function(source)
    sources = np.array([value(max(t, 0.0)) for t in times.tolist()])
    rest = sources / (1.0 + resistance * conductance)
    voltage = rest.copy()
    for k, width in enumerate(np.diff(times).tolist()):
        feeds = voltage[k] <= sources[k]
        leak = conductance[k] + (1.0 / resistance if feeds else 0.0)
        end = rest[k] if feeds else 0.0
        voltage[k + 1] = end + (voltage[k] - end) * float(np.exp(-width * leak / capacitance))
    return times, voltage
