"""A finished map as data: probabilities, what matters, every case."""

import csv
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from simkit.figures.table import full_name
from simkit.judge.cautions import CAUTIONS
from simkit.parameters.load import Loaded
from simkit.studies.maps.boundary import Cell
from simkit.studies.maps.statistics import Probability, importance, probability
from simkit.studies.maps.study import Mapped

ANY = "any limit"


def verdict(found: Mapped) -> str:
    """Over a limit when any case is; else no verdict when any has none, or when there is none."""
    outcomes = {p.outcome for p in found.points}
    if "over_limit" in outcomes:
        return "over_limit"
    return "within_limits" if outcomes == {"within_limits"} else "no_verdict"


def probabilities(found: Mapped) -> dict[str, Probability]:
    """Probability of each limit being exceeded, and of any."""
    count = len(found.points)
    out = {
        ANY: probability(
            sum(p.outcome == "over_limit" for p in found.points),
            sum(p.outcome == "no_verdict" for p in found.points),
            count,
        )
    }
    for name in dict.fromkeys(q for p in found.points for q in p.ratios):
        over = sum(name in p.over for p in found.points)
        near = sum(name in p.near or name not in p.ratios for p in found.points)
        out[name] = probability(over, near, count)
    return out


def document(
    found: Mapped, cells: Sequence[Cell], scenario: Loaded[Any], machine: Loaded[Any]
) -> dict[str, Any]:
    """The map as data; numbers in SI units, values in the order of the axes."""
    from simkit.result.plain import plain

    chances = probabilities(found)
    units = np.array([p.units for p in found.points])
    worst = np.array([p.worst for p in found.points])
    names = [a.name for a in found.space.axes]
    # Points a refinement put along the boundary are no sample of anything.
    sampled = found.sample != "full"
    result: dict[str, Any] = plain(
        {
            "schema": "simkit.map/1",
            "cautions": list(CAUTIONS),
            "scenario": _file(scenario),
            "machine": _file(machine),
            "verdict": verdict(found),
            "reason": reason(found, chances),
            "sample": found.sample,
            "axes": [asdict(a) | {"name": a.name} for a in found.space.axes],
            "cases": len(found.points),
            "methods": {m: sum(p.method == m for p in found.points)
                        for m in ("circuit run", "fast model")},
            "verification": None if found.checked is None else asdict(found.checked),
            "probabilities": {
                q: asdict(c) | {"value": c.value} for q, c in chances.items()
            } if sampled else None,
            "importance": [asdict(i) for i in importance(names, units, worst)] if sampled else [],
            "cells": [asdict(c) for c in cells],
            "points": [
                {"values": p.values, "outcome": p.outcome, "worst": p.worst, "over": p.over,
                 "near": p.near, "method": p.method, "ratios": dict(p.ratios)}
                for p in found.points
            ],
        }
    )  # fmt: skip
    return result


def _file(loaded: Loaded[Any]) -> dict[str, str]:
    return {"name": loaded.model.name, "file": str(loaded.file), "digest": loaded.digest}


def reason(found: Mapped, chances: dict[str, Probability]) -> str:
    """The map in a sentence."""
    whole = chances[ANY]
    runs = sum(p.method == "circuit run" for p in found.points)
    text = f"{whole.over} of {whole.cases} cases are over a limit"
    if whole.undecided:
        text += f", {whole.undecided} have no verdict"
    if found.sample != "full":
        text += f": a probability of {100 * whole.value:.3g} % ({span(whole)})"
    ranked = sorted((q for q in chances if q != ANY), key=lambda q: -chances[q].over)
    named = [q for q in ranked[:2] if chances[q].over]
    if named:
        text += "; most often " + " and ".join(f"{full_name(q)} ({chances[q].over})" for q in named)
    how = "all by circuit runs" if runs == whole.cases else f"{runs} of them by circuit runs, " \
        "the others by the fast model, calibrated and clear of every limit"  # fmt: skip
    return f"{text}. {how[:1].upper()}{how[1:]}."


def span(found: Probability) -> str:
    """The interval in words."""
    return f"95 % interval {100 * found.low:.3g} to {100 * found.high:.3g} %"


def write_cases(path: Path, found: Mapped) -> None:
    """Every case as one row of a CSV file: values, verdict, each share of a limit."""
    quantities = list(dict.fromkeys(q for p in found.points for q in p.ratios))
    with path.open("w", encoding="utf-8", newline="") as out:
        rows = csv.writer(out)
        rows.writerow([*(a.name for a in found.space.axes), "outcome", "method", *quantities])
        for p in found.points:
            rows.writerow([*p.values, p.outcome, p.method, *(p.ratios.get(q) for q in quantities)])
