"""From a finished map and its document to what the page shows."""

import shlex
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from pydantic import BaseModel

from simkit.figures.table import full_name
from simkit.parameters.fields import field_of
from simkit.parameters.varying import SCENARIO
from simkit.report.view import Fact
from simkit.studies.maps.boundary import Cell
from simkit.studies.maps.page import AxisView, Chance, MapView, Region, Weight
from simkit.studies.maps.result import ANY
from simkit.studies.maps.space import Axis, Space
from simkit.studies.maps.study import Mapped
from simkit.units import format_quantity

PREFIXES = (("M", 1e6), ("k", 1e3), ("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9), ("p", 1e-12))
BARE = frozenset({"1", "degC", "m^2", "A/V^2", "K/W"})
"""Units that take no prefix here."""


def map_view(
    found: Mapped, cells: Sequence[Cell], result: Mapping[str, Any], arguments: Sequence[str]
) -> MapView:
    """Everything the page of a map shows; `arguments`: what follows the scenario's file."""
    space = found.space
    axes = [axis_view(space, axis) for axis in space.axes]
    scales = np.array([a.scale for a in axes])
    chances = result["probabilities"] or {}
    return MapView(
        title=f"{len(found.points)} cases: {space.scenario.title}",
        scenario=space.scenario.name,
        machine=space.machine.title,
        outcome=result["verdict"],
        reason=result["reason"],
        axes=tuple(axes),
        chances=tuple(_chance(q, c) for q, c in chances.items()),
        weights=tuple(
            Weight(i["name"], i["first_order"], i["total"], i["rank_correlation"])
            for i in result["importance"]
        ),
        values=np.array([p.values for p in found.points]) / scales,
        worst=np.array([p.worst for p in found.points]),
        outcomes=tuple(p.outcome for p in found.points),
        full=tuple(p.method == "circuit run" for p in found.points),
        regions=tuple(_region(space, c, scales) for c in cells),
        verification=tuple(facts(found)),
        command=shlex.join(["simkit", "map", result["scenario"]["file"], *arguments]),
    )


def _chance(name: str, found: Mapping[str, Any]) -> Chance:
    words = "any of them" if name == ANY else full_name(name)
    return Chance(words, found["value"], found["low"], found["high"], found["over"],
                  found["undecided"])  # fmt: skip


def _region(space: Space, cell: Cell, scales: Any) -> Region:
    x, y = space.axes[:2]
    return Region(
        x.value(cell.left) / scales[0], x.value(cell.right) / scales[0],
        y.value(cell.low) / scales[1], y.value(cell.high) / scales[1], cell.outcome,
    )  # fmt: skip


def axis_view(space: Space, axis: Axis) -> AxisView:
    """An axis in words, with the factor from SI to what is shown."""
    unit = "1" if axis.relative else unit_of(space, axis.keys[0])
    prefix, scale = "", 1.0
    if unit not in BARE:
        size = max(abs(axis.low), abs(axis.high))
        prefix, scale = next(((p, s) for p, s in PREFIXES if size >= s), PREFIXES[-1])
    low, high = (format_quantity(v, unit, 3).removesuffix(" 1") for v in (axis.low, axis.high))
    spread = f"{low} to {high}" if axis.spread == "uniform" else f"95 % in {low} to {high}"
    shown = "" if unit == "1" else prefix + unit
    return AxisView(axis.name, shown, scale, f"times {spread}" if axis.relative else spread,
                    axis.source)  # fmt: skip


def unit_of(space: Space, key: str) -> str:
    """Unit of the field at a dotted key."""
    at: Any = space.scenario if key.startswith(SCENARIO) else space.machine
    *path, last = key.removeprefix(SCENARIO).split(".")
    for name in path:
        if isinstance(at, BaseModel):
            at = getattr(at, name)
        else:
            at = at[int(name)] if name.isdecimal() else at[name]
    quantity = field_of(type(at), last) if isinstance(at, BaseModel) else None
    return quantity.unit if quantity else "1"


def facts(found: Mapped) -> list[Fact]:
    """How the cases were told, and how the fast model did."""
    runs = sum(p.method == "circuit run" for p in found.points)
    out = [
        Fact("sample", found.sample),
        Fact("cases by circuit runs", f"{runs} of {len(found.points)}"),
    ]
    if found.checked is None:
        return out
    told = len(found.points) - runs
    out.append(Fact("cases by the fast model", str(told), "calibrated by the circuit runs; each "
                    "is clear of every limit by three times the calibration's spread"))  # fmt: skip
    seen = found.checked
    out.append(Fact("drawn at random to verify it", f"{seen.cases}, of which {seen.wrong} were "
                    "told wrong"))  # fmt: skip
    worst = max(seen.spreads, key=lambda q: seen.spreads[q], default=None)
    if worst is not None:
        out.append(Fact("largest spread", f"{100 * seen.spreads[worst]:.3g} %", full_name(worst)))
    return out
