"""Variant machines for tests, built from the shipped demonstration machine by plain overrides.

Values that are not the demonstration machine's own are invented here and stand for nobody's parts.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.timeline import Timeline, timeline
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.job import WORKING
from simkit.rehearsal.ladder import climb
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.stretches import Stretch
from simkit.run.backend import Budget, EngineRun
from simkit.run.process import NgspiceEngine
from simkit.studies.inputs.loading import load_machine

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "scenarios" / "chisel-brazing"
SHIPPED = sorted(
    p
    for machine in (ROOT / "scenarios").glob("*/machine.toml")
    for p in machine.parent.glob("*.toml")
    if p != machine
)
"""Every shipped scenario: what lies beside a machine file."""

BRIDGES = ("full", "half-split", "half-blocking")
FEEDS = ("loop", "shunt")
GATES = ("ideal", "transformer")
TOPOLOGIES = tuple((b, f, g) for b in BRIDGES for f in FEEDS for g in GATES)


@lru_cache(maxsize=1)
def demo() -> Machine:
    """The shipped demonstration machine."""
    return load_machine(DEMO / "machine.toml").model


@lru_cache(maxsize=1)
def crucible() -> Machine:
    """The shipped half bridge, its gates driven through transformers."""
    return load_machine(ROOT / "scenarios" / "copper-casting" / "machine.toml").model


def varied(machine: Machine, changes: Mapping[str, Any]) -> Machine:
    """The machine with values changed by dotted key, checked again as a file would be."""
    data = machine.model_dump(exclude_none=True)
    for key, value in changes.items():
        *path, last = key.split(".")
        table = data
        for name in path:
            table = table.setdefault(name, {})
        if value is None:
            table.pop(last, None)
        else:
            table[last] = value
    return Machine.model_validate(data)


GATE_TRANSFORMER = {
    "magnetising_inductance": 0.8e-3,
    "leakage_inductance": 0.4e-6,
    "winding_resistance": 0.6,
    "coupling_capacitance": 1e-6,
}


def topology(bridge: str, feed: str, gate: str) -> Machine:
    """The demonstration machine rebuilt to another topology, at a like power.

    Half bridges put out half the voltage and get half the turns. Shunt-fed, the reflected loss is
    R (L_m/L)^2 at the secondary, ten times the loop's, and fewer turns again give like power.
    """
    turns = 22 if feed == "loop" else 8
    changes: dict[str, Any] = {
        "bridge.topology": bridge,
        "tank.feed": feed,
        "drive.isolation": gate,
        "transformer.primary_turns": turns if bridge == "full" else turns // 2,
    }
    if bridge != "full":
        share = (turns // 2 / turns) ** 2
        changes["transformer.magnetising_inductance"] = 2.2e-3 * share
        changes["transformer.leakage_inductance"] = 8e-6 * share
    if bridge == "half-split":
        changes |= {"bridge.split_capacitance": 3.3e-6, "bridge.split_esr": 4e-3}
        changes["transformer.blocking_capacitance"] = None
    if feed == "shunt":
        changes["tank.matching"] = {"inductance": 3e-6, "resistance": 5e-3}
    if gate == "transformer":
        changes["drive.transformer"] = GATE_TRANSFORMER
    return varied(demo(), changes)


def scenario(**start: Any) -> Scenario:
    """A scenario without events; `start` fills its start table."""
    tail = start.pop("tail", 1e-4)
    begin = {"load": "cold-steel-weak-field", "settled": 1e-4, "margin": 0.03} | start
    if "frequency" in start:
        begin.pop("margin")
    return Scenario.model_validate(
        {"name": "test", "title": "", "machine": "machine.toml", "tail": tail, "start": begin}
    )


def still(machine: Machine, cycles: float, **start: Any) -> Timeline:
    """A timeline without events that lasts some cycles."""
    line = timeline(machine, scenario(**start))
    return line.stretch(0.0, cycles / line.frequency.first)


def seeded_deck(machine: Machine, line: Timeline, analysis: Analysis = WORKING) -> Deck:
    """Deck of a timeline, started from the fast model's steady state."""
    return machine_deck(machine, line, scouted(machine, line).seed(line.begin), analysis)


def run_text(text: str, saved: tuple[str, ...], stop: float, **budget: Any) -> EngineRun:
    """A deck through the engine's door, with a short leash."""
    return NgspiceEngine().run(text, saved, stop, Budget(**({"wall": 120.0} | budget)))


def run_deck(deck: Deck) -> EngineRun:
    """A machine's deck through the engine's door."""
    return run_text(deck.text, deck.saved, deck.stop)


def seeded_stretch(
    machine: Machine, line: Timeline, measured_from: float, analysis: Analysis = WORKING
) -> Stretch:
    """A measured stretch, started from the fast model's steady state; down the ladder like any."""
    seed = scouted(machine, line).seed(line.begin)
    return climb(machine, line, seed, analysis, run_deck, measured_from, [])


IDEAL_SWITCH = {
    # 0.1 mohm channel behind 0.4 mohm, with the sense resistor's 1 mohm: 1.5 mohm a switch.
    "switch.channel.threshold": 4.0,
    "switch.channel.transconductance": 1250.0,
    "switch.channel.drain_resistance": 0.4e-3,
    "switch.channel.gate_resistance": 1.0,
    "switch.channel.gate_source_capacitance": 50e-12,
    "switch.channel.gate_drain_capacitance_max": 5e-12,
    "switch.channel.gate_drain_capacitance_min": 1e-12,
    "switch.channel.output_capacitance_zero": 400e-12,
    "switch.channel.breakdown_voltage": 5e3,
    "switch.diode.lifetime": 2e-9,
    "switch.diode.transit_time": 1e-9,
    "switch.diode.forward_voltage": 0.3,
    "switch.diode.series_resistance": 1e-3,
    "switch.diode.emission": 1.0,
    # Smaller leads ring at gigahertz and cost the engine minutes; these are damped dead.
    "switch.package.drain_inductance": 2e-10,
    "switch.package.common_source_inductance": 2e-11,
    "switch.package.source_inductance": 2e-11,
    "switch.package.lead_damping": 0.05,
}
IDEAL_SWITCH_RESISTANCE = 1.5e-3
IDEAL_REST = {
    "supply.source_resistance": 1e-6,
    "supply.link": {"capacitance": 0.5, "esr": 1e-6, "esl": 1e-12},
    "supply.film": {"capacitance": 1e-5, "esr": 1e-6, "esl": 1e-12},
    "supply.bus_inductance": 1e-11,
    "supply.bus_damping": 1e-2,
    "bridge.loop_inductance": 1e-10,
    "bridge.loop_damping": 0.05,
    "drive.frequency_min": 1e3,
    "drive.frequency_max": 1e6,
    "drive.dead_time": 30e-9,
    "drive.edge_time": 10e-9,
    "drive.source_resistance": 0.1,
    "drive.sink_resistance": 0.1,
    "drive.gate_resistor": 10.0,
    "drive.loop_inductance": 1e-9,
    "transformer.secondary_turns": 1,
    "transformer.secondary_resistance": 1e-7,
    "tank.cans": 1,
    "tank.can_esr": 1e-7,
}


def ideal(
    bridge: str,
    *,
    link: float,
    series_resistance: float,
    leakage: float,
    magnetising: float,
    turns: int,
    capacitance: float,
    inductance: float,
    resistance: float,
) -> Machine:
    """A loop-fed machine with parts as ideal as the engine runs, its bridge's resistance included.

    `series_resistance` is everything in series with the primary; two switches of a full bridge or
    one of a half bridge make part of it.
    """
    switches = IDEAL_SWITCH_RESISTANCE * (2 if bridge == "full" else 1)
    changes: dict[str, Any] = dict(IDEAL_SWITCH) | IDEAL_REST
    changes |= {
        "supply.voltage": link,
        "bridge.topology": bridge,
        "transformer.primary_turns": turns,
        "transformer.magnetising_inductance": magnetising,
        "transformer.leakage_inductance": leakage,
        "transformer.primary_resistance": max(series_resistance - switches, 1e-4),
        "transformer.core_path": None,  # the closed solutions are those of a linear core
        "transformer.blocking_capacitance": 9e-3 if bridge == "half-blocking" else None,
        "tank.can_capacitance": capacitance,
        "coil.inductance": inductance,
        "coil.resistance": resistance,
    }
    if bridge == "half-split":
        changes |= {"bridge.split_capacitance": 5e-3, "bridge.split_esr": 1e-6}
    return varied(demo(), changes)
