"""Comparisons on the demonstration machine, held against hand reasoning.

Each expectation is worked out in the comment beside it from the circuit, not from a run.
"""

from __future__ import annotations

from functools import cache
from math import pi, sqrt
from pathlib import Path
from typing import Any

import pytest

from simkit.judge.difference import Difference
from simkit.parameters.change import load_changes
from simkit.parameters.load import load_file
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.compare import study as compare
from simkit.studies.compare.changing import variants
from simkit.studies.inputs.loading import load_machine
from tests.machines import DEMO

FIVE = DEMO.parent / "changes" / "five.toml"
BOTH = ("pull-out-cold", "pull-out-hot")
TANK = ("can_voltage_rms", "can_current_rms", "supply_current")


def held(change: Path, *scenarios: str) -> tuple[compare.Held, ...]:
    machine = load_machine(DEMO / "machine.toml")
    made, _ = variants(DEMO / "machine.toml", load_changes(change), {})
    files = [load_file(DEMO / f"{name}.toml", Scenario) for name in scenarios]
    compare.fitting(files, machine, made)
    return compare.rehearsals(machine, made, files, Rehearser(), 2)


@pytest.mark.slow
def test_a_null_change_makes_no_difference_in_any_figure(tmp_path: Path) -> None:
    file = tmp_path / "null.toml"
    file.write_text('title = "nothing"\n[changes.nothing]\ntitle = "what is there already"\n'
                    'machine.drive.gate_resistor = "10 ohm"\nmachine.tank.cans = 20\n')  # fmt: skip
    (found,) = held(file, "drop-in")
    marks = {d.mark for d in (*found.limits, *found.readings)}
    assert len(found.limits) >= 13
    assert len(found.readings) == len(compare.READINGS)
    assert marks == {"no difference"}
    assert found.after.outcome == found.before.outcome == "over_limit"


class Remembering(Rehearser):
    """The machine as it is, which every change is held against, is rehearsed once."""

    def rehearse(self, machine: Machine, scenario: Scenario, progress: Any = None) -> Rehearsal:
        return remembered(machine.model_dump_json(), scenario.model_dump_json())


@cache
def remembered(machine: str, scenario: str) -> Rehearsal:
    return Rehearser().rehearse(
        Machine.model_validate_json(machine), Scenario.model_validate_json(scenario)
    )


@cache
def changed(name: str, scenario: str) -> compare.Held:
    """One of the five changes in one scenario."""
    machine = load_machine(DEMO / "machine.toml")
    made, _ = variants(DEMO / "machine.toml", load_changes(FIVE), {})
    files = [load_file(DEMO / f"{scenario}.toml", Scenario)]
    wanted = [v for v in made if v.name == name]
    (found,) = compare.rehearsals(machine, wanted, files, Remembering())
    return found


def limit(held: compare.Held, quantity: str) -> Difference:
    return next(d for d in held.limits if d.quantity == quantity)


def ratio(held: compare.Held, quantity: str) -> float:
    """Reading after over reading before, settled state."""
    found = next(d for d in held.readings if d.quantity == quantity)
    assert found.before.value
    assert found.after.value is not None
    return found.after.value / found.before.value


def tank_hardly_sees_the_switch(found: compare.Held) -> None:
    """Some tens of milliohm less beside a load of 20 ohm: 1 %; the supply sees what the bridge
    loses too, some per cent."""
    for quantity, share in zip(TANK, (0.01, 0.01, 0.03), strict=True):
        seen = limit(found, quantity)
        assert seen.after.value == pytest.approx(seen.before.value, rel=share)


@pytest.mark.slow
def test_superjunction() -> None:
    cold, hot = (changed("superjunction", s) for s in BOTH)
    # R_DS(on) is 65 instead of some 130 mohm: less loss, and a cooler chip even at 0.40 K/W.
    assert limit(hot, "junction_held").mark == "better"
    # The slope in recovery is the bridge's doing; its rating is 900 instead of 600 A/us.
    assert limit(cold, "recovery_di_dt").mark == "better"
    # Far less output capacitance at high voltage: the node climbs faster while a diode recovers
    # (more V/ns) and rings higher on the same loop.
    dv_dt = limit(cold, "recovery_dv_dt")
    assert dv_dt.after.value > 1.5 * dv_dt.before.value
    assert limit(cold, "drain_voltage_peak").mark == "worse"
    tank_hardly_sees_the_switch(hot)


@pytest.mark.study
def test_silicon_carbide() -> None:
    cold, hot = (changed("silicon-carbide", s) for s in BOTH)
    # Some 0.1 uC of stored charge instead of microcoulombs, and ratings made for hard recovery.
    assert limit(cold, "recovery_dv_dt").mark == "better"
    assert limit(cold, "recovery_di_dt").mark == "better"
    # 15 V of a 22 V rating against 12 V of 30 V.
    assert limit(hot, "gate_voltage_peak").mark == "worse"
    # Off at -4 V instead of 0 V: the lifted gate starts 4 V lower.
    lift = limit(hot, "gate_lift")
    assert lift.after.value - lift.before.value == pytest.approx(-4.0, abs=0.3)  # a bump remains
    # Low loss at 45 mohm.
    assert ratio(hot, "bridge_loss_w") < 0.7
    tank_hardly_sees_the_switch(hot)


@pytest.mark.study
def test_more_turns() -> None:
    cold, hot = (changed("more-turns", s) for s in BOTH)
    # The EMF in the loop is (4/pi) V/n: coil current goes with 22/29, primary current and power
    # with its square. 3 %: leakage and the drops in switches and windings are not in this.
    assert ratio(hot, "coil_current_rms_a") == pytest.approx(22 / 29, rel=0.03)
    assert ratio(hot, "primary_current_peak_a") == pytest.approx((22 / 29) ** 2, rel=0.03)
    assert ratio(hot, "input_power_w") == pytest.approx((22 / 29) ** 2, rel=0.03)
    # Volt seconds per turn: flux with 22/29; its error is 2 % of the value.
    flux = limit(hot, "flux_peak")
    assert flux.after.value / flux.before.value == pytest.approx(22 / 29, rel=0.05)
    # Less of everything in the cold pull-out too.
    assert {limit(cold, q).mark for q in TANK} == {"better"}
    assert "worse" not in {d.mark for d in cold.limits}


@pytest.mark.slow
def test_half_the_capacitors() -> None:
    hot = changed("half-the-capacitors", "pull-out-hot")
    # f0 goes with 1/sqrt(C), and the margin stays: exact.
    assert ratio(hot, "frequency_hz") == pytest.approx(sqrt(2.0), rel=1e-6)
    # At margin m the reactance is omega L (1 - 1/(1+m)^2), so with sqrt(2) more of it against the
    # same resistance the current falls. L: coil and leakage 8 uH/22^2; R: 24 mohm and 1 mohm of
    # secondary, cans and reflected primary. 4 %: R of the switches and copper is rounded.
    reactance = 2 * pi * 86.0e3 * (0.825e-6 + 8e-6 / 22**2) * (1 - 1 / 1.04**2)
    wanted = sqrt((25e-3**2 + reactance**2) / (25e-3**2 + 2 * reactance**2))
    assert ratio(hot, "coil_current_rms_a") == pytest.approx(wanted, rel=0.04)
    # Half as many cans share that current.
    can = limit(hot, "can_current_rms")
    assert can.mark == "worse"
    assert can.after.value / can.before.value == pytest.approx(2 * wanted, rel=0.04)
    assert hot.before.outcome == "within_limits"
    assert hot.after.outcome == "over_limit"


@pytest.mark.slow
def test_gate_resistor_doubled() -> None:
    cold, hot = (changed("gate-resistor-doubled", s) for s in BOTH)
    # The opposite switch turns on more slowly and forces the diode off less steeply.
    assert limit(cold, "recovery_di_dt").mark == "better"
    assert limit(cold, "recovery_dv_dt").mark == "better"
    # Slower turn-off under current costs loss in the inductive state.
    assert limit(hot, "junction_held").mark == "worse"
    assert ratio(hot, "bridge_loss_w") > 1.1
    # The tank does not see the gate; the supply sees what the bridge loses, some per cent.
    for found in (cold, hot):
        assert {limit(found, q).mark for q in TANK[:2]} == {"no difference"}
        supply = limit(found, "supply_current")
        assert supply.after.value == pytest.approx(supply.before.value, rel=0.03)
