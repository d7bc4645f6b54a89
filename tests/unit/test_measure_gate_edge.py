"""Edges of the gates drawn by hand: ramps whose crossings and areas are worked out beside each.

Boundary at 10 us, dead time 0.6 us: off command at 9.7 us, on command at 10.3 us; watched from
9.4 us until 11.3 us. Threshold 4 V, link 300 V.
"""

from typing import Any

import numpy as np
import pytest

from simkit.measure.commutation import Transition, transitions
from simkit.measure.gate_edge import (
    UNITS,
    damping_ratio,
    edge_figures,
    gate_edge_series,
    gate_ringing,
)
from simkit.measure.ringing import Ringing
from simkit.measure.waveforms import Array, Waves
from tests.machines import demo, varied
from tests.waves import waves

US = 1e-6
TIME = np.linspace(9.0, 12.0, 3001) * US
"""Every nanosecond."""
AT = np.array([10.0 * US])
MACHINE = varied(demo(), {"drive.edge_time": 0.04 * US})


def line(*points: tuple[float, float]) -> Array:
    """Straight lines through points of microseconds and values."""
    return np.interp(TIME, [t * US for t, _ in points], [v for _, v in points])


def drawn(machine: Any = MACHINE, **other: Any) -> Waves:
    """Q1 hands over to Q2; levels of 12 V and -2 V, from which both gates stray."""
    given: dict[str, Any] = {
        "p": 300.0,
        # A spike before the off command and a level before that count for nothing.
        "xq1__gi": line((9.42, 7.0), (9.45, 20.0), (9.5, 12.0), (9.7, 12.0), (9.94, 0.0),
                        (10.0, -5.0), (10.1, -2.0), (11.31, -2.0), (11.4, -40.0)),
        "xq2__gi": line((9.42, -2.0), (9.45, -30.0), (9.5, -2.0), (10.3, -2.0), (10.45, 13.0),
                        (10.5, 12.0), (11.31, 12.0), (11.4, 40.0)),
    }  # fmt: skip
    return waves(machine, TIME, **(given | other))


def one(made: Waves) -> Transition:
    return transitions(made, AT, True)[0]


def figures(**other: Any) -> dict[str, float]:
    made = drawn(**other)
    return edge_figures(made, one(made))


def test_delays_and_excursions_of_one_commutation() -> None:
    found = figures()
    assert set(found) == set(UNITS)
    # 50 V/us from 12 V down: 4 V after 0.16 us. 100 V/us from -2 V up: 4 V after 0.06 us.
    assert found["turn_off_delay"] == pytest.approx(0.16 * US)
    assert found["turn_on_delay"] == pytest.approx(0.06 * US)
    assert found["dead_time_eaten"] == pytest.approx(0.10 * US)
    assert found["overshoot"] == pytest.approx(1.0)
    assert found["undershoot"] == pytest.approx(3.0)
    assert (found["turn_off_energy"], found["turn_on_energy"]) == (0.0, 0.0)
    assert {type(v) for v in found.values()} == {float}


def test_either_gate_may_stray_and_none_need() -> None:
    # The other way about: the outgoing gate rises by 3 V, the incoming one falls by 4 V.
    found = figures(
        xq1__gi=line((9.7, 12.0), (9.75, 15.0), (9.94, 0.0), (10.1, -2.0)),
        xq2__gi=line((9.8, -2.0), (9.9, -6.0), (10.0, -2.0), (10.3, -2.0), (10.45, 12.0)),
    )
    assert (found["overshoot"], found["undershoot"]) == pytest.approx((3.0, 4.0))
    calm = figures(xq1__gi=line((9.7, 12.0), (9.94, -1.0)),
                   xq2__gi=line((9.65, -2.0), (9.7, -1.0), (10.3, -1.0), (10.4, 11.0)))  # fmt: skip
    assert (calm["overshoot"], calm["undershoot"]) == (0.0, 0.0)


def test_a_gate_that_never_falls() -> None:
    found = figures(xq1__gi=12.0)
    assert found["turn_off_delay"] == np.inf
    assert found["dead_time_eaten"] == np.inf
    assert found["turn_on_delay"] == pytest.approx(0.06 * US)


@pytest.mark.parametrize(
    ("edge", "on"),
    # The level is read an edge before the off command, at most two fifths of the dead time.
    [(0.04, 12.0), (0.1, 13.5), (0.24, 17.0), (0.5, 17.0)],
)
def test_the_level_is_read_before_the_drivers_edge(edge: float, on: float) -> None:
    machine = varied(demo(), {"drive.edge_time": edge * US})
    # 25 V/us down to 12 V at 9.66 us; the peak at the on level is 20 V.
    made = drawn(machine, xq1__gi=line((9.44, 17.5), (9.66, 12.0), (9.7, 12.0), (9.9, 0.0)),
                 xq2__gi=line((10.3, -2.0), (10.5, 20.0)))  # fmt: skip
    assert edge_figures(made, one(made))["overshoot"] == pytest.approx(20.0 - on)


def test_energy_of_the_channel_going_off() -> None:
    # 100 V times a triangle of 8 A over 0.2 us; 50 A before the off command, and a current back,
    # which gives nothing.
    current = line((9.69, 50.0), (9.695, 0.0), (9.75, 0.0), (9.85, 8.0), (9.95, 0.0), (10.0, -9.0),
                   (10.1, 0.0))  # fmt: skip
    found = figures(xq1__di=100.0, i1=current)
    assert found["turn_off_energy"] == pytest.approx(100.0 * 0.8 * US, rel=1e-6)
    assert found["turn_on_energy"] == 0.0


@pytest.mark.parametrize(("volts", "counts"), [(31.0, True), (30.0, False), (29.0, False)])
def test_energy_of_the_channel_going_on_above_a_tenth_of_the_link(
    volts: float, counts: bool
) -> None:
    current = line((10.3, 0.0), (10.4, 10.0), (10.5, 0.0))
    found = figures(xq2__di=volts, i2=current)
    assert found["turn_on_energy"] == pytest.approx(volts * 1.0 * US if counts else 0.0, rel=1e-6)
    assert found["turn_off_energy"] == 0.0
    # What flows before the off command is another commutation's.
    early = figures(xq2__di=volts, i2=line((9.5, 10.0), (9.6, 0.0)))
    assert early["turn_on_energy"] == 0.0


@pytest.mark.parametrize(("amperes", "wanted"), [(0.5e-7, 0.0), (2e-7, 2e-12)])
def test_less_than_a_picojoule_is_none(amperes: float, wanted: float) -> None:
    # 100 V times a triangle over 0.2 us.
    current = line((9.75, 0.0), (9.85, amperes), (9.95, 0.0))
    found = figures(xq1__di=100.0, i1=current)["turn_off_energy"]
    assert found == pytest.approx(wanted, rel=1e-6, abs=0.0)


def test_a_series_for_each_switch_that_goes_off() -> None:
    # Q1 hands over at 10 us, Q2 at 11 us; a bridge with two legs has the other two beside them.
    time = np.linspace(8.0, 14.0, 6001) * US
    gate = np.interp(time, np.array([9.7, 9.94, 11.3, 11.5, 11.7, 11.9]) * US,
                     [12.0, -5.0, -5.0, 13.0, 13.0, 0.0])  # fmt: skip
    made = waves(MACHINE, time, xq1__gi=gate, xq2__gi=8.0 - gate)
    found = transitions(made, np.array([10.0, 11.0, 12.0]) * US, True)
    series = gate_edge_series(made, found)
    assert [s.part for s in series[:: len(UNITS)]] == ["Q1", "Q2", "Q3", "Q4"]
    assert [(s.quantity, s.unit) for s in series[: len(UNITS)]] == list(UNITS.items())
    assert series[0].times == pytest.approx([10.0 * US, 12.0 * US])
    assert series[len(UNITS)].times == pytest.approx([11.0 * US])
    for k, edge in ((0, found[0]), (len(UNITS), found[2])):
        wanted = list(edge_figures(made, edge).values())
        np.testing.assert_equal([s.values[0] for s in series[k : k + len(UNITS)]], wanted)
        assert np.isfinite(wanted[0])
    assert [s.unit for s in series[:7]] == ["s", "s", "s", "V", "V", "J", "J"]
    assert isinstance(series, tuple)
    assert {type(x) for s in series for x in (s.times, s.values)} == {np.ndarray}


# --- ringing -----------------------------------------------------------------------------------


def ringing_gate(frequency: float, quality: float, size: float = 3.0) -> Array:
    """12 V reached at 10.4 us, with a ringing that begins there at its top."""
    late = np.maximum(TIME - 10.4 * US, 0.0)
    decay = np.exp(-np.pi * frequency / quality * late)
    ring = size * decay * np.cos(2.0 * np.pi * frequency * late)
    # Two spikes outside of what is watched, from the on command for a microsecond.
    early = line((9.7, -2.0), (9.8, 30.0), (9.9, -2.0), (10.3, -2.0), (10.4, 12.0 + size))
    spike = line((11.3, 0.0), (11.35, 40.0), (11.4, 0.0))
    return np.where(TIME < 10.4 * US, early, 12.0 + ring + spike)


@pytest.mark.parametrize(("frequency", "quality"), [(2.5e6, 8.0), (10e6, 8.0), (25e6, 5.0)])
def test_the_ringing_of_the_gate_that_comes_on(frequency: float, quality: float) -> None:
    made = drawn(xq2__gi=ringing_gate(frequency, quality))
    found = gate_ringing(made, one(made))
    assert found is not None
    assert found.frequency == pytest.approx(frequency, rel=1e-3)
    assert found.quality == pytest.approx(quality, rel=0.01)
    # Q = pi f tau is w/(2a); the ratio is a/sqrt(a^2 + w^2), so 1/sqrt(1 + 4 Q^2).
    assert damping_ratio(found) == pytest.approx(1.0 / (1.0 + 4.0 * quality**2) ** 0.5, rel=0.01)


def test_what_is_no_ringing_of_a_gate() -> None:
    # Never above its level; a plain decay; a peak in the last samples of the watched time.
    for gate in (
        line((10.3, -2.0), (10.5, 12.0)),
        line((10.3, -2.0), (10.4, 15.0), (10.6, 12.0)),
        line((10.3, -2.0), (11.294, 12.0), (11.299, 15.0)),
    ):
        made = drawn(xq2__gi=gate)
        assert gate_ringing(made, one(made)) is None


@pytest.mark.parametrize(("samples", "enough"), [(8, True), (7, False)])
def test_eight_samples_are_enough(samples: int, enough: bool) -> None:
    # A period of four samples, from the last ones that are watched.
    last = int(np.searchsorted(TIME, 11.3 * US)) - 1
    late = np.arange(len(TIME)) - (last - samples + 1)
    ring = 12.0 + 3.0 * 0.9 ** np.maximum(late, 0) * np.cos(0.5 * np.pi * late)
    made = drawn(xq2__gi=np.where(late >= 0, ring, line((10.3, -2.0), (11.0, 12.0))))
    assert (gate_ringing(made, one(made)) is not None) is enough


def test_a_higher_level_hides_the_peak() -> None:
    # A ringing that begins at the level itself never passes it.
    made = drawn(xq2__gi=ringing_gate(10e6, 8.0) - 3.0)
    assert gate_ringing(made, one(made)) is None
    # The outgoing gate stands at 16 V before it goes off: 15 V is no overshoot.
    made = drawn(xq1__gi=line((9.7, 16.0), (9.94, 0.0)), xq2__gi=ringing_gate(10e6, 8.0))
    assert gate_ringing(made, one(made)) is None


def test_the_damping_ratio_of_a_second_order_system() -> None:
    # a = zeta w0, w = w0 sqrt(1 - zeta^2) (any text on oscillations).
    natural, zeta = 2.0 * np.pi * 1e6, 0.6
    ring = Ringing(1e6 * (1.0 - zeta**2) ** 0.5, 0.0, 1.0 / (zeta * natural), 0.0, 1.0)
    assert damping_ratio(ring) == pytest.approx(zeta)
