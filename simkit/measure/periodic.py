"""Cycles, half periods, phase and harmonics.

A half period begins where the drive's phase passes a multiple of 1/2: midway between one gate
command going off and the other going on. A cycle is two half periods. Everything "per cycle" is
taken over whole cycles, so that energy stored and returned within a cycle cancels.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from simkit.measure.waveforms import Array, Waves, average

LEAST_REST = 1e-9
"""What is left after the last cycle counts from this length on [s]: less is rounding."""


@dataclass(frozen=True)
class Cycle:
    """One drive cycle, from one half-period boundary to the next but one, or a part of one."""

    start: float
    """[s]"""
    end: float
    """[s]"""

    @property
    def length(self) -> float:
        """[s]"""
        return self.end - self.start


def whole_cycles(boundaries: Array, start: float, end: float) -> tuple[Cycle, ...]:
    """Cycles that lie wholly between start and end [s]."""
    inside = boundaries[(boundaries >= start) & (boundaries <= end)]
    return tuple(Cycle(float(a), float(b)) for a, b in pairwise(inside[::2]))


def with_rest(cycles: tuple[Cycle, ...], end: float) -> tuple[Cycle, ...]:
    """Some cycles and, as one more, what a run goes on after the last of them, up to its end [s].

    For peaks, which no part of a cycle may escape; an average over a part of a cycle says nothing.
    """
    if not cycles or end - cycles[-1].end < LEAST_REST:
        return cycles
    return (*cycles, Cycle(cycles[-1].end, end + LEAST_REST))  # with the last sample


def middles(cycles: tuple[Cycle, ...]) -> Array:
    """The times that stand for some cycles [s]."""
    return np.array([0.5 * (c.start + c.end) for c in cycles])


def harmonic(time: Array, values: Array, frequency: float, order: int = 1) -> complex:
    """Complex amplitude of a harmonic over the axis, which spans whole cycles.

    (2/T) integral of values exp(-j 2 pi n f t) dt; the magnitude is the peak value.
    """
    turning = np.exp(-2j * np.pi * order * frequency * time)
    length = time[-1] - time[0]
    return complex(2.0 / length * np.trapezoid(values * turning, time))


def phase_lag(waves: Waves, span: Cycle, frequency: float) -> float:
    """Angle by which the primary current's fundamental lags the bridge voltage's [deg].

    Over a span of whole cycles of the given frequency [Hz].
    """
    part = waves.between(span.start, span.end)
    voltage = harmonic(part.time, part.bridge_voltage, frequency)
    current = harmonic(part.time, part.primary_current, frequency)
    if current == 0.0 or voltage == 0.0:
        return float("nan")
    return float(np.degrees(np.angle(voltage / current)))


def distortion(time: Array, values: Array, frequency: float, orders: int = 15) -> float:
    """Root of the summed squares of harmonics 2 to `orders`, over the fundamental [1]."""
    first = abs(harmonic(time, values, frequency))
    rest = [abs(harmonic(time, values, frequency, n)) for n in range(2, orders + 1)]
    return float(np.sqrt(np.sum(np.square(rest))) / first)


def cycle_average(waves: Waves, values: Array, cycle: Cycle) -> float:
    """Average of an array over a cycle, its ends interpolated."""
    inside = (waves.time > cycle.start) & (waves.time < cycle.end)
    time = np.concatenate(([cycle.start], waves.time[inside], [cycle.end]))
    edges = np.interp((cycle.start, cycle.end), waves.time, values)
    return average(time, np.concatenate((edges[:1], values[inside], edges[1:])))


def cycle_averages(waves: Waves, values: Array, cycles: tuple[Cycle, ...]) -> Array:
    """Average over each of some cycles, through one running integral."""
    steps = 0.5 * (values[1:] + values[:-1]) * np.diff(waves.time)
    running = np.concatenate(([0.0], np.cumsum(steps)))
    starts, ends = (np.array([getattr(c, n) for c in cycles]) for n in ("start", "end"))
    area = np.interp(ends, waves.time, running) - np.interp(starts, waves.time, running)
    return np.asarray(area / (ends - starts))


def cycle_peaks(waves: Waves, values: Array, cycles: tuple[Cycle, ...]) -> Array:
    """Largest magnitude within each of some cycles."""
    starts = np.searchsorted(waves.time, [c.start for c in cycles])
    ends = np.searchsorted(waves.time, [c.end for c in cycles])
    magnitude = np.abs(values)
    return np.array([magnitude[a:b].max() for a, b in zip(starts, ends, strict=True)])


def cycle_middles(waves: Waves, values: Array, cycles: tuple[Cycle, ...]) -> Array:
    """Middle between the extremes within each of some cycles."""
    starts = np.searchsorted(waves.time, [c.start for c in cycles])
    ends = np.searchsorted(waves.time, [c.end for c in cycles])
    spans = zip(starts, ends, strict=True)
    return np.array([0.5 * (values[a:b].max() + values[a:b].min()) for a, b in spans])
