"""Figures 6 and 7: `simkit run` of the pull-out from a cold shell: memory, CPU beyond the engine.

The engine's CPU is that of the same decks run from here.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Container
from pathlib import Path

from benchmarks.cost import Cost, command_cost
from benchmarks.figure import Figure
from benchmarks.ours import rehearsal_cost
from benchmarks.scenarios import CHISEL, machine, shipped
from simkit.data import scenario_folder

REPEATS = 3
BELOW = 400e6


def cost_of(verb: str, *arguments: str, answers: Container[int] = (0, 1, 3)) -> Cost:
    """Cost of a verb with a fresh cache; RuntimeError when it ended with none of its answers."""
    with tempfile.TemporaryDirectory(prefix="simkit-bench-") as name:
        out = Path(name) / "report"
        environment = dict(os.environ) | {"XDG_CACHE_HOME": name, "NO_COLOR": "1"}
        environment["PYTHONPATH"] = str(Path(__file__).resolve().parents[1])
        command = [sys.executable, "-m", "simkit", verb, *arguments, "--quiet", "--out", str(out)]
        cost = command_cost(command, Path(name), environment)
        if cost.status not in answers:
            raise RuntimeError(f"simkit {verb} ended with {cost.status}")
        return cost


def run_once(*arguments: str) -> Cost:
    """Cost of one `simkit run` that comes to a verdict."""
    return cost_of("run", *arguments, "--no-cache", answers=(0, 1))


def measure() -> list[Figure]:
    """Figure 7: the best of some runs, less the engine's own CPU."""
    scenario = str(scenario_folder() / "chisel-brazing" / "pull-out-cold.toml")
    runs = [run_once(scenario) for _ in range(REPEATS)]
    engine = rehearsal_cost(machine(CHISEL), shipped(CHISEL, "pull-out-cold"))[2].inside
    beyond = min(cost.cpu for cost in runs) - engine
    note = f"all processes {', '.join(f'{c.cpu:.2f}' for c in runs)} s, engine {engine:.2f} s"
    return [Figure(7, "cold run beyond the engine", "value", beyond, 3.0, unit="s", note=note)]


def memory() -> list[Figure]:
    """Figure 6: largest process of a whole run, 5 ms, report included."""
    with tempfile.TemporaryDirectory(prefix="simkit-bench-") as name:
        folder = Path(name)
        shipped = scenario_folder() / "chisel-brazing"
        text = (shipped / "pull-out-cold.toml").read_text(encoding="utf-8")
        text = text.replace('tail = "0.5 ms"', 'tail = "2.5 ms"')
        (folder / "long.toml").write_text(text, encoding="utf-8")
        (folder / "machine.toml").write_text((shipped / "machine.toml").read_text("utf-8"), "utf-8")
        sampled = run_once(str(folder / "long.toml"))
        whole = run_once(str(folder / "long.toml"), "--whole")
    note = f"sampled {sampled.memory / 1e6:.0f} MB, --whole {whole.memory / 1e6:.0f} MB"
    return [Figure(6, "peak memory of the 5 ms run", "value", sampled.memory / 1e6, BELOW / 1e6,
                   unit="MB", note=note)]  # fmt: skip
