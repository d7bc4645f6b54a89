"""A small heater on a bench supply: a tank at resonance, and the dead time, on the circuit."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from simkit.circuit.timeline import Timeline, timeline
from simkit.measure.point import operating_point
from simkit.measure.waveforms import Waves
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from tests.machines import demo, seeded_stretch, still, varied

TURNS, LINK, QUALITY, RESONANCE = 16, 48.0, 40.0, 84e3
CANS, CAN = 40, 47e-9
AMPLITUDE = QUALITY * 4 / pi * LINK / TURNS
"""Tank voltage: Q times the fundamental of the loop's EMF, peak [V] (first-harmonic identity)."""
LOOP_INDUCTANCE = 1.0 / ((2 * pi * RESONANCE) ** 2 * CANS * CAN)
LOOP_RESISTANCE = sqrt(LOOP_INDUCTANCE / (CANS * CAN)) / QUALITY


def bench_machine(dead_time: float) -> Machine:
    """A small heater on a bench supply: the demonstration machine's bridge on another tank.

    What transformer, switches and cans put into the loop is taken off coil and load, so that the
    loop as a whole has the resistance that its Q implies.
    """
    base = demo()
    own = (
        2 * (base.switch.channel.drain_resistance + 1e-3) + base.transformer.primary_resistance
    ) / TURNS**2 + base.transformer.secondary_resistance
    can_esr = 20e-3
    stray = base.transformer.leakage_inductance / TURNS**2
    return varied(
        base,
        {
            "supply.voltage": LINK,
            "transformer.primary_turns": TURNS,
            "tank.can_capacitance": CAN,
            "tank.cans": CANS,
            "tank.can_esr": can_esr,
            "drive.dead_time": dead_time,
            "coil.inductance": LOOP_INDUCTANCE - stray,
            "coil.resistance": LOOP_RESISTANCE - own - can_esr / CANS,
        },
    )


@pytest.mark.slow
def test_at_resonance_the_tank_stands_at_q_times_the_emf() -> None:
    """4/pi 48 V/16 times 40 = 153 V. 8 %: the dead time and the diodes take some."""
    machine = bench_machine(0.6e-6)
    frequency = machine.resonance(machine.coil.inductance)
    assert frequency == pytest.approx(RESONANCE, rel=1e-9)
    line = still(machine, 60, load="empty", frequency=frequency)
    stretch = seeded_stretch(machine, line, 50 / frequency)
    point = operating_point(stretch.waves, stretch.cycles, stretch.transitions)
    assert point.tank_voltage_peak_v == pytest.approx(AMPLITUDE, rel=0.08)
    assert abs(point.phase_deg) < 10.0


def gaps(waves: Waves, level: float) -> np.ndarray:
    """From one gate of leg a falling through a level to the other rising through it [s]."""
    ups, downs = [], []
    for switch in waves.switches[:2]:
        above = switch.gate_source > level
        step = np.flatnonzero(above[1:] != above[:-1])
        for k in step:
            low, high = switch.gate_source[k : k + 2]
            share = (level - low) / (high - low)
            when = waves.time[k] + share * (waves.time[k + 1] - waves.time[k])
            (ups if above[k + 1] else downs).append(when)
    after = [min((u for u in ups if u > d), default=np.nan) - d for d in downs]
    return np.array([gap for gap in after if np.isfinite(gap)])


def gate_gaps(line: Timeline, machine: Machine) -> np.ndarray:
    stretch = seeded_stretch(machine, line, 2.0 / line.frequency.first)
    late = stretch.waves.between(stretch.cycles[0].start, stretch.waves.time[-1])
    return gaps(late, machine.switch.channel.threshold)


def test_dead_time_is_the_same_at_both_ends_of_the_drive_and_on_the_way() -> None:
    """1 us at 24 V, at 60 and 130 kHz, and while the frequency runs from one to the other.

    Read at the chips' gates as they pass threshold. 80 ns around 1 us: switching on and off take
    different times through the same gate resistor. 15 ns between runs: the gate's charge depends
    a little on the current switched; a dead time that was a share of the period would go from
    1 us to 0.46 us.
    """
    machine = varied(bench_machine(1.0e-6), {"supply.voltage": 24.0})
    low, high = machine.drive.frequency_min, machine.drive.frequency_max
    ends = [gate_gaps(still(machine, 6, load="empty", frequency=f), machine) for f in (high, low)]
    ramp = Scenario.model_validate(
        {
            "name": "ramp", "title": "", "machine": "machine.toml", "tail": 5e-5,
            "start": {"load": "empty", "frequency": high, "settled": 5e-5},
            "events": [{"kind": "frequency", "frequency": low, "at": 0.0, "duration": 2e-4}],
        }
    )  # fmt: skip
    swept = gate_gaps(timeline(machine, ramp), machine)
    assert len(swept) > 40
    found = np.concatenate([*ends, swept])
    assert np.abs(found - 1.0e-6).max() < 80e-9
    assert np.ptp(found) < 15e-9
