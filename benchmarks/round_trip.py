"""Twenty machines nobody knows, read at 30 V, fitted, and taken to full voltage.

`python -m benchmarks.round_trip [--trials 20] [--lines FILE]` keeps a line for each trial, so that
it can be stopped and taken up again, and prints a summary; `benchmarks.low_voltage` writes the
document.
"""

import argparse
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.scout.bench import Setting, resonance
from simkit.studies.fit.study import Fit, fit
from simkit.studies.inputs.loading import load_machine
from tests.bench_trials import drawn, pull_out, read, session, told
from tests.machines import DEMO

PIECE = "steel-full-power"
LINES = Path("benchmarks/round_trip.jsonl")


def trial(seed: int, bench: Rehearser) -> dict[str, Any]:
    """One machine: fitted values against true ones, full voltage against full voltage."""
    chance = np.random.default_rng(seed)
    machine = load_machine(DEMO / "machine.toml")
    truth, chosen, logs = drawn(machine, PIECE, chance)
    seen = read(bench, truth, session(truth, PIECE), chance)
    before = time.process_time()
    found = fit(machine, seen, bench)
    spent = time.process_time() - before
    true = {u.key: float(u.value * np.exp(x)) for u, x in zip(chosen, logs, strict=True)}
    keys = told(machine.model, chosen, seen)
    frequency = 1.05 * resonance(truth, Setting(PIECE, truth.supply.voltage))
    return {
        "seed": seed,
        "values": _values(found, true, keys),
        "outliers": sum(c.outlier for c in found.compared),
        "probability": found.probability,
        "converged": found.converged,
        "fit_cpu_seconds": spent,
        "true": _full(bench, truth, frequency),
        "fitted": _full(bench, found.machine, frequency),
    }


def _values(found: Fit, true: dict[str, float], keys: set[str]) -> list[dict[str, Any]]:
    return [
        {
            "key": v.key, "before": v.before, "true": true[v.key], "after": v.after,
            "low": v.low, "high": v.high, "left": v.left,
            "inside": v.low <= true[v.key] <= v.high, "told": v.key in keys,
        }
        for v in found.values
    ]  # fmt: skip


def _full(bench: Rehearser, machine: Any, frequency: float) -> dict[str, Any]:
    found = bench.rehearse(machine, pull_out(PIECE, frequency))
    peak = next(r for r in found.rows if r.quantity == "channel_current_peak")
    return {
        "tank_voltage": found.before.tank_voltage_peak_v,
        "switch_current": peak.value,
        "switch_current_error": peak.error,
        "verdict": found.verdict.outcome,
    }


def main() -> None:
    """Run what is not there yet."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--trials", type=int, default=20)
    ask.add_argument("--lines", type=Path, default=LINES)
    given = ask.parse_args()
    done = set()
    if given.lines.exists():
        done = {json.loads(row)["seed"] for row in given.lines.read_text().splitlines()}
    bench = Rehearser(settings=Settings(jobs=1))
    for seed in range(1, given.trials + 1):
        if seed not in done:
            row = json.dumps(trial(seed, bench))
            with given.lines.open("a") as file:
                file.write(row + "\n")
            print(row[:300], flush=True)


if __name__ == "__main__":
    main()
