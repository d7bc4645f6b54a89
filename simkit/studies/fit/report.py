"""A fit as one JSON document and as a page: values, residuals, what is open, what is suspected."""

import math
from pathlib import Path
from typing import Any

import simkit
from simkit.judge.cautions import CAUTIONS
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.readings import READINGS, Readings
from simkit.studies.bring_up.study import UNITS
from simkit.studies.fit.captures import Overlay
from simkit.studies.fit.faults import Diagnosis
from simkit.studies.fit.study import Compared, Fit, FittedValue
from simkit.studies.fit.suggest import Suggestion
from simkit.studies.fit.write import unit_of
from simkit.units import format_quantity

SCHEMA = "simkit.fit/1"
METHOD = (
    "least squares with the file's tolerances as priors, on the harmonic fast model, corrected by "
    "circuit runs at the answer; intervals linearised, 95 %"
)
CONTRADICTION = 0.01
"""Chance of the misfit below which the readings are said to contradict [1]."""


def verdictless(found: Fit) -> str:
    """One sentence on how far the fit can be trusted."""
    outliers = [c.observation.key for c in found.compared if c.outlier]
    if not found.converged:
        return "The answer still moved when the rounds were over: take the intervals as too narrow."
    if outliers:
        return f"Left out as contradicting the others: {', '.join(outliers)}."
    if found.probability < CONTRADICTION:
        return ("The readings contradict each other or the machine as described: so large a "
                f"misfit has a chance of {found.probability:.1g}. Ask for faults with "
                "--faults.")  # fmt: skip
    return "Readings and machine agree within the stated uncertainties."


def contradictions(found: Fit) -> list[str]:
    """Pairs of readings of the same thing at the same setting that differ too much."""
    out = []
    for n, one in enumerate(found.compared):
        for two in found.compared[n + 1 :]:
            a, b = one.observation, two.observation
            same = (a.name, a.setting) == (b.name, b.setting)
            if same and abs(a.value - b.value) > 3.0 * math.hypot(a.deviation, b.deviation):
                out.append(f"{a.key} and {b.key} read the same and differ")
    return out


def notes(found: Fit, machine: Machine) -> list[str]:
    """What low voltage did not tell, and what was assumed."""
    out = []
    loads = {c.observation.setting.load for c in found.compared}
    low = max(c.observation.setting.supply_voltage for c in found.compared)
    steel = [n for n in loads if n != "empty" and machine.workpieces[n].levels is not None]
    plain = [n for n in loads if n != "empty" and n not in steel]
    if steel:
        out.append(f"{', '.join(steel)}: fitted at the level of {low:g} V and carried to others by "
                   "the part model; what it says of steel is good to some tens of per cent, so "
                   "at full voltage trust the interval of the resonance no closer.")  # fmt: skip
    if plain:
        out.append(f"{', '.join(plain)}: L and R as fitted hold at {low:g} V. Steel shows others "
                   "at full voltage; the interval does not know of it.")  # fmt: skip
    out.append("Heating and recovery leave no trace at a low voltage: nothing here was fitted of "
               "either, and their intervals are the file's.")  # fmt: skip
    assumed = [v.key for v in found.values if not v.stated]
    if assumed:
        out.append(f"Tolerances assumed by kind of source, none stated: {', '.join(assumed)}.")
    return out


def document(
    found: Fit,
    machine: Loaded[Machine],
    readings: Loaded[Readings],
    open_values: tuple[Suggestion, ...],
    diagnosis: Diagnosis | None,
    seconds: float,
) -> dict[str, Any]:
    """The fit as one JSON document; values in SI, each with its unit beside it."""
    return {
        "schema": SCHEMA,
        "machine": {"name": machine.model.name, "file": str(machine.file),
                    "digest": machine.digest},
        "readings": {"file": str(readings.file), "digest": readings.digest},
        "method": METHOD,
        "outcome": verdictless(found),
        "chi_square": found.chi_square,
        "readings_count": len(found.compared),
        "probability": found.probability,
        "rounds": found.rounds,
        "converged": found.converged,
        "values": [_value(v) for v in found.values],
        "compared": [_compared(c) for c in found.compared],
        "contradictions": contradictions(found),
        "singular_values": found.solution.singular.tolist(),
        "would_pin_down": [_suggestion(s) for s in open_values],
        "faults": None if diagnosis is None else faults_json(diagnosis),
        "notes": notes(found, machine.model),
        "cautions": list(CAUTIONS),
        "total_seconds": seconds,
        "provenance": {"simkit": simkit.__version__},
    }  # fmt: skip


def shown(one: Overlay) -> dict[str, Any]:
    """A capture's channel over the circuit's trace, for JSON and the page."""
    return {
        "file": one.file, "shows": one.shows, "unit": one.unit, "difference": one.difference,
        "time_s": one.time.tolist(), "read": one.read.tolist(),
        "simulated": one.simulated.tolist(),
    }  # fmt: skip


def _value(one: FittedValue) -> dict[str, Any]:
    return {
        "key": one.key, "title": one.title, "unit": unit_of(one.key), "before": one.before,
        "tolerance_before": one.tolerance_before, "tolerance_stated": one.stated,
        "value": one.after, "interval": [one.low, one.high], "left": one.left,
        "fitted": one.fitted, "pinned_down": one.pinned,
    }  # fmt: skip


def _compared(one: Compared) -> dict[str, Any]:
    seen = one.observation
    return {
        "reading": seen.key, "name": seen.name, "title": READINGS[seen.name],
        "unit": UNITS[seen.name], "read": seen.value, "deviation": seen.deviation,
        "before": one.before if math.isfinite(one.before) else None,
        "after": one.after if math.isfinite(one.after) else None,
        "misfit": one.misfit, "outlier": one.outlier,
    }  # fmt: skip


def _suggestion(one: Suggestion) -> dict[str, Any]:
    return {
        "key": one.key, "left": one.left, "reading": one.reading, "load": one.setting.load,
        "supply_voltage_v": one.setting.supply_voltage, "frequency_hz": one.setting.frequency,
        "would_leave": one.would_leave,
    }  # fmt: skip


def faults_json(found: Diagnosis) -> dict[str, Any]:
    """The fault finder's answer."""
    return {
        "words": found.words,
        "none_of_these": found.none_of_these,
        "suspects": [
            {
                "name": s.name, "title": s.title, "probability": s.probability,
                "severity": s.best.severity, "chi_square": s.best.chi_square,
                "chance": s.best.chance, "explains": s.explains, "look": s.look,
                "method": "circuit run" if s.best.by_circuit else "fast model, corrected",
            }
            for s in found.suspects
        ],
    }  # fmt: skip


def lines(result: dict[str, Any]) -> list[str]:
    """The document for a terminal."""
    out = [result["outcome"], ""]
    for one in result["values"]:
        unit = one["unit"]
        low, high = (format_quantity(x, unit) for x in one["interval"])
        word = "pinned down" if one["pinned_down"] else ("moved along" if one["fitted"] else "open")
        out.append(f"  {one['key']:42} {format_quantity(one['value'], unit):>12}  "
                   f"{low} to {high}, {word}, {one['left']:.0%} of the tolerance left")  # fmt: skip
    out += ["", f"{'reading':34} {'read':>12} {'before':>12} {'after':>12}  misfit"]
    for one in result["compared"]:
        texts = [("none" if x is None else format_quantity(x, one["unit"]))
                 for x in (one["read"], one["before"], one["after"])]  # fmt: skip
        mark = "  left out" if one["outlier"] else ""
        cells = " ".join(f"{t:>12}" for t in texts)
        out.append(f"{one['reading']:34} {cells}  {one['misfit']:+.1f}{mark}")
    out += _open_lines(result)
    if result["faults"]:
        out += ["", result["faults"]["words"]]
        out += [f"  {s['name']:18} {s['probability']:6.1%}  {s['title']}"
                for s in result["faults"]["suspects"][:5]]  # fmt: skip
    return out


def _open_lines(result: dict[str, Any]) -> list[str]:
    if not result["would_pin_down"]:
        return []
    out = ["", "Readings that would tell more:"]
    for one in result["would_pin_down"]:
        at = f" at {format_quantity(one['frequency_hz'], 'Hz')}" if one["frequency_hz"] else ""
        out.append(f"  {one['key']}: {one['reading']} with {one['load']}{at} would leave "
                   f"{one['would_leave']:.0%} of the tolerance")  # fmt: skip
    return out


def output_name(machine: Path) -> Path:
    """Where the fitted file goes when nothing else is asked for."""
    return machine.with_name(f"{machine.stem}-fitted{machine.suffix}")
