"""Made-up bench sessions: a machine nobody knows, its readings with noise, and what comes of them.

Shared by the studies under benchmarks/ and by the tests of the same code. The true machine is the
described one with its uncertain values drawn from their tolerances; its readings come from circuit
runs, with noise of the size of the stated uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.bench import Setting, resonance
from simkit.studies.fit.readings import own_deviation
from simkit.studies.fit.solve import Observation, Problem, influential
from simkit.studies.inputs.uncertain_values import Array, Uncertain, scaled, uncertain
from simkit.studies.low_voltage.bench_point import circuit_readings
from simkit.studies.low_voltage.fault_signs import Fault

POWERED = ("supply_current", "tank_voltage", "primary_current", "phase")
NOISE = {
    "resonance": 0.0015, "ring_down_frequency": 0.001, "ring_down_q": 0.02,
    "supply_current": 0.007, "tank_voltage": 0.015, "primary_current": 0.015,
    "gate_voltage": 0.01,
}  # fmt: skip
"""Standard deviation of a reading as a share of it: hand-held meter, eight-bit scope; common
practice, no source."""
PHASE_NOISE = 1.0
"""[deg]"""
TIME_NOISE = 10e-9
"""[s]"""


@dataclass(frozen=True)
class Session:
    """Settings with what is read at each."""

    settings: tuple[tuple[Setting, tuple[str, ...]], ...]


def session(machine: Machine, piece: str, voltage: float = 30.0) -> Session:
    """What a person does who has the described machine: settings near the resonances found."""
    empty, full = (resonance(machine, Setting(name, voltage)) for name in ("empty", piece))
    return Session(
        (
            (Setting("empty", voltage), ("resonance", "ring_down_frequency", "ring_down_q",
                                         "dead_time", "gate_voltage")),
            (Setting("empty", voltage, 1.1 * empty), POWERED),
            (Setting(piece, voltage, 1.05 * full), POWERED),
            (Setting(piece, voltage, 1.2 * full), POWERED),
        )
    )  # fmt: skip


def noise(name: str, value: float) -> float:
    """Standard deviation of a reading's noise, in its unit."""
    absolute = {"phase": PHASE_NOISE, "dead_time": TIME_NOISE}
    return absolute.get(name, NOISE.get(name, 0.0) * abs(value))


def read(
    rehearser: Rehearser, truth: Machine, plan: Session, chance: np.random.Generator
) -> tuple[Observation, ...]:
    """Readings of a true machine by circuit runs, with noise."""
    out = []
    for number, (setting, names) in enumerate(plan.settings):
        found = circuit_readings(rehearser, truth, setting, frozenset(names))
        for name in names:
            if name not in found:
                continue
            deviation = noise(name, found[name])
            seen = found[name] + deviation * chance.standard_normal()
            whole = float(np.hypot(deviation, own_deviation(name, seen, truth, setting)))
            out.append(Observation(f"points.{number}.{name}", name, seen, whole, setting))
    return tuple(out)


def drawn(
    machine: Loaded[Machine], piece: str, chance: np.random.Generator, share: float = 1.0
) -> tuple[Machine, tuple[Uncertain, ...], Array]:
    """A true machine: uncertain values drawn from their tolerances, or a share of them."""
    chosen = uncertain(machine, [piece])
    logs = share * np.array([u.deviation for u in chosen]) * chance.standard_normal(len(chosen))
    return scaled(machine.model, chosen, logs), chosen, logs


def known(machine: Loaded[Machine], share: float) -> Loaded[Machine]:
    """The same file with every tolerance a share of what it was, as after a fit."""
    origins = dict(machine.origins)
    for one in uncertain(machine, machine.model.workpieces):
        if one.key in origins:
            origins[one.key] = replace(origins[one.key], tolerance=share * one.tolerance)
    return replace(machine, origins=origins)


def told(
    machine: Machine, chosen: tuple[Uncertain, ...], seen: tuple[Observation, ...]
) -> set[str]:
    """Keys of the values any reading depends on."""
    return {u.key for u in influential(Problem(machine, chosen, seen))}


def pull_out(piece: str, frequency: float) -> Scenario:
    """The piece pulled out at full voltage, drive as it was set."""
    return Scenario.model_validate(
        {
            "name": "pull-out", "title": "", "machine": "machine.toml", "tail": 2e-4,
            "start": {"load": piece, "frequency": frequency, "settled": 3e-4},
            "events": [{"kind": "pull-out", "at": 0.0, "duration": 5e-4}],
        }
    )  # fmt: skip


def faulty(fault: Fault, machine: Machine, chance: np.random.Generator) -> tuple[Machine, float]:
    """A machine with a fault, at one of its severities."""
    found = list(fault.machines(machine))
    severity, changed = found[int(chance.integers(len(found)))]
    return changed, severity
