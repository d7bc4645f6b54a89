"""Junction temperature against the step response of a resistor-capacitor ladder and by hand."""

import numpy as np
import pytest

from simkit.measure.thermal import (
    held_junction,
    junction_course,
    settled_junction,
    time_to_limit,
    transient_impedance,
)
from tests.machines import demo


def test_impedance_passes_through_its_points_and_ends_at_the_steady_value() -> None:
    ratings = demo().switch.ratings
    for point in ratings.transient:
        found = transient_impedance(ratings, np.array([point.time]))[0]
        assert found == pytest.approx(point.impedance, rel=1e-9)
    assert transient_impedance(ratings, np.array([10.0]))[0] == ratings.thermal_resistance
    assert transient_impedance(ratings, np.array([0.0, -1.0])).tolist() == [0.0, 0.0]


def test_impedance_follows_the_root_of_time_below_the_first_point() -> None:
    # Semi-infinite slab: Z proportional to sqrt(t) (any heat-transfer textbook).
    ratings = demo().switch.ratings
    first = ratings.transient[0]
    found = transient_impedance(ratings, np.array([first.time / 100.0]))[0]
    assert found == pytest.approx(first.impedance / 10.0, rel=1e-9)


def test_settled_junction_by_hand() -> None:
    machine = demo()
    cooling, ratings = machine.cooling, machine.switch.ratings
    wanted = cooling.ambient + 40.0 * cooling.heatsink_resistance
    wanted += 10.0 * (cooling.pad_resistance + ratings.thermal_resistance)
    assert settled_junction(machine, 10.0, 40.0) == pytest.approx(wanted)


def test_two_equal_half_steps_add_up_to_superposition() -> None:
    ratings = demo().switch.ratings
    times = np.array([0.0, 1e-3, 2e-3])
    course = junction_course(ratings, 50.0, 0.0, times, np.array([100.0, 100.0, 300.0]))
    one = transient_impedance(ratings, np.array([1e-9, 1e-3 + 1e-9, 2e-3 + 1e-9]))
    assert course[1] == pytest.approx(50.0 + 100.0 * one[1], rel=1e-9)
    assert course[2] == pytest.approx(50.0 + 100.0 * one[2] + 200.0 * one[0], rel=1e-9)


def test_time_to_limit_inverts_the_held_temperature() -> None:
    ratings = demo().switch.ratings
    for hold in (1e-4, 1e-3, 3e-2):
        reached = held_junction(ratings, 40.0, 5.0, 905.0, hold)
        # The grid has a hundred points a decade: 2.3 %.
        assert time_to_limit(ratings, 40.0, 5.0, 905.0, reached) == pytest.approx(hold, rel=0.03)
    assert time_to_limit(ratings, 40.0, 5.0, 6.0, 126.0) == float("inf")
    assert time_to_limit(ratings, 130.0, 5.0, 6.0, 126.0) == 0.0
