"""One commutation drawn by hand: ramps whose crossings are worked out beside each figure.

Boundary at 10 us, dead time 0.6 us: off command at 9.7 us, on command at 10.3 us.
"""

from dataclasses import astuple
from typing import Any

import numpy as np
import pytest

from simkit.measure.commutation import (
    Transition,
    crossing,
    edges,
    legs,
    mode_of,
    most_common,
    transitions,
)
from simkit.measure.gate import gate_lift
from simkit.measure.recovery import (
    _fall,
    last_zero_before_climb,
    recoveries,
    recovery,
    reverse_charge,
    steepest_climb,
)
from simkit.measure.waveforms import Array, Waves
from tests.machines import demo, topology
from tests.waves import waves

US = 1e-6
TIME = np.linspace(0.0, 20.0, 4001) * US
"""Every 5 ns."""
AT = np.array([10.0 * US])


def line(*points: tuple[float, float]) -> Array:
    """Straight lines through points of microseconds and values."""
    return np.interp(TIME, [t * US for t, _ in points], [v for _, v in points])


def drawn(**other: Any) -> Waves:
    """Q1 hands over to Q2, Q4 to Q3; other nodes as given."""
    over = line((9.8, 0.0), (10.2, 300.0))
    gate = line((10.3, 0.0), (10.6, 12.0))
    given: dict[str, Any] = {
        "p": line((9.75, 300.0), (9.76, 350.0)),
        "pa": 0.06 * line((9.7, 10.0), (10.7, 0.0)),
        "xq1__di": over, "xq2__di": 300.0 - over, "xq4__di": over, "xq3__di": 300.0 - over,
        "xq2__gi": gate, "xq3__gi": gate,
    }  # fmt: skip
    return waves(demo(), TIME, **(given | other))


def one(made: Waves, upper_first: bool = True) -> Transition:
    return transitions(made, AT, upper_first)[0]


def test_the_figures_of_one_commutation() -> None:
    found = one(drawn())
    assert (found.outgoing, found.incoming, found.mode) == (1, 2, "inductive")
    assert found.time == pytest.approx(10.0 * US)
    assert found.turn_off_current == pytest.approx(10.0)
    # The gate passes 4 V of 12 V a third of 0.3 us after 10.3 us; the current has lost 7 A by then.
    assert found.available == pytest.approx(0.7 * US)
    assert found.turn_on_current == pytest.approx(3.0)
    # 270 V, nine tenths of the link at the off command, 0.36 us after 9.8 us.
    assert found.needed == pytest.approx(0.46 * US)
    assert found.incoming_voltage == pytest.approx(0.0, abs=1e-9)
    assert found.zero_voltage
    assert found.shoot_through == 0.0


def test_each_leg_hands_over_in_turn_and_the_sign_follows() -> None:
    both = drawn(
        xq1__gi=line((14.3, 0.0), (14.6, 12.0)), xq4__gi=line((14.3, 0.0), (14.6, 12.0)),
        pa=0.06 * line((12.0, 10.0), (12.1, -8.0)),
    )  # fmt: skip
    found = transitions(both, np.array([10.0, 14.0]) * US, True)
    assert [(t.outgoing, t.incoming) for t in found] == [(1, 2), (4, 3), (2, 1), (3, 4)]
    assert [t.turn_off_current for t in found] == pytest.approx([10.0, 10.0, 8.0, 8.0])
    assert [t.turn_on_current for t in found] == pytest.approx([10.0, 10.0, 8.0, 8.0])
    turned = transitions(both, np.array([10.0, 14.0]) * US, False)
    assert [(t.outgoing, t.incoming) for t in turned] == [(2, 1), (3, 4), (1, 2), (4, 3)]
    assert [t.turn_off_current for t in turned] == pytest.approx([-10.0, -10.0, -8.0, -8.0])


def test_legs_of_full_and_half_bridges() -> None:
    assert legs(drawn()) == ((1, 2, "a", 1.0), (3, 4, "b", -1.0))
    half = waves(topology("half-split", "loop", "ideal"), TIME)
    assert legs(half) == ((1, 2, "a", 1.0),)
    assert len(transitions(half, AT, True)) == 1


@pytest.mark.parametrize(
    ("boundary", "count"),
    # Watched from 0.6 us before until 1.3 us after.
    [(0.59, 0), (0.61, 2), (18.69, 2), (18.71, 0)],
)
def test_only_what_was_watched_whole_counts(boundary: float, count: int) -> None:
    assert len(transitions(drawn(), np.array([boundary * US]), True)) == count


@pytest.mark.parametrize(("left", "soft"), [(29.0, True), (30.0, False), (31.0, False)])
def test_zero_voltage_is_less_than_a_tenth_of_the_link(left: float, soft: bool) -> None:
    found = one(drawn(xq2__di=left))
    assert found.incoming_voltage == pytest.approx(left)
    assert found.zero_voltage is soft


def test_a_gate_that_never_comes_and_a_node_that_never_arrives() -> None:
    found = one(drawn(xq2__gi=0.0, xq1__di=269.0))
    assert found.available == np.inf
    assert found.needed == np.inf
    # Read at the end of what is watched, 11.3 us: the ramp has ended in 0 A at 10.7 us.
    assert found.turn_on_current == pytest.approx(0.0, abs=1e-9)
    assert found.incoming_voltage == pytest.approx(0.0, abs=1e-9)
    assert found.mode == "resonant"


def test_a_gate_that_bounces_before_the_boundary_does_not_count() -> None:
    bounced = line((9.8, 0.0), (9.85, 6.0), (9.9, 0.0), (10.3, 0.0), (10.6, 12.0))
    assert one(drawn(xq2__gi=bounced)).available == pytest.approx(0.7 * US)


def test_charge_of_both_channels_at_once() -> None:
    # Triangles of 8 A and 4 A over the same 0.2 us: the smaller is 0.5 x 4 A x 0.2 us.
    wave = line((10.4, 0.0), (10.5, 1.0), (10.6, 0.0))
    assert one(drawn(i1=8.0 * wave, i2=4.0 * wave)).shoot_through == pytest.approx(0.4e-6)
    assert one(drawn(i1=8.0 * wave, i2=-4.0 * wave)).shoot_through == 0.0


def test_crossing_takes_the_first_and_a_sample_on_the_level_is_not_above() -> None:
    time, values = np.arange(6.0), np.array([0.0, 1.0, 2.0, 0.0, 4.0, 0.0])
    assert crossing(time, values, 1.0) == 1.0
    assert crossing(time, values, 2.0) == 3.5
    assert crossing(time, values, 1.0, rising=False) == 2.5
    assert crossing(time, values, 0.0, rising=False) == 3.0
    assert crossing(time + 10.0, values * 2.0, 1.0) == 10.5


@pytest.mark.parametrize(
    ("off", "on", "wanted"),
    [(0.0, 1.0, "inductive"), (0.0, 0.0, "resonant"), (1.0, 0.0, "resonant")],
)
def test_mode_where_a_current_is_nought(off: float, on: float, wanted: str) -> None:
    assert mode_of(off, on) == wanted


def test_the_mode_of_most() -> None:
    led = one(drawn(pa=-0.06))
    assert led.mode == "capacitive"
    assert most_common([one(drawn()), led, led]) == "capacitive"
    assert most_common([one(drawn()), one(drawn()), led]) == "inductive"
    assert most_common([]) == "resonant"
    # Of equals the first, in every process: no order of a set decides.
    assert most_common([one(drawn()), led]) == "inductive"
    assert most_common([led, one(drawn())]) == "capacitive"


def test_the_lift_is_looked_for_from_the_on_command_for_a_microsecond() -> None:
    gate = line((10.25, 9.0), (10.29, 0.0), (10.4, 0.0), (10.5, 3.0), (10.6, 0.0), (11.31, 0.0),
                (11.35, 8.0))  # fmt: skip
    made = drawn(xq1__gi=gate, xq2__gi=7.0)
    lift = gate_lift(made, one(made))
    assert (lift.switch, lift.voltage, lift.margin) == pytest.approx((1, 3.0, 1.0))
    assert lift.time == pytest.approx(10.5 * US)


def recovering(**other: Any) -> Waves:
    """Q1's diode: 20 A falls by 100 A/us from 10.4 us, 10 A of reverse peak, gone at 10.9 us."""
    current = line((9.98, 25.0), (9.99, 20.0), (10.4, 20.0), (10.7, -10.0), (10.9, 0.0))
    climb = line((10.6, 0.0), (10.7, 300.0), (10.71, 330.0), (10.72, 300.0))
    given: dict[str, Any] = {
        "p": line((9.75, 300.0), (9.8, 280.0)), "xq1__da": -0.01 * current, "xq1__di": climb
    }  # fmt: skip
    return drawn(**(given | other))


def test_the_figures_of_one_recovery() -> None:
    made = recovering()
    found = recovery(made, one(made))
    assert found is not None
    assert found.switch == 1
    assert found.time == pytest.approx(10.6 * US)
    # 25 A flowed earlier than a dead time before.
    assert found.forward_current == pytest.approx(20.0)
    assert found.peak_current == pytest.approx(10.0)
    assert found.di_dt == pytest.approx(100e6)
    # 0.5 x 10 A x 0.1 us, and from 10 A down to 2.5 A in 0.15 us.
    assert found.charge == pytest.approx(0.5e-6 + 0.5 * 12.5 * 0.15e-6, rel=0.01)
    assert found.dv_dt == pytest.approx(3e9)
    assert found.overshoot == pytest.approx(30.0)
    assert recoveries(made, (one(made),)) == (found,)


def test_only_the_dead_time_and_a_microsecond_after_are_looked_at() -> None:
    # Watched from 9.7 us, the off command, until 11.3 us. The link falls from 350 V to 300 V
    # before and from there at once to 280 V; the drain has a spike of 400 V when all is over.
    spike = line((10.6, 0.0), (10.7, 300.0), (10.71, 330.0), (10.72, 300.0), (11.4, 300.0),
                 (11.45, 400.0), (11.5, 300.0))  # fmt: skip
    first = np.searchsorted(TIME, AT[0] - 0.5 * demo().drive.dead_time)
    link = np.where(TIME < 9.65 * US, 350.0, np.where(np.arange(len(TIME)) <= first, 300.0, 280.0))
    made = recovering(p=link, xq1__di=spike)
    found = recovery(made, one(made))
    assert found is not None
    assert found.overshoot == pytest.approx(30.0)
    assert {type(v) for v in astuple(found)} == {int, float}
    assert type(found.switch) is int


def test_what_has_no_slope() -> None:
    # Forward until nought in no time, and a jump of the voltage between two samples of one time.
    assert np.isnan(_fall(np.array([0.0, 1.0]), np.array([2.0, -2.0]), 2.0, 0.0))
    assert _fall(np.array([0.0, 1.0]), np.array([2.0, -2.0]), 2.0, 0.5) == 4.0
    assert np.isnan(_fall(np.array([0.0, 1.0]), np.array([1.0, -1.0]), 2.0, 0.0))
    time, volts = np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 30.0, 80.0, 100.0])
    # A jump from 30 to 80 V: of the levels half a volt apart the last one below it is 29.5 V.
    assert steepest_climb(time, volts, 100.0) == pytest.approx(0.2 * 100.0 / (0.5 / 30.0))
    step = np.array([0.0, 0.0, 100.0, 100.0])
    assert np.isnan(steepest_climb(time, step, 100.0))


def test_the_least_forward_current_that_recovers() -> None:
    least = recovering(xq1__da=-0.01 * line((10.4, 0.3), (10.7, -10.0), (10.9, 0.0)))
    found = recovery(least, one(least))
    assert found is not None
    assert found.forward_current == 0.3


def test_what_is_no_recovery() -> None:
    for other in (
        {"xq1__di": 0.0},
        {"xq1__da": 0.0},
        # Forward less than what stores charge, and a current that ends in nothing.
        {"xq1__da": -0.01 * line((10.4, 0.29), (10.7, -10.0), (10.9, 0.0))},
        {"xq1__da": -0.01 * line((10.4, 20.0), (10.6, 0.0))},
    ):
        made = recovering(**other)
        assert recovery(made, one(made)) is None
        assert recoveries(made, (one(made),)) == ()
    made = recovering(xq1__da=-0.01 * line((10.4, 0.31), (10.7, -10.0), (10.9, 0.0)))
    found = recovery(made, one(made))
    assert found is not None
    assert found.forward_current == pytest.approx(0.31)


def test_the_slope_is_taken_from_half_the_forward_current_on() -> None:
    # 50 A/us down to 10 A, which is half, then 200 A/us: the latter counts.
    current = line((10.2, 20.0), (10.4, 10.0), (10.5, -10.0), (10.7, 0.0))
    made = recovering(xq1__da=-0.01 * current)
    found = recovery(made, one(made))
    assert found is not None
    # 10 A lies between two samples 5 ns apart, the straight line between which passes it up to
    # 1 ns early or late of the 50 ns to zero.
    assert found.di_dt == pytest.approx(200e6, rel=0.02)


@pytest.mark.parametrize("shift", np.arange(0.0, 8e-9, 1e-9))
def test_the_slope_does_not_depend_on_where_the_samples_fall(shift: float) -> None:
    """20 A - a t^2, as a gate that rises steadily takes it over, zero after 60 ns: from half to
    zero 10 A in 60 ns (1 - 1/sqrt 2). Samples 8 ns apart: a chord lies up to a 8^2/8 ns^2 = 44 mA
    below, 0.2 ns of 18 at half height and 0.13 at zero."""
    time = np.arange(-40e-9, 90e-9, 8e-9) + shift
    current = 20.0 - 20.0 * np.sign(time) * (time / 60e-9) ** 2
    k = int(np.flatnonzero(current > 0.0)[-1])
    zero = time[k] + current[k] / (current[k] - current[k + 1]) * 8e-9
    wanted = 10.0 / (60e-9 * (1.0 - 1.0 / np.sqrt(2.0)))
    assert _fall(time, current, 20.0, zero) == pytest.approx(wanted, rel=0.02)


def test_a_zero_of_the_current_may_lie_on_a_sample() -> None:
    time = np.arange(5.0)
    climb = np.array([0.0, 0.0, 0.0, 9.0, 9.0])
    assert last_zero_before_climb(time, np.array([2.0, 1.0, 0.0, -1.0, 0.0]), climb, 9.0) == 2.0
    # A climb ends on the sample after it: the current may still change there, not later.
    assert last_zero_before_climb(time, np.array([2.0, 2.0, 2.0, -2.0, 0.0]), climb, 9.0) == 2.5
    assert last_zero_before_climb(time, np.array([2.0, 2.0, 2.0, 2.0, -2.0]), climb, 9.0) is None
    # Half the link: 4 V of 9 V are no climb, 5 V are.
    low = np.array([0.0, 0.0, 0.0, 4.0, 4.0])
    fall = np.array([2.0, 1.0, -1.0, -1.0, 0.0])
    assert last_zero_before_climb(time, fall, low, 9.0) is None
    assert last_zero_before_climb(time, fall, low + 1.0, 9.0) == 1.5
    # Touching half the link is not passing it.
    assert last_zero_before_climb(time, fall, low, 8.0) is None


def test_reverse_charge_that_never_falls_back_counts_to_the_end() -> None:
    time = np.arange(4.0)
    assert reverse_charge(time, np.array([0.0, -8.0, -4.0, -4.0]), 8.0) == 4.0 + 6.0 + 4.0
    # At a quarter it stops; what flows forward is no charge taken out.
    assert reverse_charge(time, np.array([4.0, -8.0, -2.0, -2.0]), 8.0) == 4.0 + 5.0


def test_the_steepest_fifth_between_a_tenth_and_nine_tenths() -> None:
    # 10 V steps at 100 V: 10 V/s, but 20 V/s from 60 to 80 V; beyond 90 V and below 10 V at once.
    time = np.array([0.0, 0.001, 5.001, 6.001, 7.001, 7.002])
    volts = np.array([0.0, 10.0, 60.0, 80.0, 90.0, 200.0])
    assert steepest_climb(time, volts, 100.0) == pytest.approx(20.0)
    # A climb that ends at half its way has a slope too; one of less than a fifth has none.
    assert steepest_climb(np.array([0.0, 5.0]), np.array([0.0, 50.0]), 100.0) == pytest.approx(10.0)
    assert np.isnan(steepest_climb(np.array([0.0, 5.0]), np.array([0.0, 25.0]), 100.0))


def test_the_steepest_fifth_may_begin_anywhere() -> None:
    """100 V/s from 12.5 to 32.5 V, 50 V/s beside it: from a twentieth to a twentieth of the link it
    would be 20 V in 0.25 s, four fifths of it."""
    time = np.cumsum([0.0, 0.25, 0.2, 1.35])
    volts = np.array([0.0, 12.5, 32.5, 100.0])
    assert steepest_climb(time, volts, 100.0) == pytest.approx(100.0)


@pytest.mark.parametrize(("before", "watched"), [(6.0, 1.0), (0.0, 9.4)])
def test_a_gate_that_is_up_before_its_command_has_no_delay(before: float, watched: float) -> None:
    """As one without its driver's supply may be: watched for a microsecond, not until it happens
    to pass 4 V once more. Half a period of 10 us, less 0.6 us between commands."""
    gate = line((10.4, before), (12.0, 0.0), (14.0, 0.0), (14.1, 6.0))
    made = drawn(xq2__gi=gate, xq3__gi=gate)
    found = edges(made, np.array([10.0, 20.0]) * US, True)[0]
    assert found.watched == pytest.approx(watched * US)
