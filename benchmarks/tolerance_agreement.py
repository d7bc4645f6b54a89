"""What `simkit run` says of a machine's tolerances, beside circuit runs of machines drawn alike.

    python -m benchmarks.tolerance_agreement [--draws 60] [--write] SCENARIO...

Each of the first draws of the sample is run by circuit; share over a limit and the ends of the
95 % intervals are compared on the same draws (what calibration and fast model do) and the share of
all draws beside it (what the number of draws does). Recorded in benchmarks/tolerance.json.
"""

import argparse
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from simkit.rehearsal.rehearser import Rehearser
from simkit.run.pool import collect
from simkit.run.workers import Workers
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps.cases import case_of, work
from simkit.studies.maps.space import Space
from simkit.studies.tolerance.figures import Followed
from simkit.studies.tolerance.machines import Sample, space_for
from simkit.studies.tolerance.study import interval, rebuilder, told

RECORD = Path(__file__).with_name("tolerance.json")
SCENARIOS = (
    "scenarios/chisel-brazing/pull-out-hot.toml",
    "scenarios/copper-casting/lift-crucible.toml",
    "scenarios/chisel-brazing/tolerances.toml",
)


def compared(path: Path, draws: int, cores: int) -> dict[str, Any]:
    """One scenario: the fast model's answer beside the circuit's on the first draws."""
    scenario, machine = load_scenario(path)
    space = space_for(machine, scenario)
    started = time.perf_counter()
    rehearsal = Rehearser().rehearse(machine.model, scenario.model)
    run_seconds = time.perf_counter() - started
    started = time.perf_counter()
    taken, followed = told(rehearsal, space, rebuilder(machine, scenario))
    seconds = time.perf_counter() - started
    picked = np.random.default_rng(3).permutation(len(taken.units))[:draws]
    rows = circuit(space, taken, picked.tolist(), cores)
    return {
        "scenario": path.as_posix(), "verdict": rehearsal.verdict.outcome, "draws": len(picked),
        "run_seconds": run_seconds, "tolerance_seconds": seconds, **shares(followed, picked, rows),
        "figures": [ends(f, picked, rows) for f in followed],
    }  # fmt: skip


def circuit(space: Space, taken: Sample, picked: list[int], cores: int) -> list[dict[str, Any]]:
    """Circuit runs of some draws."""
    cases = {str(k): case_of(taken.machines[k + 1], space.scenario, "full") for k in picked}
    with Workers(cores) as crew:
        found = dict(collect(cases, work, None, crew))
    return [found[str(k)] for k in picked]


def shares(
    followed: list[Followed], picked: Any, rows: list[dict[str, Any]]
) -> dict[str, float]:  # fmt: skip
    """Share over a limit: all draws and the compared ones by the fast model, by circuit."""
    ratios = np.array([f.values[1:] / f.row.limit for f in followed])
    over = (ratios > 1.0).any(axis=0)
    unknown = ~over & np.isnan(ratios).any(axis=0)
    real = np.array([any((x["ratio"] or 0.0) > 1.0 for x in r["limits"].values()) for r in rows])
    return {
        "share_over_all": float(over.mean()), "share_unknown_all": float(unknown.mean()),
        "share_over_same_draws": float(over[picked].mean()),
        "share_unknown_same_draws": float(unknown[picked].mean()),
        "share_over_circuit": float(real.mean()),
        "told_otherwise": int((real != over[picked])[~unknown[picked]].sum()),
    }  # fmt: skip


def ends(one: Followed, picked: Any, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Ends of one figure's interval on the same draws, as shares of its limit."""
    q, limit = one.row.quantity, one.row.limit
    real = np.array([r["limits"].get(q, {}).get("ratio") or np.nan for r in rows]) * limit
    fast, told_ = interval(one.values[1:][picked]), interval(real)
    off = None
    if fast and told_:
        off = [float(a / b - 1.0) for a, b in zip(fast, told_, strict=True)]
    return {"figure": q, "fast": _of(fast, limit), "circuit": _of(told_, limit), "off": off}


def _of(pair: tuple[float, float] | None, limit: float) -> list[float] | None:
    return None if pair is None else [pair[0] / limit, pair[1] / limit]


def main() -> None:
    """Compare, print, and keep where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenarios", nargs="*", default=SCENARIOS)
    parser.add_argument("--draws", type=int, default=60)
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    for name in asked.scenarios:
        found = compared(Path(name), asked.draws, asked.cores)
        print(json.dumps(found, indent=1), flush=True)
        if asked.write:  # read again: two may run side by side
            kept = json.loads(RECORD.read_text("utf-8")) if RECORD.exists() else {}
            kept[name] = found
            RECORD.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
