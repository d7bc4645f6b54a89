"""Facts every maker of small heaters knows, on the circuit: common practice, no source."""

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

TURNS, LINK, AMPLITUDE, RESONANCE = 20, 30.0, 100.0, 89e3
CAPACITANCE = 54 * 33e-9
LOOP_INDUCTANCE = 1.0 / ((2 * pi * RESONANCE) ** 2 * CAPACITANCE)
IMPLIED_Q = AMPLITUDE / (4 / pi * LINK / TURNS)
"""Tank voltage over the fundamental of the loop's EMF, peak over peak [1]."""
LOOP_RESISTANCE = sqrt(LOOP_INDUCTANCE / CAPACITANCE) / IMPLIED_Q
MU_0 = 4e-7 * pi


def bench_machine(dead_time: float) -> Machine:
    """A small heater on a bench supply: the demonstration machine's bridge on another tank.

    What transformer, switches and cans put into the loop is taken off coil and load, so that the
    loop as a whole has the resistance that the fact implies.
    """
    base = demo()
    own = (
        2 * (base.switch.channel.drain_resistance + 1e-3) + base.transformer.primary_resistance
    ) / TURNS**2 + base.transformer.secondary_resistance
    cans, can_esr = 54, 20e-3
    stray = base.transformer.leakage_inductance / TURNS**2
    return varied(
        base,
        {
            "supply.voltage": LINK,
            "transformer.primary_turns": TURNS,
            "tank.can_capacitance": 33e-9,
            "tank.cans": cans,
            "tank.can_esr": can_esr,
            "drive.dead_time": dead_time,
            "coil.inductance": LOOP_INDUCTANCE - stray,
            "coil.resistance": LOOP_RESISTANCE - own - can_esr / cans,
        },
    )


def test_thirty_volts_through_twenty_turns_put_a_hundred_on_the_tank() -> None:
    """Run at resonance. 8 %: "about" in the saying; the dead time and the diodes take some."""
    machine = bench_machine(0.6e-6)
    frequency = machine.resonance(machine.coil.inductance)
    assert frequency == pytest.approx(RESONANCE, rel=1e-9)
    line = still(machine, 60, load="empty", frequency=frequency)
    stretch = seeded_stretch(machine, line, 50 / frequency)
    point = operating_point(stretch.waves, stretch.cycles, stretch.transitions)
    assert point.tank_voltage_peak_v == pytest.approx(AMPLITUDE, rel=0.08)
    assert abs(point.phase_deg) < 10.0


def test_the_implied_q_is_that_of_a_copper_coil_with_a_small_steel_rod() -> None:
    """The saying implies Q = 52; copper alone gives more, a thick rod much less.

    Copper: six turns of 50 mm mean diameter in 4 mm tube, resistance of a layer one skin depth deep
    times 1 to 2 for the crowding of current between neighbouring turns.
    Rod: (N/l)^2 times length times circumference times rho/delta, skin depth small against the
    radius; mu_r 40 and 16e-8 ohm m for cold carbon steel in a strong field (solved textbook
    question on penetration depth, 0.4 % C steel at 30 degC).
    """
    assert pytest.approx(52.4, abs=0.1) == IMPLIED_Q
    reactance = sqrt(LOOP_INDUCTANCE / CAPACITANCE)
    length = 6 * pi * 50e-3
    depth = sqrt(1.72e-8 / (pi * RESONANCE * MU_0))
    layer = 1.72e-8 * length / (pi * (4e-3 - depth) * depth)
    empty_most, empty_least = reactance / layer, reactance / (2.0 * layer)
    assert empty_least > IMPLIED_Q
    assert empty_most < 200.0

    def loaded(diameter: float, inserted: float, crowding: float) -> float:
        skin = sqrt(16e-8 / (pi * RESONANCE * MU_0 * 40.0))
        assert skin < diameter / 6
        reflected = (6 / 50e-3) ** 2 * inserted * pi * diameter * 16e-8 / skin
        return reactance / (crowding * layer + reflected)

    # A 5 mm rod pushed half way in brackets the saying; an 8 mm rod all the way in is far below.
    assert loaded(5e-3, 25e-3, 2.0) < IMPLIED_Q < loaded(5e-3, 25e-3, 1.0)
    assert loaded(8e-3, 50e-3, 1.0) < 0.7 * IMPLIED_Q


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
    """1.2 us at 60 and 130 kHz, and while the frequency runs from one to the other.

    Read at the chips' gates as they pass threshold. 80 ns around 1.2 us: switching on and off take
    different times through the same gate resistor. 15 ns between runs: the gate's charge depends
    a little on the current switched; a dead time that was a share of the period would go from
    1.2 us to 0.55 us.
    """
    machine = bench_machine(1.2e-6)
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
    assert np.abs(found - 1.2e-6).max() < 80e-9
    assert np.ptp(found) < 15e-9
