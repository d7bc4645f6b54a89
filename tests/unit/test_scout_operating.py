"""The fast operating map against closed solutions, against the scalar solver and against itself."""

from __future__ import annotations

from math import isnan, pi, sqrt

import numpy as np
import pytest

from simkit.parameters.machine import Machine
from simkit.parts.working import bridge_path
from simkit.scout import operating
from simkit.scout.drive import machine_edges
from simkit.scout.operating import Case, operating_cases, operating_map, operating_point
from simkit.scout.plant import plant_from_machine
from simkit.scout.steady import steady
from tests.machines import demo, ideal, topology

LINK, RESISTANCE, TURNS = 100.0, 0.5, 2
INDUCTANCE, CAPACITANCE = 40e-6, 1e-6


def plain() -> Machine:
    """A series loop behind a 2:1 transformer, all else negligible."""
    return ideal("full", link=LINK, series_resistance=4e-3, leakage=1e-9, magnetising=5.0,
                 turns=TURNS, capacitance=CAPACITANCE, inductance=INDUCTANCE,
                 resistance=RESISTANCE)  # fmt: skip


def test_at_resonance_the_first_harmonic_decides() -> None:
    # By hand: v_1 = 4 Vdc/(pi n), i = v_1/R at resonance, P = v_1^2/(2 R), v_C = i/(2 pi f C).
    # The third harmonic's current is below 1/(3 * 8/3 Q) = 1 % of it with Q = 12.6, its power 1e-4.
    machine = plain()
    frequency = 1.0 / (2.0 * pi * sqrt(INDUCTANCE * CAPACITANCE))
    total = RESISTANCE + 4e-3 / TURNS**2 + 1.5e-3 * 2 / TURNS**2
    first = 4.0 * LINK / (pi * TURNS)
    point = operating_point(machine, machine.coil.as_load(), frequency)
    assert point.converged
    assert point.coil_current_rms == pytest.approx(first / total / sqrt(2.0), rel=0.01)
    assert point.input_power == pytest.approx(first**2 / (2.0 * total), rel=0.01)
    assert point.bank_voltage_peak == pytest.approx(
        first / total / (2.0 * pi * frequency * CAPACITANCE), rel=0.01
    )
    assert abs(point.phase) < 1.0


def test_off_resonance_the_current_is_that_of_the_impedance() -> None:
    # By hand: |Z| of the series loop at 1.2 f0; harmonics as above.
    machine = plain()
    frequency = 1.2 / (2.0 * pi * sqrt(INDUCTANCE * CAPACITANCE))
    omega = 2.0 * pi * frequency
    reactance = omega * INDUCTANCE - 1.0 / (omega * CAPACITANCE)
    first = 4.0 * LINK / (pi * TURNS) / abs(complex(RESISTANCE, reactance))
    point = operating_point(machine, machine.coil.as_load(), frequency)
    assert point.coil_current_rms == pytest.approx(first / sqrt(2.0), rel=0.01)
    assert point.mode == "inductive"
    below = operating_point(machine, machine.coil.as_load(), frequency / 1.44)
    assert below.mode == "capacitive"


@pytest.mark.parametrize("bridge", ["full", "half-split", "half-blocking"])
@pytest.mark.parametrize("feed", ["loop", "shunt"])
def test_inductive_points_agree_with_the_scalar_solver(bridge: str, feed: str) -> None:
    # Same equations, another solver; it knows no sag and no switching loss, so that the link is
    # given to it and only what the plant itself does is compared, to the samples' accuracy.
    machine = topology(bridge, feed, "ideal")
    load = machine.load("cold-steel-weak-field")
    frequency = 1.06 * machine.resonance(load.inductance)
    point = operating_point(machine, load, frequency)
    plant = plant_from_machine(machine, load, point.link_voltage)
    other = steady(plant, frequency, machine_edges(machine))
    assert point.bank_voltage_peak == pytest.approx(other.bank_voltage_peak, rel=2e-3)
    assert point.primary_current_peak == pytest.approx(other.primary_current_peak, rel=2e-3)
    assert point.load_power == pytest.approx(other.coil_power, rel=2e-3)
    assert point.phase == pytest.approx(other.phase_deg, abs=0.2)


def test_what_goes_in_comes_out() -> None:
    # Energy: input = load + bridge + copper and series resistances, the link's too, worked out from
    # the r.m.s. currents. The trapezoid of a diode's mean current stands for its course: 1 % of the
    # losses.
    machine = demo()
    load = machine.load("empty")
    for share in (0.97, 1.0, 1.03, 1.1):
        point = operating_point(machine, load, share * machine.resonance(load.inductance))
        path = machine.transformer.primary_resistance + bridge_path(machine)[0]
        copper = path * point.primary_current_rms**2
        copper += (machine.transformer.secondary_resistance + machine.tank.esr) * (
            point.coil_current_rms**2
        )
        told = point.load_power + point.bridge_loss + copper
        assert told == pytest.approx(point.input_power, rel=0.01), share


def test_cases_are_independent_of_their_company_and_order() -> None:
    machine = demo()
    loads = [machine.load(name) for name in ("empty", "cold-steel-weak-field")]
    wanted = [
        Case(load, share * machine.resonance(load.inductance), dead)
        for load in loads for share in (0.97, 1.0, 1.05) for dead in (0.4e-6, 0.9e-6)
    ]  # fmt: skip
    together = operating_cases(machine, wanted)
    backwards = operating_cases(machine, wanted[::-1])[::-1]
    for case, one, other in zip(wanted, together, backwards, strict=True):
        alone = operating_cases(machine, [case])[0]
        # Newton's last step is below 1e-9 of the state.
        assert one.supply_current == pytest.approx(alone.supply_current, rel=1e-4)
        assert one.tank_voltage_peak == pytest.approx(other.tank_voltage_peak, rel=1e-6)


def test_a_map_converges_throughout() -> None:
    machine = demo()
    for name in ("empty", "cold-steel-weak-field"):
        load = machine.load(name)
        frequencies = machine.resonance(load.inductance) * np.linspace(0.9, 1.15, 200)
        points = operating_map(machine, load, frequencies)
        assert all(point.converged for point in points)
        modes = [point.mode for point in points]
        assert modes == sorted(modes, key=("capacitive", "resonant", "inductive").index)


def test_a_point_that_did_not_converge_has_no_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(operating, "CONVERGED", -1.0)
    machine = demo()
    point = operating_point(machine, machine.load("empty"), 80e3)
    assert not point.converged
    assert isnan(point.supply_current)
    assert isnan(point.tank_voltage_peak)


@pytest.mark.parametrize(
    ("frequency", "supply", "dead"),
    [(0.0, None, None), (80e3, 0.0, None), (80e3, None, 7e-6)],
)
def test_impossible_cases_are_refused(
    frequency: float, supply: float | None, dead: float | None
) -> None:
    machine = demo()
    with pytest.raises(ValueError, match=r"above zero|dead_time fills"):
        operating_cases(machine, [Case(machine.load("empty"), frequency, dead, supply)])


def test_what_shoots_through_is_not_known() -> None:
    """10 ns are less than the gates' delays differ by: losses are no number, the tank's are."""
    machine = demo()
    case = Case(machine.load("empty"), 90e3, 1e-8, None)
    (point,) = operating_cases(machine, [case])
    assert isnan(point.bridge_loss)
    assert isnan(point.supply_current)
    assert point.tank_voltage_peak > 0.0
