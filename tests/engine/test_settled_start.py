"""A whole run's start, put right by a run of the settled part, in the engine.

Outside: in the periodic state the flux swings as far up as down (Faraday's law), and the tank's
states are the same a period later.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simkit.circuit.timeline import timeline
from simkit.circuit.values import Seed
from simkit.parameters.events import Event
from simkit.parameters.machine import Machine
from simkit.rehearsal.flux_offset import flux_offset
from simkit.rehearsal.job import WORKING, ringing_half
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.settled_state import begun
from simkit.rehearsal.stretches import Stretch, run_stretch, seed_at
from tests.machines import run_deck, scenario, still, topology, varied
from tests.slowly import first_quick

MACHINES = [
    ("half-split", "loop", "ideal"), ("half-blocking", "shunt", "ideal"),
    ("full", "loop", "transformer"), ("full", "shunt", "ideal"),
]  # fmt: skip
CYCLES = 5.0


def run_from(machine: Machine, seed: Seed) -> Stretch:
    line = still(machine, CYCLES, margin=0.08)
    return run_stretch(
        machine, line, seed, WORKING, run_deck, line.begin + 1.2 / line.frequency.first
    )


def restless(stretch: Stretch, period: float) -> float:
    """By how much the tank's current and voltage still change in the last cycle [1]."""
    last = float(stretch.waves.time[-1]) - 0.1 * period
    now, before = seed_at(stretch.waves, last), seed_at(stretch.waves, last - period)
    size = np.hypot(now.coil_current, now.primary_current)
    return float(abs(now.coil_current - before.coil_current) / size)


@pytest.mark.parametrize("parts", first_quick([(m,) for m in MACHINES]))
def test_a_spoilt_start_is_put_right(parts: tuple[str, str, str]) -> None:
    """The tank 5 % off, the capacitors in series with the primary by 3 V, the core by 10 mT: a
    tenth of the offset is left at most, a fifth of what the tank still moves."""
    machine = topology(*parts)
    line = still(machine, CYCLES, margin=0.08)
    period = 1.0 / line.frequency.first
    good = scouted(machine, line).seed(line.begin)
    core = machine.transformer
    aside = 0.01 / core.magnetising_inductance * core.primary_turns * core.core_area
    spoilt = replace(
        good,
        coil_current=1.05 * good.coil_current,
        tank_voltage=0.95 * good.tank_voltage,
        primary_current=good.primary_current + aside,
    )
    if core.blocking_capacitance or machine.bridge.split_capacitance:
        spoilt = replace(spoilt, blocking_voltage=spoilt.blocking_voltage + 3.0)
    before = run_from(machine, spoilt)
    found = begun(machine, line, before, spoilt, good)
    after = run_from(machine, found.at(found.phase))
    assert found.changed > 0.02
    assert abs(flux_offset(machine, after)) < 0.1 * abs(flux_offset(machine, before))
    assert restless(after, period) < 0.2 * restless(before, period)


def test_every_other_pass_starts_half_a_ringing_earlier_where_gates_come_to_float() -> None:
    """pi sqrt(L C) f with 1 mH and 1 uF at 80 kHz: 7.9 cycles; none with gates driven as they are,
    or without a winding."""
    winding = {
        "magnetising_inductance": 1e-3,
        "leakage_inductance": 3e-7,
        "winding_resistance": 0.3,
        "coupling_capacitance": 1e-6,
    }
    change = {"drive.transformer": winding}
    machine = varied(topology("full", "loop", "transformer"), change)
    calm = timeline(machine, scenario(settled=50e-6, frequency=80e3))
    event = Event.model_validate({"kind": "driver-unpowered", "at": 20e-6})
    case = scenario(settled=50e-6, frequency=80e3).model_copy(update={"events": (event,)})
    assert ringing_half(machine, timeline(machine, case)) == pytest.approx(7.948, rel=1e-3)
    assert ringing_half(machine, calm) == 0.0
    assert ringing_half(topology("full", "loop", "ideal"), timeline(machine, case)) == 0.0
