"""Usual ways to read a figure from waveforms."""

from collections.abc import Callable

import numpy as np

from simkit.figures.record import Measured
from simkit.measure.periodic import cycle_averages, cycle_peaks
from simkit.measure.waveforms import Array, Waves

Signal = Callable[[Waves], Array]
"""A waveform by its samples, such as `lambda waves: waves.bank_voltage`."""


def peak(part: str, signal: Signal) -> Measured:
    """Largest magnitude of a waveform in each cycle."""
    return Measured(lambda w, cycles: {part: cycle_peaks(w, signal(w), cycles)}, is_peak=True)


def rms(part: str, signal: Signal) -> Measured:
    """Root mean square of a waveform over each cycle."""
    return Measured(
        lambda w, cycles: {part: np.sqrt(cycle_averages(w, signal(w) ** 2, cycles))}, is_peak=False
    )


def mean(part: str, signal: Signal) -> Measured:
    """Mean of a waveform over each cycle, such as watts of a product."""
    return Measured(lambda w, cycles: {part: cycle_averages(w, signal(w), cycles)}, is_peak=False)
