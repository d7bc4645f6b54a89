"""What the fast model says about a machine with some values changed, as data for the page.

Operating map over the drive's range, mode and readings at one frequency, dead-time window, the
limits the fast model can estimate, and every load at that same frequency: what a pull-out or a
drop-in would do. No verdict: recovery, ringing and gate lift need circuit runs.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np

from simkit.errors import InputError
from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.parameters.load import Loaded, digest
from simkit.parameters.machine import Machine
from simkit.parts.working import load_at
from simkit.report.text import quantity
from simkit.scout.drive import refuse_overlap
from simkit.scout.operating import Case, OperatingPoint, operating_cases
from simkit.studies.inputs.loading import load_machine

EVEN, NEAR = 37, 25
"""Points of the map over the drive's range, and around each resonance of the load shown."""
KEPT = 32
"""Maps kept, so that moving the frequency asks for single points only."""
SPAN = 0.08
"""How far around a resonance the map is denser, as a share of it [1]."""
MAIN = (
    "supply.voltage", "supply.rectifier.mains_voltage", "bridge.loop_inductance",
    "drive.dead_time", "drive.gate_resistor",
    "drive.voltage_on", "transformer.primary_turns", "transformer.secondary_turns",
    "transformer.leakage_inductance", "transformer.magnetising_inductance",
    "tank.can_capacitance", "tank.cans", "tank.matching.inductance", "coil.inductance",
    "coil.resistance", "coil.geometry.turns", "coil.geometry.bore", "coil.geometry.length",
    "limits.supply_current",
)  # fmt: skip
"""Keys shown as inputs, as far as the file has them; each workpiece's L and R, or its
geometry, besides."""
OF_PIECE = ("inductance", "resistance", "geometry.diameter", "geometry.temperature")
"""Keys of a workpiece that are shown, as far as the file has them."""


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
    from simkit.parameters.load import read_text
    from simkit.parameters.written import MachineFile

    # What is worked out from a geometry or a core has an origin too, but no place in the file.
    written = tomllib.loads(read_text(machine.file))
    known = quantities(MachineFile)
    pieces = [f"workpieces.{name}.{part}" for name in machine.model.workpieces for part in OF_PIECE]
    wanted = [k for k in (*MAIN, *pieces) if k in machine.origins and _is_in(written, k)]
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


def _is_in(table: Any, key: str) -> bool:
    for name in key.split("."):
        if not isinstance(table, dict) or name not in table:
            return False
        table = table[name]
    return True


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
        refuse_overlap(machine)
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
    bounds = {x.quantity: x.bound for x in machine_limits(machine)}
    points, drawn = _computed(machine, bounds, name, loads, frequency)
    return {
        "problems": [],
        "load": name,
        "frequency": frequency,
        "frequency_text": quantity(frequency, "Hz", 4),
        "resonance": resonance,
        "mode": points[name].mode if points[name].converged else None,
        "headline": _headline(machine, bounds, name, points),
        "sentence": _sentence(name, points, _worst(machine, bounds, points["empty"])),
        "map": drawn,
        "readings": _readings(points[name]),
        "window": _window(points[name]),
        "limits": _limits(machine, points[name]),
        "loads": [_load(machine, bounds, other, points[other]) for other in loads],
        "unknown": [figures()[q].words.title for q in bounds if not figures()[q].fast.point],
    }


def _headline(
    machine: Machine, bounds: Mapping[str, float], name: str, points: Mapping[str, OperatingPoint]
) -> dict[str, str]:
    """What leads the page: the worse of what is, and of what a pull-out would leave.

    `state`: over, near (reverses within the dead time), known (limits the fast model knows are
    kept) or unknown.
    """
    here, bare = points[name], points["empty"]
    if not here.converged:
        return {"state": "unknown", "words": "the fast model has no answer here"}
    side = {"inductive": "current lags", "resonant": "current reverses in the dead time",
            "capacitive": "current leads"}[here.mode]  # fmt: skip
    words = f"{here.mode}: {side}"
    worst = _worst(machine, bounds, here)
    if here.mode == "capacitive":
        return {"state": "over", "words": f"{words}; body diodes are forced off"}
    if worst is not None and worst > 1.0:
        return {"state": "over", "words": f"{words}; {worst:.2g} times a limit"}
    state = "near" if here.mode == "resonant" else "known"
    if name == "empty":
        return {"state": state, "words": words}
    after = _worst(machine, bounds, bare)
    if bare.converged and bare.mode == "capacitive":
        return {"state": "over", "words": f"{words}; pulled out: capacitive"}
    if after is not None and after > 1.0:
        return {"state": "over", "words": f"{words}; pulled out: {after:.2g} times a limit"}
    if not bare.converged:
        return {"state": "unknown", "words": f"{words}; pulled out: not known"}
    if bare.mode == "resonant":
        return {"state": "near", "words": f"{words}; pulled out: resonant"}
    return {"state": state, "words": words}


_maps: dict[tuple[str, str], dict[str, Any]] = {}


def _computed(
    machine: Machine,
    bounds: Mapping[str, float],
    name: str,
    loads: Sequence[str],
    frequency: float,
) -> tuple[dict[str, OperatingPoint], dict[str, Any]]:
    """Every load at one frequency, and the map of one load; both in one pass where it is new."""
    key = (digest(machine), name)
    supply = machine.supply.voltage
    cases = [Case(load_at(machine, other, frequency, supply), frequency) for other in loads]
    drawn = _maps.get(key)
    if drawn is None:
        # The map keeps the load of the working margin: steel at each frequency's own current would
        # ask for a network of its own at every point.
        cases += [Case(machine.load(name), float(f)) for f in frequencies(machine, name)]
    found = operating_cases(machine, cases)
    points = dict(zip(loads, found, strict=False))
    if drawn is None:
        drawn = _map(machine, bounds, found[len(loads) :])
        while len(_maps) >= KEPT:
            _maps.pop(next(iter(_maps)), None)
        _maps[key] = drawn
    return points, drawn


def frequencies(machine: Machine, load: str) -> np.ndarray:
    """Frequencies of the map [Hz]: the drive's range, denser around the load's resonance."""
    drive = machine.drive
    even = np.linspace(drive.frequency_min, drive.frequency_max, EVEN)
    near = machine.resonance(machine.load(load).inductance) * np.linspace(1 - SPAN, 1 + SPAN, NEAR)
    inside = (near > drive.frequency_min) & (near < drive.frequency_max)
    return np.union1d(even, near[inside])


def _map(
    machine: Machine, bounds: Mapping[str, float], points: Sequence[OperatingPoint]
) -> dict[str, Any]:
    return {
        "frequency": [_short(p.frequency) for p in points],
        "power": [_short(p.input_power) for p in points],
        "turn_off": [_short(p.turn_off_current) for p in points],
        "mode": [p.mode if p.converged else None for p in points],
        "over": [_worst(machine, bounds, p) for p in points],
    }


def _short(value: float) -> float | None:
    """Six digits, or nothing where the fast model found no answer."""
    return float(f"{value:.6g}") if isfinite(value) else None


def _estimates(machine: Machine, point: OperatingPoint) -> dict[str, float]:
    """Judged quantities as far as the fast model knows them, SI."""
    return {
        name: figure.fast.point(machine, point)
        for name, figure in figures().items()
        if figure.fast.point is not None
    }


def _worst(machine: Machine, bounds: Mapping[str, float], point: OperatingPoint) -> float | None:
    """Largest share of a limit among those the fast model can estimate [1]."""
    found = _estimates(machine, point)
    return _short(max(found[name] / bounds[name] for name in found if name in bounds))


def _limits(machine: Machine, point: OperatingPoint) -> list[dict[str, Any]]:
    found, rows = _estimates(machine, point), []
    for limit in machine_limits(machine):
        if limit.quantity in found:
            value, figure = found[limit.quantity], figures()[limit.quantity]
            rows.append({
                "name": figure.full_name, "quantity": limit.quantity,
                "value": quantity(value, limit.unit), "limit": quantity(limit.bound, limit.unit),
                "ratio": _short(value / limit.bound), "source": limit.source,
                "why": figure.words.why, "change": figure.words.change,
            })  # fmt: skip
    return sorted(rows, key=lambda row: -(row["ratio"] or 0.0))


def _readings(point: OperatingPoint) -> list[list[str]]:
    return [
        ["Input power", quantity(point.input_power, "W")],
        ["Supply current", quantity(point.supply_current, "A")],
        ["Power in coil and workpiece", quantity(point.load_power, "W")],
        ["Loss in the bridge, ringing left out", quantity(point.bridge_loss, "W")],
        ["Coil current, peak", quantity(point.coil_current_peak, "A")],
        ["Tank voltage, peak", quantity(point.tank_voltage_peak, "V")],
        ["Primary current, peak", quantity(point.primary_current_peak, "A")],
        ["Turn-off current", quantity(point.turn_off_current, "A")],
        ["Phase, current behind voltage", quantity(point.phase, "deg")],
    ]


def _window(point: OperatingPoint) -> dict[str, Any]:
    """Dead-time window, every time from the off command [s]."""
    needed, dead, reversal = point.dead_time_needed, point.dead_time_available, point.reversal
    if not point.converged:
        words = "The fast model found no steady operation here."
    elif point.turn_off_current <= 0.0:
        words = "No window: the current leads, the node does not swing by itself."
    elif dead > reversal:
        words = "Too long: the current reverses within it and the node swings back."
    elif dead < needed:
        words = "Too short: the incoming switch turns on before the node has swung over."
    else:
        words = "Inside the window."
    return {
        "dead": _short(dead),
        "needed": _short(needed),
        "reversal": _short(reversal),
        "inside": bool(point.turn_off_current > 0.0 and needed <= dead <= reversal),
        "words": words,
        "texts": {
            "set": quantity(point.dead_time, "s"),
            "dead": quantity(dead, "s"),
            "needed": quantity(needed, "s") if isfinite(needed) else "not reached",
            "reversal": quantity(reversal, "s"),
        },
    }


def _load(
    machine: Machine, bounds: Mapping[str, float], name: str, point: OperatingPoint
) -> dict[str, Any]:
    piece = machine.workpieces.get(name)
    return {
        "name": name,
        "title": piece.title if piece else "Coil with nothing in it",
        "resonance": point.resonant_frequency,
        "resonance_text": quantity(point.resonant_frequency, "Hz", 4),
        "mode": point.mode if point.converged else None,
        "power": quantity(point.input_power, "W"),
        "turn_off": quantity(point.turn_off_current, "A"),
        "worst": _worst(machine, bounds, point),
    }


def _sentence(load: str, points: Mapping[str, OperatingPoint], bare_worst: float | None) -> str:
    here, bare = points[load], points["empty"]
    if not here.converged:
        return f"The fast model found no steady operation at {quantity(here.frequency, 'Hz', 4)}."
    off = here.frequency / here.resonant_frequency - 1.0
    text = (
        f"{quantity(here.frequency, 'Hz', 4)} is {abs(100.0 * off):.1f} % "
        f"{'above' if off >= 0.0 else 'below'} the resonance with {load}: {here.mode}."
    )
    if load == "empty" or not bare.converged:
        return text
    way = "climbs" if bare.resonant_frequency > here.resonant_frequency else "falls"
    turns = "stays" if bare.mode == here.mode else "becomes"
    text += (
        f" Pulled out, the resonance {way} to {quantity(bare.resonant_frequency, 'Hz', 4)} "
        f"and the bridge {turns} {bare.mode}"
    )
    over = bare_worst is not None and bare_worst > 1.0
    return f"{text}, with {bare_worst:.2g} times a limit." if over else f"{text}."
