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


def values_at(course: Course, times: Array) -> Array:
    """A `Course` at times [s]; before zero, as at zero."""
    value = as_function(course)
    return np.array([value(max(t, 0.0)) for t in times.tolist()])


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


@dataclass(frozen=True)
class LinkCourse:
    """Voltages of the link over time, straight in between.

    Fields: times [s]; capacitor: behind its series resistance [V]; bus: what the bridge sees [V].
    """

    times: Array
    capacitor: Array
    bus: Array

    def capacitor_at(self, time: float) -> float:
        """Voltage of the capacitor itself at a time [s]; the end values hold outside."""
        return float(np.interp(time, self.times, self.capacitor))

    def bus_at(self, times: Array) -> Array:
        """Voltage that the bridge sees at some times [s]; the end values hold outside."""
        return np.interp(times, self.times, self.bus)


def link_course(
    times: Array,
    conductance: Array,
    source: Course,
    resistance: float,
    capacitance: float,
    esr: float = 0.0,
) -> LinkCourse:
    """A link capacitor [F] with its `esr` r [ohm], fed through a resistance R from a source [V].

    `conductance` G is what the bridge draws over the link's voltage [S] from each of the `times`
    [s] on, as a march gives it per cycle: the bridge and its tank are linear, so it stands still
    while the link moves, where the current would not. Settled before the first.

    The capacitor takes i = (V_s - v)/R - G v, and the bus lies at v = V + r i, so that with
    g = G + 1/R it moves by C dV/dt = (V_s/R - g V)/(1 + r g), solved exactly over each step, with
    the source straight from each of the times to the next. Behind its rectifier the source takes
    nothing back: with v above V_s its share falls away, g = G.
    Give `bus` as the supply voltage of a second march to let the link sag with the load.
    Source: Kirchhoff's laws for the supply's netlist, its inductances left out.
    """
    sources = values_at(source, times)
    held = sources / (1.0 + resistance * conductance)
    charging = np.zeros_like(held)
    widths = np.append(np.diff(times), 0.0).tolist()
    for k, width in enumerate(widths):
        own, step = float(conductance[k]), (held[k], width, capacitance, esr)
        if held[k] > sources[k] * (1.0 + esr * own):
            after, charging[k] = _relaxed(*step, own, 0.0, 0.0)
        else:
            share = 1.0 / (1.0 + resistance * own)
            rise = sources[k + 1] - sources[k] if width > 0.0 else 0.0
            both = own + 1.0 / resistance
            after, charging[k] = _relaxed(*step, both, share * sources[k], share * rise)
            if width > 0.0 and after > sources[k + 1] * (1.0 + esr * own):  # it fell away below
                after, charging[k] = _relaxed(*step, own, 0.0, 0.0)
        if width > 0.0:
            held[k + 1] = after
    return LinkCourse(times, held, held + esr * charging)


def _relaxed(
    held: float, width: float, capacitance: float, esr: float, leak: float, end: float, rise: float
) -> tuple[float, float]:
    """A capacitor's voltage after a step of a width [s], and the current into it at its beginning
    [A], where it tends through a conductance `leak` [S] to `end`, which rises by `rise` meanwhile
    [V]. Behind what rises it lags by the slope times the time constant."""
    rate = leak / (1.0 + esr * leak)
    into = rate * (end - held)
    if width <= 0.0 or rate <= 0.0:
        return held, into
    lag = rise / width * capacitance / rate
    keep = float(np.exp(-width * rate / capacitance))
    return end + rise - lag + (held - end + lag) * keep, into
