"""What the fast model says about a machine with some values changed, as data for the page.

Operating map over the drive's range, mode and readings at one frequency, dead-time window, the
limits the fast model can estimate, and every load at that same frequency: what a pull-out or a
drop-in would do. No verdict: recovery, ringing and gate lift need circuit runs.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite, pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np

from simkit.errors import InputError
from simkit.judge.limits import machine_limits
from simkit.judge.quantities import QUANTITIES
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.report.text import quantity
from simkit.scout.drive import machine_edges
from simkit.scout.halfwave import Edges
from simkit.scout.plant import plant_from_machine
from simkit.scout.steady import SteadyState, steady
from simkit.studies.check import dead_time_window, flux_swing
from simkit.studies.loading import load_machine

EVEN, NEAR = 33, 25
"""Points of the map over the drive's range, and around each resonance of the load shown."""
SPAN = 0.08
"""How far around a resonance the map is denser, as a share of it [1]."""
KEPT = 64
"""Maps kept for the same machine and load."""
MAIN = (
    "supply.voltage", "bridge.loop_inductance", "drive.dead_time", "drive.gate_resistor",
    "drive.voltage_on", "transformer.primary_turns", "transformer.secondary_turns",
    "transformer.leakage_inductance", "transformer.magnetising_inductance",
    "tank.can_capacitance", "tank.cans", "tank.matching.inductance", "coil.inductance",
    "coil.resistance", "limits.supply_current",
)  # fmt: skip
"""Keys shown as inputs, as far as the file has them; each workpiece's L and R besides."""


KNOWN = (
    "channel_current_peak", "drain_current_rms", "can_voltage_rms", "can_current_rms",
    "flux_peak", "supply_current",
)  # fmt: skip
"""Judged quantities that the fast model can estimate."""
PARTS = {
    "can_voltage_rms": "tank capacitor", "can_current_rms": "tank capacitor",
    "flux_peak": "matching transformer", "supply_current": "supply",
}  # fmt: skip
"""Part that a quantity belongs to; the others belong to a switch."""


Bounds = Mapping[str, float]
"""Limits by quantity, SI."""


@dataclass(frozen=True)
class Question:
    """What the page asks."""

    overrides: Mapping[str, str]
    load: str | None
    """None for the first workpiece."""
    frequency: float | None
    """[Hz]; None for the working margin above the load's resonance."""


def bench_values(machine: Loaded[Machine]) -> list[dict[str, Any]]:
    """The inputs of the page: key, value as written, meaning, unit, source."""
    from simkit.parameters.fields import quantities

    known = quantities(Machine)
    wanted = [key for key in MAIN if key in machine.origins]
    for name in machine.model.workpieces:
        for part in ("inductance", "resistance"):
            key = f"workpieces.{name}.{part}"
            wanted += [key] if key in machine.origins else []
    rows = []
    for key in wanted:
        field = known.get(key) or known.get(_starred(key))
        origin = machine.origins[key]
        rows.append({
            "key": key,
            "written": origin.written.strip('"'),
            "meaning": field.description if field else "",
            "unit": field.unit if field else "",
            "source": origin.source,
        })  # fmt: skip
    return rows


def _starred(key: str) -> str:
    parts = key.split(".")
    return ".".join([parts[0], "*", *parts[2:]]) if len(parts) > 2 else key


def answered(path: Path, question: Question) -> dict[str, Any]:
    """Everything the page shows for a question, or the problems with its values."""
    try:
        machine = load_machine(path, question.overrides).model
    except InputError as error:
        problems = [{"key": p.field, "text": _said(p)} for p in error.problems]
        return {"problems": problems}
    try:
        return _answer(machine, question)
    except ValueError as error:
        return {"problems": [{"key": "", "text": f"The fast model has no answer: {error}."}]}


def _said(problem: Any) -> str:
    text = f"{problem.rule}; {problem.hint}" if problem.hint else problem.rule
    return text[0].upper() + text[1:]


def _answer(machine: Machine, question: Question) -> dict[str, Any]:
    loads = [*machine.workpieces, "empty"]
    name = question.load if question.load in loads else loads[0]
    resonance = machine.resonance(machine.load(name).inductance)
    frequency = question.frequency or (1.0 + machine.drive.working_margin) * resonance
    frequency = min(max(frequency, machine.drive.frequency_min), machine.drive.frequency_max)
    state = _state(machine, name, frequency)
    return {
        "problems": [],
        "load": name,
        "frequency": frequency,
        "frequency_text": quantity(frequency, "Hz", 4),
        "resonance": resonance,
        "mode": state.mode,
        "sentence": _sentence(machine, name, state),
        "map": _map(machine, name),
        "readings": _readings(machine, state),
        "window": _window(machine, state),
        "limits": _limits(machine, state),
        "loads": [_load(machine, other, frequency) for other in loads],
        "unknown": _unknown(machine),
    }


def _edges(machine: Machine) -> Edges:
    return machine_edges(machine)


def _state(machine: Machine, load: str, frequency: float) -> SteadyState:
    return steady(plant_from_machine(machine, machine.load(load)), frequency, _edges(machine))


# --- the map


def frequencies(machine: Machine, load: str) -> np.ndarray:
    """Frequencies of the map [Hz]: the drive's range, denser around the load's resonance."""
    drive = machine.drive
    even = np.linspace(drive.frequency_min, drive.frequency_max, EVEN)
    near = machine.resonance(machine.load(load).inductance) * np.linspace(1 - SPAN, 1 + SPAN, NEAR)
    inside = (near > drive.frequency_min) & (near < drive.frequency_max)
    return np.union1d(even, near[inside])


def _map(machine: Machine, load: str) -> dict[str, Any]:
    return _mapped(machine.model_dump_json(), load)


@lru_cache(maxsize=KEPT)
def _mapped(values: str, load: str) -> dict[str, Any]:
    machine = Machine.model_validate_json(values)
    grid = frequencies(machine, load)
    plant, edges = plant_from_machine(machine, machine.load(load)), _edges(machine)
    states, bounds = [steady(plant, float(f), edges) for f in grid], _bounds(machine)
    return {
        "frequency": _short(grid),
        "power": _short([s.input_power for s in states]),
        "turn_off": _short([s.turn_off_current for s in states]),
        "mode": [s.mode for s in states],
        "over": [_worst_ratio(machine, s, bounds) for s in states],
    }


def _short(values: Any) -> list[float]:
    return [float(f"{v:.6g}") for v in values]


def _worst_ratio(machine: Machine, state: SteadyState, bounds: Bounds | None = None) -> float:
    """Largest share of a limit among those the fast model can estimate [1]."""
    limits = bounds or _bounds(machine)
    found = _estimates(machine, state)
    return float(f"{max(found[name] / bound for name, bound in limits.items()):.4g}")


def _bounds(machine: Machine) -> Bounds:
    limits = {x.quantity: x.bound for x in machine_limits(machine)}
    return {name: limits[name] for name in KNOWN}


# --- one frequency


def _estimates(machine: Machine, state: SteadyState) -> dict[str, float]:
    """Judged quantities as far as the fast model knows them, SI."""
    voltage = state.tank_voltage_peak / sqrt(2.0)
    return {
        "channel_current_peak": state.primary_current_peak,
        "drain_current_rms": state.primary_current_rms / sqrt(2.0),
        "can_voltage_rms": voltage,
        "can_current_rms": 2.0 * pi * state.frequency * machine.tank.can_capacitance * voltage,
        "flux_peak": flux_swing(machine, state.frequency),
        "supply_current": state.supply_current,
    }


def _limits(machine: Machine, state: SteadyState) -> list[dict[str, Any]]:
    found, rows = _estimates(machine, state), []
    for limit in machine_limits(machine):
        if limit.quantity in found:
            value, words = found[limit.quantity], QUANTITIES[limit.quantity]
            part = PARTS.get(limit.quantity, "switch")
            rows.append({
                "name": f"{part}: {words.title}", "quantity": limit.quantity,
                "value": quantity(value, limit.unit), "limit": quantity(limit.bound, limit.unit),
                "ratio": value / limit.bound, "source": limit.source, "why": words.why,
                "change": words.change,
            })  # fmt: skip
    return sorted(rows, key=lambda row: -row["ratio"])


def _unknown(machine: Machine) -> list[str]:
    """Titles of the limits that only circuit runs can answer."""
    found = (x.quantity for x in machine_limits(machine) if x.quantity not in KNOWN)
    return [QUANTITIES[name].title for name in found]


def _readings(machine: Machine, state: SteadyState) -> list[list[str]]:
    return [
        ["Input power", quantity(state.input_power, "W")],
        ["Supply current", quantity(state.supply_current, "A")],
        ["Power in coil and workpiece", quantity(state.coil_power, "W")],
        ["Coil current, peak", quantity(state.coil_current_peak, "A")],
        ["Tank voltage, peak", quantity(state.tank_voltage_peak, "V")],
        ["Primary current, peak", quantity(state.primary_current_peak, "A")],
        ["Turn-off current", quantity(state.turn_off_current, "A")],
        ["Phase, current behind voltage", quantity(state.phase_deg, "deg")],
    ]


def _window(machine: Machine, state: SteadyState) -> dict[str, Any]:
    needed, reversal = dead_time_window(machine, state)
    dead = state.edges.dead_time
    if not isfinite(needed):
        words = "No window: the current leads, the node does not swing by itself."
    elif dead < needed:
        words = "Too short: the incoming switch turns on before the node has swung over."
    elif dead > reversal:
        words = "Too long: the current reverses within it and the node swings back."
    else:
        words = "Inside the window."
    return {
        "dead": dead,
        "needed": needed if isfinite(needed) else None,
        "reversal": reversal,
        "inside": bool(needed <= dead <= reversal),
        "words": words,
        "texts": {
            "set": quantity(machine.drive.dead_time, "s"),
            "dead": quantity(dead, "s"),
            "needed": quantity(needed, "s"),
            "reversal": quantity(reversal, "s"),
        },
    }


def _load(machine: Machine, name: str, frequency: float) -> dict[str, Any]:
    state = _state(machine, name, frequency)
    resonance = machine.resonance(machine.load(name).inductance)
    piece = machine.workpieces.get(name)
    return {
        "name": name,
        "title": piece.title if piece else "Coil with nothing in it",
        "resonance": resonance,
        "resonance_text": quantity(resonance, "Hz", 4),
        "mode": state.mode,
        "power": quantity(state.input_power, "W"),
        "turn_off": quantity(state.turn_off_current, "A"),
        "worst": _worst_ratio(machine, state),
    }


def _sentence(machine: Machine, load: str, state: SteadyState) -> str:
    resonance = machine.resonance(machine.load(load).inductance)
    off = state.frequency / resonance - 1.0
    side = "above" if off >= 0.0 else "below"
    text = (
        f"{quantity(state.frequency, 'Hz', 4)} is {abs(100.0 * off):.1f} % {side} the resonance "
        f"with {load}: {state.mode}."
    )
    if load == "empty":
        return text
    bare = _state(machine, "empty", state.frequency)
    moved = machine.resonance(machine.coil.inductance)
    way = "climbs" if moved > resonance else "falls"
    turns = "stays" if bare.mode == state.mode else "becomes"
    text += (
        f" Pulled out, the resonance {way} to {quantity(moved, 'Hz', 4)} "
        f"and the bridge {turns} {bare.mode}"
    )
    worst = _worst_ratio(machine, bare)
    return f"{text}, with {worst:.2g} times a limit." if worst > 1.0 else f"{text}."
