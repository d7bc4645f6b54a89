"""The field inside metal in a long coil against what a practical measured.

The values used were fixed before the comparison (copper 58 MS/m from the handbook), though the
measurements had been seen; the aluminium's conductivity is in no source, so one number is fitted
to each row and to both together. What had to change: nothing in the method.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from simkit.parts.bodies import Piece
from simkit.parts.skin import wavenumber
from tests.measured.data import (
    COIL_LENGTH,
    COPPER_TUBE,
    CYLINDER,
    CYLINDER_RADIUS,
    PROFILE,
    PROFILE_FREQUENCY,
    STEEL_TUBE,
    TUBE_RADII,
)
from tests.measured.field import on_axis

Rows = tuple[tuple[float, float, float], ...]
TUBE = Piece(2 * TUBE_RADII[1], COIL_LENGTH, TUBE_RADII[1] - TUBE_RADII[0])


def axis_of_rod(conductivity: float, frequency: float, radius: float = 0.0) -> complex:
    """I0(k r)/I0(k a): the field in a long rod over that at its surface [1]; W. R. Smythe."""
    from scipy.special import iv

    k = wavenumber(1.0 / conductivity, frequency)
    return complex(iv(0, k * radius) / iv(0, k * CYLINDER_RADIUS))


def off(fields: list[complex], rows: Rows, first: int = 0) -> tuple[NDArray, NDArray]:
    """Magnitude over measured less 1, scaled at row `first`, and lag less measured [deg]."""
    measured = np.array(rows)
    size, lag = np.abs(fields), -np.degrees(np.unwrap(np.angle(fields)))
    size = size / size[first] * measured[first, 1]
    return size / measured[:, 1] - 1.0, lag - measured[:, 2]


def cylinder(conductivity: float) -> tuple[NDArray, NDArray]:
    rows = CYLINDER[:13]  # the last, 0.6 mV, is at the meter's end
    return off([axis_of_rod(conductivity, f) for f, _, _ in rows], rows)


def test_aluminium_cylinder_to_200_hz() -> None:
    """Within 5 % and 6 degrees, each at the conductivity that fits it best, 22 to 25 MS/m."""
    assert np.max(np.abs(cylinder(24.0e6)[0])) < 0.05
    assert np.max(np.abs(cylinder(23.0e6)[1])) < 6.0


def test_aluminium_cylinder_with_one_conductivity() -> None:
    """23.5 MS/m for both: within 8 % and 8 degrees to 160 Hz; at 200 Hz 10 % and 8.1 degrees."""
    size, lag = cylinder(23.5e6)
    assert np.max(np.abs(size[:12])) < 0.08
    assert np.max(np.abs(lag[:12])) < 8.0
    assert abs(size[12]) < 0.11


def test_rings_make_the_closed_answer_where_the_field_is_not_nearly_gone() -> None:
    """Rings that fill the rod: to within 1 % of the field applied. Their collocation's error."""
    rod = Piece(2 * CYLINDER_RADIUS, COIL_LENGTH, None)
    for frequency in (10.0, 40.0):
        ring, closed = on_axis(rod, 23.5e6, frequency), axis_of_rod(23.5e6, frequency)
        assert abs(ring - closed) < 0.015


def test_field_into_the_aluminium_at_450_hz() -> None:
    """Down 20 mm into it, with the 23.5 MS/m of the other series: a second set, nothing tuned.

    Magnitude from the first point inside, 42.5 mm, within 6 % while it falls 26-fold; at the edge
    itself, where the probe is half outside, 15 %. The phase lies 5 to 24 degrees behind what was
    read, which is that of a place 2 mm further out: a probe of some millimetres.
    """
    fields = [axis_of_rod(23.5e6, PROFILE_FREQUENCY, r * 1e-3) for r, _, _ in PROFILE]
    size, lag = off(fields, PROFILE, first=-2)
    assert np.max(np.abs(size[:-1])) < 0.06
    assert np.max(np.abs((lag + 180.0) % 360.0 - 180.0)) < 25.0


# Every fifth row of the steel's and every fourth of the copper's in the quick run.
@pytest.mark.parametrize("step", [pytest.param(1, marks=pytest.mark.slow), 6])
def test_stainless_tube(step: int) -> None:
    """1.25 MS/m: within 5 % but for two odd points (200, 400 Hz: 6.5 %), 3 degrees to 1.75 kHz
    and 9 above."""
    rows = STEEL_TUBE[::step]
    size, lag = off([on_axis(TUBE, 1.25e6, f) for f, _, _ in rows], rows)
    odd = np.array([f in (200.0, 400.0) for f, _, _ in rows])
    low = np.array([f < 1800.0 for f, _, _ in rows])
    assert np.max(np.abs(size[~odd])) < 0.05
    assert np.max(np.abs(size)) < 0.065
    assert np.max(np.abs(lag[low])) < 3.0
    assert np.max(np.abs(lag)) < 9.0


@pytest.mark.parametrize("step", [pytest.param(1, marks=pytest.mark.slow), 5])
def test_copper_tube_blind(step: int) -> None:
    """58 MS/m, the handbook's copper: within 6 % from 60 to 0.7 mV, phase within 12 degrees.

    The field falls a hundredfold. With 52 MS/m, which the practical fitted, the phase is within
    3 degrees and the magnitude within 18 %: no one value serves both, as with the aluminium.
    """
    rows = COPPER_TUBE[::step]
    size, lag = off([on_axis(TUBE, 58e6, f) for f, _, _ in rows], rows)
    assert np.max(np.abs(size)) < 0.06
    assert np.max(np.abs(lag)) < 12.0


def test_the_practical_skin_is_what_the_tests_are_about() -> None:
    """At 200 Hz the skin of the cylinder is a seventh of its radius: no thin-field case."""
    depth = math.sqrt(1.0 / (math.pi * 200.0 * 4e-7 * math.pi * 23.5e6))
    assert 0.1 < depth / CYLINDER_RADIUS < 0.2
