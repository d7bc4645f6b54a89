"""The nearest machine whose design numbers are all within limits, then verified by circuit runs.

Primary turns, cans, dead time and gate resistor are varied about what they are; the fast model
(check.py) tells which combinations have every row within its limit, the nearest first, nearness
being the sum of the magnitudes of the logarithms of the factors. The nearest is then rehearsed,
settled, with every workpiece at the working margin; where that is over a limit, the next one is.
"""

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product
from math import log
from typing import Any

from simkit.parameters.instead import Instead, replaced
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.cache import Store
from simkit.run.pool import Executor, collected
from simkit.studies.check.study import PIECE_OUT, check_machine
from simkit.studies.maps.cases import case_of, key_of, work

EVALUATIONS = 400
"""Combinations the fast model looks at, at most [1]."""
VERIFIED = 3
"""Combinations rehearsed before the search gives up [1]."""
FACTORS = (1.0, 0.75, 1.25, 1.5, 2.0, 0.5)
"""Dead times and gate resistors tried, times what they are [1]."""
SPAN = 2.0
"""Turns and cans are tried from this share below to this factor above [1]."""
SETTLED = 0.3e-3
"""Settled part of a verifying rehearsal [s]."""


@dataclass(frozen=True)
class Suggestion:
    """A combination: what to change, and what came of it.

    Fields: changes: old and new value by key; machine; rows: result of the circuit runs by
    workpiece; empty before they are made.
    """

    changes: Mapping[str, tuple[float, float]]
    machine: Machine
    rows: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def outcome(self) -> str:
        """Worst outcome of the circuit runs."""
        found = {row["outcome"] for row in self.rows.values()}
        if not found or "no_verdict" in found:
            return "no_verdict"
        return "over_limit" if "over_limit" in found else "within_limits"


@dataclass(frozen=True)
class Suggested:
    """What a search came to: suggestions rehearsed, the last being the one to take if it is within
    the limits; evaluated: combinations the fast model looked at."""

    suggestions: tuple[Suggestion, ...]
    evaluated: int

    @property
    def best(self) -> Suggestion | None:
        """The suggestion whose circuit runs are within the limits checked."""
        last = self.suggestions[-1] if self.suggestions else None
        return last if last is not None and last.outcome == "within_limits" else None


def suggest(
    machine: Machine, executor: Executor | None = None, store: Store | None = None
) -> Suggested:
    """Search, nearest first, and verify."""
    tried: list[Suggestion] = []
    looked = 0
    for _, changes in zip(range(EVALUATIONS), nearest_first(machine), strict=False):
        looked += 1
        made = changed(machine, changes)
        if made is None or not within(made):
            continue
        said = {k: (current(machine, k), v) for k, v in changes.items() if v != current(machine, k)}
        found = Suggestion(said, made, rehearsed(made, executor, store))
        tried.append(found)
        if found.outcome == "within_limits" or len(tried) == VERIFIED:
            break
    return Suggested(tuple(tried), looked)


def within(machine: Machine) -> bool:
    """Whether every row of the check that has a limit is within it."""
    # What comes of a piece taken out is the drive's affair; here it is how the machine works.
    rows = [row for row in check_machine(machine) if not row.quantity.endswith(PIECE_OUT)]
    return all(row.status in ("ok", "") for row in rows)


def current(machine: Machine, key: str) -> float:
    """Value of the machine at a dotted key."""
    at: Any = machine
    for name in key.split("."):
        at = getattr(at, name)
    return float(at)


def nearest_first(machine: Machine) -> Iterator[dict[str, float]]:
    """Combinations by their distance from the machine as it is, which comes first."""
    ladders = {
        "transformer.primary_turns": whole_numbers(machine.transformer.primary_turns),
        "tank.cans": whole_numbers(machine.tank.cans),
        "drive.dead_time": [f * machine.drive.dead_time for f in FACTORS],
        "drive.gate_resistor": [f * machine.drive.gate_resistor for f in FACTORS],
    }

    def distance(values: tuple[float, ...]) -> float:
        pairs = zip(ladders, values, strict=True)
        return sum(abs(log(v / current(machine, key))) for key, v in pairs)

    nearest = heapq.nsmallest(EVALUATIONS, product(*ladders.values()), key=distance)
    for values in nearest:
        yield dict(zip(ladders, values, strict=True))


def whole_numbers(now: int) -> list[float]:
    """Whole numbers about a value, at most 25 of them."""
    low, high = max(1, round(now / SPAN)), round(now * SPAN)
    step = max(1, (high - low) // 24)
    found = {*range(now, high + 1, step), *range(now, low - 1, -step)}
    return sorted(float(n) for n in found)


def changed(machine: Machine, changes: Mapping[str, float]) -> Machine | None:
    """The machine with a combination; None where it cannot be.

    On the same core the inductances of the transformer go with the square of the turns, and in the
    same window so does the winding's resistance.
    """
    values: dict[str, Any] = dict(changes)
    turns = round(changes["transformer.primary_turns"])
    values["transformer.primary_turns"] = turns
    values["tank.cans"] = round(changes["tank.cans"])
    square = (turns / machine.transformer.primary_turns) ** 2
    for name in ("magnetising_inductance", "leakage_inductance", "primary_resistance"):
        key = f"transformer.{name}"
        values[key] = square * current(machine, key)
    try:
        return replaced(machine, values)
    except Instead:
        return None


def rehearsed(
    machine: Machine, executor: Executor | None, store: Store | None
) -> dict[str, Mapping[str, Any]]:
    """Settled rehearsals at the working margin, by workpiece."""
    names = {}
    cases = {}
    for piece in machine.workpieces:
        case = case_of(machine, settled(machine, piece), "full")
        names[piece] = key_of(case)
        cases[names[piece]] = case
    found = collected(cases, work, store, executor)
    return {piece: found[key] for piece, key in names.items()}


def settled(machine: Machine, piece: str) -> Scenario:
    """Nothing happens: one workpiece at the working margin."""
    start = {"load": piece, "margin": machine.drive.working_margin, "settled": SETTLED}
    return Scenario.model_validate(
        {"name": "suggested", "title": f"Settled with {piece}", "machine": "machine.toml",
         "tail": 1e-4, "start": start}
    )  # fmt: skip


def document(found: Suggested) -> dict[str, Any]:
    """The search as data; numbers in SI units."""
    best = found.best
    return {
        "verdict": "no_verdict" if not found.suggestions else found.suggestions[-1].outcome,
        "evaluated": found.evaluated,
        "changes": None if best is None else _changes(best),
        "tried": [
            {
                "changes": _changes(s),
                "verdict": s.outcome,
                "workpieces": {
                    piece: {"verdict": row["outcome"], "reason": row["reason"],
                            "power_w": row["power"]}
                    for piece, row in s.rows.items()
                },
            }
            for s in found.suggestions
        ],
    }  # fmt: skip


def _changes(found: Suggestion) -> dict[str, dict[str, float]]:
    return {key: {"now": old, "suggested": new} for key, (old, new) in found.changes.items()}


def sentence(found: Suggested) -> str:
    """The search in a sentence."""
    best = found.best
    if best is None and not found.suggestions:
        return (f"Nothing within all limits among the {found.evaluated} nearest combinations the "
                "fast model looked at.")  # fmt: skip
    if best is None:
        return (f"{len(found.suggestions)} combinations the fast model found within limits were "
                "rehearsed, and none of them was within the limits checked.")  # fmt: skip
    if not best.changes:
        return ("Nothing to change: as it is, every workpiece at the working margin is within the "
                "limits checked, by circuit runs.")  # fmt: skip
    words = ", ".join(f"{key} {_shown(key, old)} to {_shown(key, new)}"
                      for key, (old, new) in best.changes.items())  # fmt: skip
    return f"{words}: every workpiece then is within the limits checked, by circuit runs."


UNITS = {"drive.dead_time": "s", "drive.gate_resistor": "ohm"}


def _shown(key: str, value: float) -> str:
    from simkit.units import format_quantity

    return format_quantity(value, UNITS[key], 3) if key in UNITS else f"{value:g}"
