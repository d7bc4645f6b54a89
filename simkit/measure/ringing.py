"""Frequency and Q of a decaying ringing, from samples of it.

A damped sine with an offset is fitted to the samples,
v = exp(-t/tau) (a cos wt + b sin wt) + c + d t, by least squares; standard errors come from the
curvature at the minimum and the scatter left (any text on non-linear regression). Neighbouring
samples of a scope are not independent (bandwidth, interpolation), so the standard errors are
widened by the square root of the residual's correlation time in samples.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from simkit.measure.waveforms import Array

MOST = 4000
"""Samples the fit looks at; more are thinned out evenly."""
LEAST_SHARE = 0.5
"""Share of the variance that the damped sine must explain to be called a ringing [1]."""
LEAST_CYCLES = 1.5
"""Cycles a trace must hold [1]; with fewer, trend and ringing cannot be told apart."""


class NoRinging(ValueError):
    """The samples hold no ringing that can be measured."""


@dataclass(frozen=True)
class Ringing:
    """A ringing and the standard errors of its figures."""

    frequency: float
    """Damped, as the zero crossings show it [Hz]."""
    frequency_error: float
    """[Hz]"""
    decay: float
    """Time in which the envelope falls to 1/e [s]."""
    decay_error: float
    """[s]"""
    explained: float
    """Share of the variance explained [1]."""

    @property
    def quality(self) -> float:
        """Q = pi f tau, exact to 1/(8 Q^2) [1]."""
        return pi * self.frequency * self.decay

    @property
    def quality_error(self) -> float:
        """Standard error of Q [1]."""
        spread = (self.frequency_error / self.frequency, self.decay_error / self.decay)
        return self.quality * float(np.hypot(*spread))


def ringing(time: Array, values: Array) -> Ringing:
    """Fit a damped sine to samples (time in s).

    Raises NoRinging when nothing rings, fewer than one and a half cycles are there, or the
    damped sine explains too little.
    """
    from scipy.optimize import least_squares

    step = max(len(time) // MOST, 1)
    t, v = time[::step] - time[0], values[::step]
    v = v / (v.std() or 1.0)  # so that the fit ends as near, microvolts or kilovolts
    span = float(t[-1])
    scale = np.array([2.0 * pi * _guess(t, v), 1.0 / span])

    def gap(p: Array) -> Array:
        basis = _basis(t, p * scale)
        weights = np.linalg.lstsq(basis, v, rcond=None)[0]
        return np.asarray(basis @ weights - v)

    found = least_squares(gap, (1.0, 3.0), x_scale=(0.1, 1.0))
    omega, rate = (float(x) for x in found.x * scale)
    omega = abs(omega)  # cos(-wt) and -sin(-wt) make the same wave: the search may end on either
    explained = 1.0 - 2.0 * float(found.cost) / len(v)
    cycles = omega * span / (2.0 * pi)
    if rate <= 0.0 or cycles < LEAST_CYCLES or explained < LEAST_SHARE:
        raise NoRinging(f"no decaying ringing: {cycles:.2g} cycles, {explained:.0%} explained")
    errors = _errors(np.asarray(found.jac), found.fun) * scale
    return Ringing(
        frequency=omega / (2.0 * pi),
        frequency_error=float(errors[0]) / (2.0 * pi),
        decay=1.0 / rate,
        decay_error=float(errors[1]) / rate**2,
        explained=explained,
    )


def _basis(t: Array, p: Array) -> Array:
    envelope = np.exp(-np.clip(p[1] * t, -50.0, 700.0))
    columns = (envelope * np.cos(p[0] * t), envelope * np.sin(p[0] * t), np.ones_like(t), t)
    return np.stack(columns, axis=1)


def _guess(t: Array, v: Array) -> float:
    """Frequency of the spectrum's highest line, a straight slope left out [Hz]."""
    even = np.linspace(0.0, t[-1], 4096)
    flat = np.interp(even, t, v)
    flat = flat - np.polyval(np.polyfit(even, flat, 1), even)
    # The window falls from the start on: one that rises first would hide what decays quickly.
    falling = np.hanning(2 * len(even))[len(even) :]
    lines = np.abs(np.fft.rfft(flat * falling, 8 * len(even)))
    frequencies = np.fft.rfftfreq(8 * len(even), even[1])
    return float(frequencies[int(np.argmax(lines))])


def _errors(jacobian: Array, residual: Array) -> Array:
    """Standard errors of the parameters, widened for correlated samples."""
    size = len(residual)
    variance = float(np.sum(residual**2)) / max(size - 6, 1)
    covariance = variance * np.linalg.pinv(jacobian.T @ jacobian)
    lag = residual - residual.mean()
    power = float(lag @ lag) or 1e-300
    together = float(lag[1:] @ lag[:-1]) / power
    widened = (1.0 + together) / max(1.0 - together, 1e-3) if together > 0.0 else 1.0
    return np.asarray(np.sqrt(np.diag(covariance) * widened))
