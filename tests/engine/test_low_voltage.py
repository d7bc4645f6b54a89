"""Facts of the trade at a low voltage, and the made-up bench sessions that the studies run."""

from __future__ import annotations

import numpy as np
import pytest

from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.bench import Setting
from simkit.studies.fit.faults import diagnose
from simkit.studies.fit.study import fit
from simkit.studies.inputs.loading import load_machine
from simkit.studies.low_voltage.bench_point import bench_point, circuit_resonance
from simkit.studies.low_voltage.fault_signs import FAULTS
from tests.bench_trials import drawn, known, read, session, told
from tests.machines import DEMO, demo

PIECE = "steel-full-power"
BENCH = Rehearser()


def test_amplitudes_follow_the_supply_voltage() -> None:
    # Common practice, no source: as the low supply voltage is changed, the amplitude of the
    # scope's signal follows in proportion.
    low, high = (bench_point(BENCH, demo(), Setting(PIECE, v, 84e3)) for v in (15.0, 30.0))
    for name in ("tank_scope", "current_scope", "tank_voltage", "primary_current"):
        # Diodes of a volt act in the dead time only, a twentieth of the period: 1 V/15 V of it
        # is 0.3 %; each run may be off by 0.5 % (the run's own residue).
        assert high.readings[name] / low.readings[name] == pytest.approx(2.0, rel=0.013), name


@pytest.mark.slow
def test_at_resonance_amplitude_is_greatest_and_current_in_phase() -> None:
    # Common practice, no source.
    at = circuit_resonance(BENCH, demo(), Setting(PIECE, 30.0))
    middle = bench_point(BENCH, demo(), Setting(PIECE, 30.0, at))
    # 0.2 deg are a run's own 0.5 % of a radian; the fast model's slope of phase adds as much.
    assert abs(middle.readings["phase"]) < 1.0
    for factor in (0.96, 1.04):
        beside = bench_point(BENCH, demo(), Setting(PIECE, 30.0, factor * at))
        assert beside.readings["current_scope"] < middle.readings["current_scope"]
        assert np.sign(beside.readings["phase"]) == np.sign(factor - 1.0)


@pytest.mark.slow
def test_a_machine_nobody_knows_is_read_and_found() -> None:
    # One trial of benchmarks/round_trip.py; what its twenty gave is in docs/low-voltage.md.
    chance = np.random.default_rng(11)
    machine = load_machine(DEMO / "machine.toml")
    truth, chosen, logs = drawn(machine, PIECE, chance)
    seen = read(BENCH, truth, session(truth, PIECE), chance)
    found = fit(machine, seen, BENCH)
    true = {u.key: u.value * float(np.exp(x)) for u, x in zip(chosen, logs, strict=True)}
    keys = told(machine.model, chosen, seen)
    inside = [v.low <= true[v.key] <= v.high for v in found.values if v.key in keys]
    # 95 % intervals of a dozen values: fewer than ten inside has a chance of 2 %.
    assert sum(inside) >= len(inside) - 2
    pinned = next(v for v in found.values if v.key == f"workpieces.{PIECE}.resistance")
    assert pinned.pinned


@pytest.mark.slow
@pytest.mark.parametrize("name", ["loose-clamp", None])
def test_a_fault_is_named_and_a_healthy_machine_is_left_alone(name: str | None) -> None:
    # Two trials of benchmarks/fault_trials.py.
    chance = np.random.default_rng(7)
    machine = known(load_machine(DEMO / "machine.toml"), 1.0 / 3.0)
    truth, _, _ = drawn(machine, PIECE, chance)
    if name is not None:
        fault = next(f for f in FAULTS if f.name == name)
        _, truth = list(fault.machines(truth))[1]
    seen = read(BENCH, truth, session(machine.model, PIECE), chance)
    found = diagnose(machine, seen, BENCH)
    assert found.none_of_these == (name is None)
    if name is not None:
        assert found.faults[0].name == name
