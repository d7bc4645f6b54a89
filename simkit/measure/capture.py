"""Readings taken from sampled channels of a scope, by the definitions the circuit's are taken by.

Frequency: whole cycles between the first and the last rise through the middle, over their time.
Peak: half of what lies between the ends of a cycle, of the harmonics up to `ORDERS` that a least
squares fit over whole cycles finds; noise averages out in it, and an offset drops out. Phase: of
the fundamentals of the same fits. Valid for steady operation, eight samples a cycle at least.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ORDERS = 9
"""Highest harmonic fitted [1]: of a sine bent by a square wave more is below a hundredth."""
HYSTERESIS = 0.2
"""Share of the span that a rise must pass on either side of the middle [1]."""
FEWEST = 2
"""Whole cycles that are needed [1]."""
FLAT = 2.5
"""How many times a sine's share of samples at its very end is clipped [1]; a design choice."""
FEW = 4
"""Samples at an end that are no sign of clipping yet [1]."""


class NoReading(Exception):
    """Nothing can be read of this channel; the text says why."""


@dataclass(frozen=True)
class Wave:
    """A channel as harmonics.

    Fields: frequency [Hz]; amplitudes by order from 0, complex, e^(j n w t) of the file's clock, in
    the channel's unit.
    """

    frequency: float
    amplitudes: NDArray[np.complex128]

    def at(self, time: Array) -> Array:
        """Values at some times [s], offset and all."""
        turns = np.exp(2j * np.pi * self.frequency * np.outer(time, np.arange(ORDERS + 1)))
        return np.asarray((turns @ self.amplitudes).real)

    @property
    def peak(self) -> float:
        """Half of the span over a cycle, in the channel's unit."""
        values = self.at(np.linspace(0.0, 1.0 / self.frequency, 721))
        return 0.5 * float(values.max() - values.min())

    @property
    def first(self) -> complex:
        """The fundamental."""
        return complex(self.amplitudes[1])


def rises(time: Array, values: Array) -> Array:
    """Times of the rises through the middle, by straight line [s]; NaN samples are passed over."""
    known = np.isfinite(values)
    time, values = time[known], values[known]
    if len(values) < 8:
        return np.zeros(0)
    low, high = np.quantile(values, 0.02), np.quantile(values, 0.98)
    middle, band = 0.5 * (low + high), HYSTERESIS * (high - low)
    out, armed = [], False
    for k in range(1, len(values)):
        armed = armed or values[k - 1] < middle - band
        if armed and values[k] >= middle:
            step = values[k] - values[k - 1]
            share = (middle - values[k - 1]) / step if step > 0.0 else 1.0
            out.append(time[k - 1] + min(max(share, 0.0), 1.0) * (time[k] - time[k - 1]))
            armed = False
    return np.array(out)


def frequency_of(time: Array, values: Array) -> float:
    """Of a channel in steady operation [Hz].

    Raises NoReading for fewer than `FEWEST` whole cycles.
    """
    found = rises(time, values)
    if len(found) < FEWEST + 1:
        raise NoReading(f"has fewer than {FEWEST} whole cycles; lengthen the time base")
    return float((len(found) - 1) / (found[-1] - found[0]))


def wave_of(time: Array, values: Array, frequency: float) -> Wave:
    """A channel as harmonics of a frequency [Hz], over as many whole cycles as it holds.

    Raises NoReading for fewer cycles or samples than a fit needs.
    """
    known = np.isfinite(values)
    time, values = time[known], values[known]
    cycles = int((time[-1] - time[0]) * frequency + 1e-6) if len(time) else 0
    inside = time <= time[0] + cycles / frequency if cycles else np.zeros(0, bool)
    if cycles < FEWEST or inside.sum() < 8 * cycles:
        raise NoReading("needs two whole cycles, and eight samples in each")
    order = np.arange(1, ORDERS + 1)
    angle = 2.0 * np.pi * frequency * np.outer(time[inside], order)
    base = np.hstack([np.ones((len(angle), 1)), np.cos(angle), np.sin(angle)])
    found, *_ = np.linalg.lstsq(base, values[inside], rcond=None)
    amplitudes = np.concatenate([[found[0]], found[1 : ORDERS + 1] - 1j * found[ORDERS + 1 :]])
    return Wave(frequency, amplitudes.astype(np.complex128))


def lag(voltage: Wave, current: Wave) -> float:
    """Angle by which the current's fundamental is behind the voltage's [deg], -180 to 180."""
    return float(np.degrees(np.angle(voltage.first / current.first)))


def clipped(values: Array) -> bool:
    """Whether a channel that should be round stands at an end of its range.

    A sine of peak A has the share arccos(1 - q/A)/pi of its samples within a step q of one end.
    """
    known = values[np.isfinite(values)]
    levels = np.unique(known)
    if len(levels) < 3:
        return True
    step = float(np.median(np.diff(levels)))
    half = 0.5 * float(levels[-1] - levels[0])
    share = np.arccos(1.0 - min(step / half, 2.0)) / np.pi
    ends = max(int((known == levels[-1]).sum()), int((known == levels[0]).sum()))
    return bool(ends > FLAT * share * len(known) + FEW)
