"""Random machines: files that load, the same for the same seed; figures against closed forms.

The waveforms are made here from formulas; what each figure must come to is worked out beside it.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks.random_machines import comparison, files
from benchmarks.random_machines.comparison import Case, Compared
from benchmarks.random_machines.figures import (
    PARTS,
    Facts,
    Watts,
    cycle_means,
    figures,
    outgoing,
    recovery,
    steepest,
)
from benchmarks.random_machines.junctions import Stack, impedance, temperatures
from benchmarks.random_machines.reference import swinging
from benchmarks.random_machines.scenario import DRAWN, FIRST, NOT_DRAWN, STEADY
from benchmarks.random_machines.switch import IGBTS
from benchmarks.random_machines.written import quantity, toml
from simkit.parameters.events import KINDS
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.inputs.loading import load_scenario

ROUND = range(2 * len(FIRST))
"""Seeds within which each half has met every kind of event."""


def loaded(seeds: range, place: Path) -> list[tuple[int, Scenario, Machine]]:
    found = []
    for seed in seeds:
        scenario, machine = load_scenario(files.write(seed, place / str(seed)))
        found.append((seed, scenario.model, machine.model))
    return found


@pytest.mark.slow
def test_every_file_loads_and_both_halves_have_every_kind(tmp_path: Path) -> None:
    kinds: dict[int, set[str]] = {0: set(), 1: set()}
    for seed, scenario, machine in loaded(ROUND, tmp_path):
        kinds[seed % 2] |= {e.kind for e in scenario.events} or {STEADY}
        assert 30.0 <= machine.supply.voltage <= 400.0
    assert kinds == {0: set(FIRST), 1: set(FIRST)}
    assert set(KINDS) == {*DRAWN, *NOT_DRAWN}, "a new kind of event: draw it, or say that it is not"


@pytest.mark.slow
def test_seeds_from_a_thousand_on_have_igbts_of_every_class_that_load(tmp_path: Path) -> None:
    found = loaded(range(1000, 1024), tmp_path)
    assert {m.switch.kind for _, _, m in found} == {"igbt"}
    assert len({m.switch.name for _, _, m in found}) == len(IGBTS)
    assert all(20e3 < m.drive.frequency_max < 130e3 for _, _, m in found)


def test_an_igbt_s_bipolar_current_counts_with_its_channel_s() -> None:
    raw = waves()
    zero = np.zeros_like(raw["time"])
    for k in (1, 2):
        raw |= {f"v(xq{k}.dj)": zero + 5e-3 * k, f"v(xq{k}.db)": zero}
    # 90 A of the channel at its peak and 5 A of the base, 10 A in the other switch.
    assert figures(raw, -20e-6, facts())["channel_current_peak"] == pytest.approx(95.0)


@pytest.mark.slow
def test_two_hundred_files_load_and_have_every_shape(tmp_path: Path) -> None:
    shapes: dict[int, set[tuple[str, str, str]]] = {0: set(), 1: set()}
    started = time.process_time()
    for seed, _, machine in loaded(range(200), tmp_path):
        shape = (machine.bridge.topology, machine.tank.feed, machine.drive.isolation)
        shapes[seed % 2].add(shape)
    assert [len(shapes[half]) for half in (0, 1)] == [3 * 2 * 2] * 2
    # 0.04 s each were measured; a fifth of a second would make a survey wait for its files.
    assert time.process_time() - started < 0.2 * 200


def test_a_seed_gives_one_case_and_two_seeds_give_two() -> None:
    assert files.texts(7) == files.texts(7)
    # The halves share kinds and shapes by number, and nothing else.
    assert files.texts(6)[0] != files.texts(7)[0]


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(4.7e-6, "F", "4.7 uF"), (89123.0, "Hz", "89.1 kHz"), (0.0, "V", "0 V"), (-5.0, "V", "-5 V")],
)
def test_quantities_are_written_as_people_do(value: float, unit: str, text: str) -> None:
    assert quantity(value, unit) == text


def test_toml_reads_back() -> None:
    import tomllib

    table = {
        "a": "1 V",
        "n": 3,
        "b": {"x": [1, 2], "c": {"y": True}},
        "e": [{"k": "u"}, {"k": "v"}],
    }
    assert tomllib.loads(toml(table)) == table


def test_means_over_cycles_of_a_ramp_are_its_middles() -> None:
    # v = 3 t on uneven samples: the mean between a and b is 3 (a + b)/2, exactly.
    time = np.array([0.0, 0.3, 0.35, 1.1, 2.0])
    means = cycle_means(time, 3.0 * time, np.array([0.1, 0.5, 1.7]))
    assert means == pytest.approx([0.9, 3.3])


def facts(**changed: object) -> Facts:
    marks = np.arange(1, 40) * 5e-6 - 2.5e-6
    values = {
        "full": False, "loop": True, "saturates": False, "blocked": False, "fused": False,
        "ratio": 10.0, "primary_resistance": 0.1, "secondary_resistance": 1e-3,
        "magnetising": 2e-3, "turns_area": 20 * 3e-4, "can_esr": 8e-3, "source_resistance": 0.5,
        "diode_resistance": 0.01, "threshold": 4.0, "boundaries": marks, "upper_first": True,
        "dead": np.full(len(marks), 0.6e-6),
    }  # fmt: skip
    return Facts(**(values | changed))  # type: ignore[arg-type]


def waves(begin: float = -20e-6, end: float = 101.3e-6) -> dict[str, np.ndarray]:
    """100 kHz sines in a quiet half bridge; everything else at rest."""
    time = np.linspace(begin, end, 60001)
    w = 2e5 * np.pi
    zero = np.zeros_like(time)
    raw = {f"v({n})": zero for n in ("sup", "link", "p", "a", "b", "s1", "s2", "w", "t1", "pb")}
    for k in (1, 2):
        raw |= {f"v(xq{k}.{n})": zero for n in ("di", "si", "gi", "da")}
        raw |= {f"v(d{k})": zero, f"@m.xq{k}.m1[id]": zero}
    raw["v(xq2.di)"] = 100.0 + 50.0 * np.sin(w * time)
    raw["v(xq2.gi)"] = np.where(time > 100.2e-6, -7.0, 4.0 * np.cos(w * time))
    raw["@m.xq1.m1[id]"] = np.where((time > 101e-6) | (time < 0.0), 90.0, 12.0 * np.sin(w * time))
    raw["v(d1)"] = -20e-3 * np.sin(w * time)  # 20 A peak through the sense milliohm
    raw["v(w)"] = 141.42 * np.sin(w * time)
    raw["v(t1)"] = raw["v(w)"] - 8e-3 * 14.142 * np.cos(w * time)
    raw["v(pb)"] = -0.1 * (3.0 * np.sin(w * time) + 0.5)
    raw["v(s1)"] = 1e-3 * 30.0 * np.sin(w * time)
    raw["v(sup)"] = zero + 0.5 * 7.0
    return raw | {"time": time - begin}


def test_figures_of_sines_are_their_peaks_and_roots() -> None:
    found = figures(waves(), -20e-6, facts())
    assert found["drain_voltage_peak"] == pytest.approx(150.0, rel=1e-6)
    # What happens in the last, incomplete cycle counts; what happened before time zero does not.
    assert found["channel_current_peak"] == pytest.approx(90.0)
    assert found["gate_voltage_peak"] == pytest.approx(7.0)
    assert found["drain_current_rms"] == pytest.approx(20.0 / np.sqrt(2.0), rel=1e-5)
    assert found["can_voltage_rms"] == pytest.approx(100.0, rel=1e-4)
    assert found["can_current_rms"] == pytest.approx(10.0, rel=1e-4)
    assert found["supply_current"] == pytest.approx(7.0)
    # Primary 3 sin + 0.5 less 30 sin over 10: 0.5 A of direct current in 2 mH, over 20 x 3 cm^2.
    assert found["flux_peak"] == pytest.approx(0.5 * 2e-3 / 6e-3, rel=1e-6)
    assert found["recovery_di_dt"] == found["recovery_dv_dt"] == 0.0


def test_gate_lift_is_the_outgoing_switch_while_its_partner_comes_up() -> None:
    raw, own = waves(), facts()
    time = raw["time"] - 20e-6

    # Boundary 0 at 2.5 us: switch 1 goes off, switch 2 is told on at 2.8 us, and at 7.2 us off.
    def lifted(on: float, *heights: tuple[float, float]) -> float:
        gate = sum(np.where(abs(time - when) < 0.1e-6, height, 0.0) for when, height in heights)
        partner = np.where((time > on) & (time < 7.2e-6), 12.0, 0.0)
        changed = raw | {"v(xq1.gi)": gate, "v(xq2.gi)": partner}
        return figures(changed, -20e-6, own)["gate_lift"]

    assert lifted(2.9e-6, (3.0e-6, 2.0), (4.2e-6, 9.0)) == pytest.approx(2.0)  # a microsecond
    assert lifted(3.4e-6, (3.0e-6, 2.0), (4.2e-6, 3.0)) == pytest.approx(3.0)  # three times 0.6 us
    assert lifted(3.4e-6, (3.0e-6, 2.0), (5.2e-6, 9.0)) == pytest.approx(2.0)
    assert lifted(9e-6, (3.0e-6, 2.0), (6.5e-6, 3.0)) == pytest.approx(3.0)  # it never comes up
    assert lifted(9e-6, (3.0e-6, 2.0), (7.5e-6, 9.0)) == pytest.approx(2.0)  # its own next command


def test_an_offset_that_swings_is_split_into_the_cores_and_the_capacitors_share() -> None:
    """An undamped L and C by hand: 2 mWb at the start and 3 V too much on the capacitor."""
    inductance, capacitance = 2e-3, 5e-6
    rate = 1.0 / np.sqrt(inductance * capacitance)
    times = np.linspace(10e-6, 120e-6, 12)
    offsets = 2e-3 * np.cos(rate * times) - 3.0 / rate * np.sin(rate * times)
    found = swinging(times, offsets, inductance, capacitance)
    assert found == pytest.approx((2e-3, 3.0), rel=1e-9)
    assert swinging(times, np.full(12, 1e-3), inductance, None) == (pytest.approx(1e-3), 0.0)


def test_the_outgoing_switches_of_a_full_bridge_lie_across() -> None:
    assert outgoing(facts(full=True), 0) == (1, 4)
    assert outgoing(facts(full=True), 1) == (2, 3)
    assert outgoing(facts(full=False, upper_first=False), 0) == (2,)


def test_recovery_of_straight_lines() -> None:
    # 10 A forward falls by 200 A/us through zero at 150 ns to 4 A reverse; from there the voltage
    # climbs by 10 V/ns to 300 V.
    time = np.linspace(0.0, 400e-9, 4001)
    current = np.interp(time, [0.0, 100e-9, 170e-9, 250e-9], [10.0, 10.0, -4.0, 0.0])
    volts = np.interp(time, [0.0, 170e-9, 200e-9], [0.0, 0.0, 300.0])
    fall, climb = recovery(time, current, volts, 300.0, 200e-9)
    assert fall == pytest.approx(200e6, rel=1e-6)
    assert climb == pytest.approx(10e9, rel=1e-3)


def test_a_node_that_swings_by_itself_is_no_recovery() -> None:
    time = np.linspace(0.0, 400e-9, 401)
    volts = np.interp(time, [100e-9, 300e-9], [0.0, 300.0])
    assert recovery(time, np.zeros_like(time), volts, 300.0, 200e-9) == (0.0, 0.0)
    small = np.interp(time, [0.0, 100e-9], [0.2, -0.2])  # below what could store anything
    assert recovery(time, small, volts, 300.0, 200e-9) == (0.0, 0.0)


def test_the_steepest_fifth_is_found_on_a_bent_climb() -> None:
    # 1 V/ns to 100 V, 5 V/ns to 200 V, 1 V/ns on: a fifth of 300 V, 60 V, fits into the steep part.
    time = np.array([0.0, 100e-9, 120e-9, 220e-9])
    volts = np.array([0.0, 100.0, 200.0, 300.0])
    assert steepest(time, volts, 300.0) == pytest.approx(5e9, rel=1e-6)


STACK = Stack(
    30.0, 0.5, 0.4, 0.3, np.array([1e-5, 1e-3, 1e-1]), np.array([0.003, 0.03, 0.3]), 1e3,
    np.inf, np.inf,
)  # fmt: skip
"""Case and heatsink hold still."""
MARKS = np.linspace(0.0, 200e-6, 21)


def as_watts(means: np.ndarray, parts: np.ndarray | None = None) -> Watts:
    """Losses that are even in their cycles, or as given in their parts; nothing after the last."""
    fine = np.repeat(means[:, :, None], PARTS, axis=2) if parts is None else parts
    return Watts(MARKS, means, fine, MARKS[-1:], np.empty((len(means), 0)))


def stepping() -> Watts:
    """Two switches at 10 W, one of them at 110 W from 100 us on."""
    watts = np.full((2, 20), 10.0)
    watts[0, 10:] = 110.0
    return as_watts(watts)


def test_a_short_within_a_cycle_is_followed_in_the_cycle() -> None:
    """24 kW for the first 24th of a 10 us cycle: 30 + 20 x 0.5 + 10 x 0.7 + 24 kW Z(10 us/24) on
    top, Z as the root of time; the mean of 1 kW alone would say Z(10 us) x 1 kW, 3 K."""
    means, parts = np.full((2, 20), 10.0), np.full((2, 20, PARTS), 10.0)
    means[0, 15] += 1000.0
    parts[0, 15, 0] += 24e3
    found = temperatures(STACK, as_watts(means, parts), 100e-6)
    short = 24e3 * 0.003 * np.sqrt(1.0 / 24.0)
    assert found["junction_peak"] == pytest.approx(47.0 + short, rel=1e-6)


def test_the_impedance_is_a_root_of_time_where_its_points_are() -> None:
    # The points lie on 0.03 sqrt(t/1 ms) from 10 us to 1 ms; below the first the same root.
    ages = np.array([2.5e-6, 1e-4, 50.0])
    assert impedance(STACK, ages) == pytest.approx([0.0015, 0.03 * np.sqrt(0.1), 0.3])


def test_temperatures_of_a_loss_that_steps() -> None:
    # At 200 us it has had the step for 100 us: 30 + 20 x 0.5 + 10 x 0.7 + 100 Z(100 us); held for
    # long, + 100 x 0.3.
    found = temperatures(STACK, stepping(), 100e-6)
    assert found["junction_peak"] == pytest.approx(47.0 + 100.0 * 0.03 * np.sqrt(0.1))
    assert found["junction_held"] == pytest.approx(47.0 + 30.0)


def test_a_capacity_that_nobody_gave_counts_as_nothing_where_that_is_hotter() -> None:
    # Nothing between chip and air: all resistances at once in the end, 110 x 0.7 + 120 x 0.5.
    bare = replace(STACK, case_capacity=None, sink_capacity=None)
    found = temperatures(bare, stepping(), 100e-6)
    assert found["junction_held"] == pytest.approx(30.0 + 60.0 + 77.0, rel=1e-6)


def test_a_case_with_a_capacity_warms_by_its_own_time_constant() -> None:
    # 0.4 K/W x 50 J/K = 20 s, held for 10 s: 1 - exp(-1/2) of 40 K. A per cent: the chip's share.
    heavy = replace(STACK, case_capacity=50.0, hold=10.0)
    found = temperatures(heavy, stepping(), 100e-6)
    rise = found["junction_held"] - 47.0 - 30.0
    assert rise == pytest.approx(40.0 * (1.0 - np.exp(-0.5)), rel=0.01)


def figure(value: float | None, reference: float, error: float | None = 1.0) -> Compared:
    return Compared(0, "q", value, error, reference, 0.2, 100.0, "ok", "")


def test_a_figure_outside_its_error_and_a_wrong_verdict_are_counted() -> None:
    assert figure(50.0, 51.1).share == pytest.approx(0.9)
    assert figure(50.0, 54.2).share == pytest.approx(4.0)
    assert figure(None, 54.2, None).share is None
    wrong = Case(2, "within_limits", "", (figure(90.0, 104.0),), 1.0, True)
    quiet = Case(4, "no_verdict", "", (figure(None, 60.0, None),), 1.0, True)
    close = Case(6, "no_verdict", "", (figure(None, 99.0, None),), 1.0, True)
    false = Case(8, "over_limit", "", (figure(102.0, 99.0),), 1.0, True)
    assert wrong.wrong_within
    assert false.wrong_over
    assert quiet.clear
    assert not close.clear
    told = comparison.counts((wrong, quiet, close, false))
    assert told['wrong "within the limits checked"'] == "1"
    assert told['wrong "over a limit"'] == "1"
    assert told["inside the stated error"].startswith("0 ")
    assert told["beyond 3 times the stated error"] == "1"
    assert told['"no verdict"'].startswith("2 ")
    assert told["of these, reference more than twice the error away from every limit"] == "1"
