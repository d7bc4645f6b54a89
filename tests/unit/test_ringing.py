"""Ringing measured on samples made by the closed formula of a damped sine.

The figures expected are those the samples were made from.
"""

from dataclasses import astuple
from math import pi

import numpy as np
import pytest

from simkit.measure import ringing as module
from simkit.measure.ringing import NoRinging, _errors, _guess, ringing


def samples(
    frequency: float, quality: float, noise: float, cycles: float
) -> tuple[np.ndarray, ...]:
    time = np.linspace(0.0, cycles / frequency, 3000)
    envelope = np.exp(-time * pi * frequency / quality)
    clean = 3.0 * envelope * np.cos(2.0 * pi * frequency * time + 0.7) + 0.2
    return time + 5e-3, clean + noise * np.random.default_rng(5).standard_normal(len(time))


@pytest.mark.parametrize(("frequency", "quality"), [(79e3, 40.0), (79e3, 9.0), (24e6, 4.0)])
def test_frequency_and_q_come_back(frequency: float, quality: float) -> None:
    found = ringing(*samples(frequency, quality, 0.03, 12.0))
    # Four standard errors: 1 in 16 000 by chance, and the seed is fixed.
    assert abs(found.frequency - frequency) < 4.0 * found.frequency_error
    assert abs(found.quality - quality) < 4.0 * found.quality_error
    # With 1 % noise and thousands of samples a per cent of Q is reached easily.
    assert found.quality_error < 0.02 * quality


def test_errors_are_of_the_size_of_the_scatter() -> None:
    truth, far = (79e3, 20.0), []
    for seed in range(30):
        time, _ = samples(*truth, 0.0, 10.0)
        clean = samples(*truth, 0.0, 10.0)[1]
        noisy = clean + 0.1 * np.random.default_rng(seed).standard_normal(len(time))
        found = ringing(time, noisy)
        far.append((found.quality - truth[1]) / found.quality_error)
    # The rms of 30 standard normals lies between 0.7 and 1.35 in all but 1 of 100 cases
    # (chi-square with 30 degrees of freedom).
    assert 0.7 < float(np.sqrt(np.mean(np.square(far)))) < 1.35


@pytest.mark.parametrize(
    "values",
    [np.random.default_rng(1).standard_normal(500), np.exp(-np.linspace(0, 5, 500)), np.zeros(500)],
    ids=["noise", "a plain decay", "nothing"],
)
def test_what_does_not_ring_is_not_measured(values: np.ndarray) -> None:
    with pytest.raises(NoRinging):
        ringing(np.linspace(0.0, 1e-3, 500), values)


def test_a_long_trace_is_thinned_evenly() -> None:
    # 20,000 samples of 50 kHz that fall by 1/e in 0.2 ms: every fifth is enough, and all of them
    # would say the same; numbers as the trace was made.
    time = np.linspace(0.0, 1e-3, 20_001) + 5.0
    late = time - 5.0
    volts = 3.0 * np.exp(-late / 2e-4) * np.cos(2 * np.pi * 50e3 * late) + 0.7
    found = ringing(time, volts)
    assert found.frequency == pytest.approx(50e3, rel=1e-6)
    assert found.decay == pytest.approx(2e-4, rel=1e-5)


def damped(
    time: np.ndarray, frequency: float, rate: float, phase: float = 0.7, size: float = 3.0
) -> np.ndarray:
    """A damped sine: frequency [Hz], rate of its decay [1/s], size at the start [V]."""
    made = size * np.exp(-rate * time) * np.cos(2.0 * pi * frequency * time + phase)
    return np.asarray(made)


@pytest.mark.parametrize("phase", [0.0, 0.7, 2.0, 3.5, 5.0])
@pytest.mark.parametrize(("cycles", "falls"), [(10.0, 20.0), (50.0, 166.0), (100.0, 50.0)])
def test_a_ringing_that_dies_early_in_the_trace_is_found(
    cycles: float, falls: float, phase: float
) -> None:
    # A second of trace; the envelope falls to 1/e twenty times and more before it ends.
    time = np.linspace(0.0, 1.0, 1500)
    found = ringing(time, damped(time, cycles, falls, phase) + 0.2 - 0.4 * time)
    assert found.frequency == pytest.approx(cycles, rel=1e-4)
    assert found.decay == pytest.approx(1.0 / falls, rel=1e-4)


def bound_of(time: np.ndarray, frequency: float, rate: float, noise: float) -> np.ndarray:
    """Cramer-Rao bound of frequency [Hz] and rate [1/s]: noise times the root of the inverse of
    J'J, J the closed derivatives by the six unknowns (any text on estimation)."""
    turn = 2.0 * pi * frequency * time + 0.7
    sine, cosine = (3.0 * np.exp(-rate * time) * f(turn) for f in (np.sin, np.cos))
    slopes = (-2.0 * pi * time * sine, -time * cosine, cosine, sine, np.ones_like(time), time)
    slope = np.stack(slopes, axis=1)
    return np.asarray(noise * np.sqrt(np.diag(np.linalg.inv(slope.T @ slope)))[:2])


@pytest.mark.parametrize(("cycles", "falls"), [(1.7, 1.5), (12.0, 4.0), (100.0, 1.0)])
def test_the_errors_are_the_cramer_rao_bound(cycles: float, falls: float) -> None:
    time = np.linspace(0.0, 1.0, 4000)
    noise = 0.02 * np.random.default_rng(2).standard_normal(len(time))
    found = ringing(time, damped(time, cycles, falls) + 0.2 + noise)
    by_frequency, by_rate = bound_of(time, cycles, falls, 0.02)
    # 4000 samples tell their scatter to 1.1 %, and how they hang together to 1.6 %.
    assert found.frequency_error == pytest.approx(by_frequency, rel=0.05)
    assert found.decay_error == pytest.approx(by_rate / falls**2, rel=0.05)
    assert {type(value) for value in astuple(found)} == {float}
    assert {type(found.quality), type(found.quality_error)} == {float}
    both = np.hypot(found.frequency_error / cycles, found.decay_error * falls)
    assert found.quality_error == pytest.approx(pi * cycles / falls * both, rel=0.01)


def test_the_bound_of_a_long_ringing_in_closed_form() -> None:
    # With M_k the integral of t^k exp(-2at), var(w) = 2 s^2 dt/A^2 M_0/(M_0 M_2 - M_1^2)
    # = 16 s^2 dt a^3/A^2: what the bound above is held against.
    time = np.linspace(0.0, 1.0, 20_000)
    by_frequency, by_rate = bound_of(time, 200.0, 15.0, 0.02)
    closed = 4.0 * 0.02 / 3.0 * (time[1] * 15.0**3) ** 0.5
    assert 2.0 * pi * by_frequency == pytest.approx(closed, rel=0.01)
    assert by_rate == pytest.approx(closed, rel=0.01)


def test_the_share_explained_is_what_the_noise_leaves() -> None:
    # Far from nought and in thousandths of a volt: the mean is no part of the variance.
    time = np.linspace(0.0, 1.0, 4000)
    noise = 0.5e-3 * np.random.default_rng(3).standard_normal(len(time))
    values = damped(time, 12.0, 2.0, size=2e-3) + 5.0 + noise
    share = 1.0 - np.sum(noise**2) / np.sum((values - values.mean()) ** 2)
    assert 0.5 < share < 0.8
    assert ringing(time, values).explained == pytest.approx(share, abs=0.005)
    # Microvolts without noise: all of it.
    small = ringing(time, damped(time, 12.0, 2.0, size=1e-6))
    assert small.explained == pytest.approx(1.0, abs=1e-6)
    assert small.frequency == pytest.approx(12.0, rel=1e-6)
    large = ringing(time, damped(time, 12.0, 2.0, size=1e6))
    assert large.decay == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize(
    ("cycles", "enough"), [(1.3, False), (1.49, False), (1.51, True), (1.6, True), (2.2, True)]
)
def test_one_and_a_half_cycles_are_enough(cycles: float, enough: bool) -> None:
    # Forty samples, so that one of them is 0.04 cycles.
    time = np.linspace(0.0, 1.0, 40)
    values = damped(time, cycles, 1.5)
    if enough:
        assert ringing(time, values).frequency == pytest.approx(cycles, rel=1e-6)
    else:
        with pytest.raises(NoRinging):
            ringing(time, values)


def test_a_ringing_of_seconds_and_one_that_swells() -> None:
    time = np.linspace(0.0, 4.0, 800)
    found = ringing(time, damped(time, 5.0, 0.5))
    assert (found.frequency, found.decay) == pytest.approx((5.0, 2.0), rel=1e-6)
    with pytest.raises(NoRinging):
        ringing(time, damped(time, 5.0, -0.5))


@pytest.mark.parametrize(("size", "step"), [(3000, 1), (7999, 1), (8000, 2), (20_000, 5)])
def test_of_a_long_trace_every_so_manieth_sample_counts(size: int, step: int) -> None:
    time = np.linspace(0.0, 1.0, size)
    values = damped(time, 12.0, 2.0) + 0.2
    left_out = np.arange(size) % step != 0
    assert ringing(time, np.where(left_out, 99.0, values)).explained == pytest.approx(1.0)
    # One sample more is one too many.
    between = np.arange(size) % (step + 1) != 0
    with_gaps = np.where(between & ~left_out, values + 0.5, values)
    assert ringing(time, np.where(left_out, 99.0, with_gaps)).explained < 0.999


# --- standard errors, by hand ------------------------------------------------------------------


def test_the_variance_is_what_is_left_over_all_but_six_unknowns() -> None:
    # Residuals whose neighbours have opposite signs are not widened. Two frequencies of the
    # Jacobian's columns, at right angles: the inverse is one over their squares.
    for size, left in ((8, 2), (7, 1), (6, 1), (5, 1)):
        residual = np.resize([1.0, -1.0], size)
        slope = np.zeros((size, 2))
        slope[0, 0], slope[1, 1] = 2.0, 5.0
        wanted = (size / left) ** 0.5 / np.array([2.0, 5.0])
        assert _errors(slope, residual) == pytest.approx(wanted)


def test_neighbours_that_hang_together_widen_the_errors() -> None:
    # A first-order process of correlation r: variance of a mean times (1 + r)/(1 - r) (any text
    # on time series). Threes of equal sign, twelve of them: r = 5/12, so 17/7.
    residual = np.resize([1.0, 1.0, 1.0, -1.0, -1.0, -1.0], 12)
    slope = np.eye(12)[:, :2]
    assert _errors(slope, residual) == pytest.approx([(12 / 6 * 17 / 7) ** 0.5] * 2)
    # An offset of all of them is scatter, but says nothing of how they hang together.
    lifted = _errors(slope, residual + 3.0)
    assert lifted == pytest.approx([(12 * 10.0 / 6 * 17 / 7) ** 0.5] * 2)


def test_the_widening_has_a_largest_value_and_nought_has_no_error() -> None:
    # One slow wave in 4000 samples: neighbours alike to a millionth; a thousand samples are the
    # longest that is believed.
    residual = np.sin(2.0 * pi * np.arange(4000) / 4000)
    wanted = (0.5 * 4000 / 3994 * 2.0 / 1e-3) ** 0.5
    slope = np.zeros((4000, 2))
    slope[0, 0] = slope[1, 1] = 1.0
    assert _errors(slope, residual) == pytest.approx([wanted] * 2, rel=1e-5)
    assert _errors(np.eye(12)[:, :2], np.zeros(12)).tolist() == [0.0, 0.0]


# --- where the search begins -------------------------------------------------------------------


@pytest.mark.parametrize("phase", [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
@pytest.mark.parametrize(("frequency", "rate"), [(5.2, 0.5), (100.03, 0.5), (100.03, 20.0)])
def test_the_search_begins_within_a_line_of_the_spectrum(
    frequency: float, rate: float, phase: float
) -> None:
    # Filled up to eight times its length: a line every 1/8 Hz.
    time = np.linspace(0.0, 1.0, 3000)
    start = _guess(time, damped(time, frequency, rate, phase) + 0.2 - 3.0 * time)
    assert abs(start - frequency) < 1 / 8
    assert type(start) is float


def test_a_drift_is_not_taken_for_the_ringing() -> None:
    time = np.linspace(0.0, 1.0, 3000)
    assert 1.4 < _guess(time, damped(time, 1.6, 0.5) - 30.0 * time) < 1.9
    # The same in a thousandth of the time, and with a thousand millionth of the volts.
    bent = damped(time, 40.0, 20.0, size=1.0) + 0.5 * time**2
    for volts in (bent, 1e-9 * bent):
        assert _guess(1e-3 * time, volts) == pytest.approx(40e3, abs=200.0)


def test_a_search_that_ends_on_the_mirrored_frequency(monkeypatch: pytest.MonkeyPatch) -> None:
    # cos(-wt) is cos(wt): begun below nought, the search ends there.
    monkeypatch.setattr(module, "_guess", lambda t, v: -12.0)
    time = np.linspace(0.0, 1.0, 800)
    found = ringing(time, damped(time, 12.0, 2.0))
    assert (found.frequency, found.quality) == pytest.approx((12.0, 6.0 * pi), rel=1e-6)


@pytest.mark.parametrize(("cycles", "falls", "noise"), [(300.0, 1.0, 0.3), (250.0, 5.0, 0.2)])
def test_hundreds_of_cycles_in_noise(cycles: float, falls: float, noise: float) -> None:
    # A search that begins half as high again, or an octave off, ends in the noise.
    time = np.linspace(0.0, 1.0, 3000)
    scatter = noise * np.random.default_rng(6).standard_normal(len(time))
    found = ringing(time, damped(time, cycles, falls, size=1.0) + scatter)
    assert abs(found.frequency - cycles) < 4.0 * found.frequency_error
    assert found.frequency_error < 1e-3 * cycles
