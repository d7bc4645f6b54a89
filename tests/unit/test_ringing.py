"""Ringing measured on samples made by the closed formula of a damped sine.

The figures expected are those the samples were made from.
"""

from math import pi

import numpy as np
import pytest

from simkit.measure.ringing import NoRinging, ringing


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
