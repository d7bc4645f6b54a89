"""What `simkit run` says of a machine's tolerances, beside circuit runs of machines drawn alike.

    python -m benchmarks.tolerance_agreement [--draws 200] [--minutes 5] [--write] CASE...

Each of the first draws of the sample is rehearsed by circuit; share over a limit and the ends of
the 95 % intervals are compared on the same draws (what calibration and fast model do) and the share
of all draws beside it (what the number of draws does). Draws that were run are kept in
build/tolerance, so that it can be taken up again; `--again` forgets them. Recorded in
benchmarks/tolerance.json.
"""

import argparse
import json
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.random_machines.files import write
from simkit.figures.table import full_name
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps.cases import case_of, work
from simkit.studies.maps.space import Space
from simkit.studies.tolerance.figures import Followed
from simkit.studies.tolerance.machines import Sample, space_for
from simkit.studies.tolerance.study import half_width, interval, rebuilder, told

RECORD = Path(__file__).with_name("tolerance.json")
PAGE = Path(__file__).resolve().parents[1] / "docs" / "tolerances.md"
BEGIN, END = "<!-- agreement -->", "<!-- end of agreement -->"
KEPT = Path(__file__).resolve().parents[1] / "build" / "tolerance"
SETTLED = {"settled": 0.2e-3}
CASES: Mapping[str, tuple[str, dict[str, Any]]] = {
    "chisel-steady": (
        "scenarios/chisel-brazing/pull-out-hot.toml",
        {"start": SETTLED | {"load": "steel-full-power", "margin": 0.028}, "events": [],
         "tail": 0.1e-3},
    ),
    "copper-steady": (
        "scenarios/copper-casting/lift-crucible.toml",
        {"start": SETTLED | {"load": "graphite-crucible", "margin": 0.004}, "events": [],
         "tail": 0.1e-3},
    ),
    "tube-steady": (
        "scenarios/tube-bending/tube-drawn-hot.toml",
        {"start": SETTLED | {"load": "tube-cold", "margin": 0.03}, "tail": 0.1e-3, "events": []},
    ),
}  # fmt: skip
"""Short scenarios on shipped machines, by name: the file that they are made from, and what
stands in its place, in SI units."""
USUAL = (*CASES, "random-0")
"""Steady heating on three shipped machines, with the tolerances of their files; and a machine drawn
at random whose file states none, so that those of its sources stand."""


def case_named(name: str) -> tuple[Loaded[Scenario], Loaded[Machine]]:
    """A case's scenario and machine; "random-8" is seed 8, any other name a scenario file's."""
    file, instead = CASES.get(name, (name, {}))
    seed = file.removeprefix("random-")
    scenario, machine = load_scenario(Path(file) if seed == file else write(int(seed)))
    data = scenario.model.model_dump(exclude_none=True) | {"name": Path(name).stem} | instead
    return replace(scenario, model=Scenario.model_validate(data)), machine


def compared(name: str, draws: int, until: float) -> dict[str, Any]:
    """One scenario: the fast model's answer beside the circuit's on the first draws."""
    scenario, machine = case_named(name)
    space = space_for(machine, scenario)
    started = time.perf_counter()
    rehearsal = Rehearser().rehearse(machine.model, scenario.model)
    run_seconds = time.perf_counter() - started
    started = time.perf_counter()
    taken, followed = told(rehearsal, space, rebuilder(machine, scenario))
    seconds = time.perf_counter() - started
    picked = np.random.default_rng(3).permutation(len(taken.units))[:draws]
    rows = circuit(space, taken, picked.tolist(), kept_in(name, machine), until)
    picked = picked[: len(rows)]
    return {
        "scenario": name, "verdict": rehearsal.verdict.outcome, "draws": len(picked),
        "run_seconds": run_seconds, "tolerance_seconds": seconds, **shares(followed, picked, rows),
        "figures": [ends(f, picked, rows) for f in followed],
    }  # fmt: skip


def kept_in(name: str, machine: Loaded[Machine]) -> Path:
    """Where a case's circuit runs are kept, those of this very machine."""
    return KEPT / f"{Path(name).stem}-{machine.digest[:12]}.jsonl"


def circuit(
    space: Space, taken: Sample, picked: list[int], kept: Path, until: float
) -> list[dict[str, Any]]:
    """Rehearsals of some draws in their order, as many as there is time for."""
    kept.parent.mkdir(parents=True, exist_ok=True)
    lines = kept.read_text("utf-8").splitlines() if kept.exists() else []
    have = {row["draw"]: row for row in map(json.loads, lines)}
    for k in picked:
        if k not in have and time.monotonic() < until:
            found = work(case_of(taken.machines[k + 1], space.scenario, "full"))
            have[k] = {"draw": k, "outcome": found["outcome"], "limits": found["limits"]}
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(have[k]) + "\n")
    rows = [have.get(k) for k in picked]
    end = rows.index(None) if None in rows else len(rows)
    return [row for row in rows[:end] if row]


def shares(
    followed: list[Followed], picked: Any, rows: list[dict[str, Any]]
) -> dict[str, float]:  # fmt: skip
    """Share over a limit: all draws and the compared ones by the fast model, by circuit."""
    ratios = np.array([f.values[1:] / f.row.limit for f in followed])
    over = (ratios > 1.0).any(axis=0)
    unknown = ~over & np.isnan([f.told[1:] for f in followed]).any(axis=0)
    real = np.array([any((x["ratio"] or 0.0) > 1.0 for x in r["limits"].values()) for r in rows])
    return {
        "share_over_all": float(over.mean()), "share_unknown_all": float(unknown.mean()),
        "share_over_same_draws": float(over[picked].mean()),
        "share_unknown_same_draws": float(unknown[picked].mean()),
        "share_over_circuit": float(real.mean()),
        "no_answer_circuit": sum(not r["limits"] for r in rows),
        "told_otherwise": int((real != over[picked])[~unknown[picked]].sum()),
    }  # fmt: skip


def ends(one: Followed, picked: Any, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Ends of one figure's interval on the same draws, as shares of its limit."""
    q, limit = one.row.quantity, one.row.limit
    real = np.array([r["limits"].get(q, {}).get("ratio") or np.nan for r in rows]) * limit
    fast, told_ = interval(one.told[1:][picked]), interval(real)
    off = None
    if fast and told_:
        off = [float(a / b - 1.0) for a, b in zip(fast, told_, strict=True)]
    return {"figure": q, "fast": _of(fast, limit), "circuit": _of(told_, limit), "off": off}


def _of(pair: tuple[float, float] | None, limit: float) -> list[float] | None:
    return None if pair is None else [pair[0] / limit, pair[1] / limit]


def table() -> str:
    """What is recorded, a row a case, the worst end of an interval named."""
    lines = ["| case | draws | over, fast model | over, circuit | told otherwise "
             "| ends of intervals off by at most |", "| --- " * 6 + "|"]  # fmt: skip
    for name, found in json.loads(RECORD.read_text("utf-8")).items():
        count, real = found["draws"], found["share_over_circuit"]
        error = half_width(round(real * count), count)
        off = sorted(((max(map(abs, f["off"])), f["figure"]) for f in found["figures"] if f["off"]),
                     reverse=True)  # fmt: skip
        worst = ", ".join(f"{x:.1%} ({full_name(q)})" for x, q in off[:2])
        lines.append(
            f"| `{name}` | {count} | {found['share_over_same_draws']:.1%} of the same, "
            f"{found['share_over_all']:.1%} of all 256 | {real:.1%}, known to "
            f"{100.0 * error:.0f} points | {found['told_otherwise']} | {worst} |"
        )
    return "\n".join(lines)


def record(found: Mapping[str, Any]) -> None:
    """Keep a case's figures, and the page's table with them."""
    kept = json.loads(RECORD.read_text("utf-8")) if RECORD.exists() else {}
    kept[found["scenario"]] = found
    RECORD.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    before, _, rest = PAGE.read_text("utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    PAGE.write_text(f"{before}{BEGIN}\n{table()}\n{END}{after}", encoding="utf-8")


def main() -> None:
    """Compare, print, and keep where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenarios", nargs="*", default=USUAL)
    parser.add_argument("--draws", type=int, default=200)
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no run after these")
    parser.add_argument("--again", action="store_true", help="forget the draws that are kept")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    until = time.monotonic() + 60.0 * asked.minutes
    for name in asked.scenarios:
        if asked.again:
            kept_in(name, case_named(name)[1]).unlink(missing_ok=True)
        found = compared(name, asked.draws, until)
        print(json.dumps(found, indent=1), flush=True)
        if asked.write:
            record(found)


if __name__ == "__main__":
    main()
