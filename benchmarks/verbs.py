"""Figures 8 and 9: what the verbs take over one run, and a lift at hand speed over a plain one."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

from benchmarks.cold_shell import cost_of
from benchmarks.cost import Cost
from benchmarks.figure import Figure
from benchmarks.ours import rehearsal_cost
from benchmarks.pull_out import CANDIDATES, WITHIN
from benchmarks.scenarios import CHISEL, machine, shipped
from benchmarks.whole import relative, whole_run
from simkit.data import scenario_folder

BARE = ("--no-advice", "--no-tolerance")
"""A run as it is counted: rehearsed, judged, reported, nothing tried beside it."""
CHEAPEST = CANDIDATES[1]
"""What figure 1 finds cheapest among those that are accurate."""


READINGS = 'machine = "chisel-brazing"\n' + "".join(
    f'[[points]]\nload = "{load}"\nsupply_voltage = "24 V"\n'
    f'resonance = {{ value = "{kilohertz} kHz", uncertainty = "0.5 kHz" }}\n'
    for load, kilohertz in (("empty", 79.5), ("cold-steel-weak-field", 77.0))
)
"""Two resonances, as a first evening at the bench brings them."""


def best(repeats: int, *command: str) -> Cost:
    """The quickest of some."""
    return min((cost_of(*command) for _ in range(repeats)), key=lambda cost: cost.wall)


def verbs() -> list[Figure]:
    """Figure 8: wall time of each verb over that of one run of the same scenario."""
    folder = scenario_folder() / CHISEL
    lift, own = str(folder / "pull-out-cold.toml"), str(folder / "machine.toml")
    unit = best(3, "run", lift, *BARE).wall
    advised = best(2, "run", lift, "--no-tolerance").wall
    tolerant = best(2, "run", lift, "--no-advice").wall
    calm = best(2, "run", str(folder / "raise-supply.toml"), *BARE).wall
    calmly = best(2, "run", str(folder / "raise-supply.toml"), "--no-advice").wall
    with tempfile.TemporaryDirectory(prefix="simkit-bench-") as name:
        readings = Path(name) / "readings.toml"
        readings.write_text(READINGS, encoding="utf-8")
        fitted = cost_of("fit", own, str(readings)).wall
    five = str(scenario_folder() / "changes" / "five.toml")
    rows: Sequence[tuple[str, float, float]] = (
        ("tried advice, beside the run", (advised - unit) / unit, 3.0),
        ("tolerance interval, beside the run", (tolerant - unit) / unit, 0.3),
        ("the same, beside a calm run", (calmly - calm) / calm, 0.3),
        ("protect", cost_of("protect", lift).wall / unit, 12.0),
        ("run --all-faults", cost_of("run", own, "--all-faults").wall / unit, 8.0),
        ("compare, 5 changes", cost_of("compare", own, five, "--scenario", lift).wall / unit, 3.0),
        ("fit", fitted / unit, 8.0),
        ("map, 8 cases", cost_of("map", lift, "--cases", "8").wall / unit, 1.5),
    )
    note = f"one run: {unit:.2f} s wall"
    return [Figure(8, name, "ratio", value, goal, note=note) for name, value, goal in rows]


def lift() -> list[Figure]:
    """Figure 9: CPU of a lift of 60 ms over that of the plain run that is accurate at 5 ms."""
    subject, scenario = machine(CHISEL), shipped(CHISEL, "pull-out-cold")
    found, cost, door = min((rehearsal_cost(subject, scenario) for _ in range(2)),
                            key=lambda t: t[1])  # fmt: skip
    plain = whole_run(found.machine, scenario, CHEAPEST)
    off = max(
        relative(float("inf") if r.value is None else r.value, plain.values[r.quantity], r.limit)
        for r in found.rows
        if r.quantity in plain.values
    )
    note = (
        f"ours {cost:.2f} s CPU in {door.runs} runs, worst figure {100 * off:.2f} % off it; "
        f"plain: {plain.label}, {plain.cpu:.2f} s"
    )
    return [Figure(9, "lift of 60 ms", "ratio", cost / plain.cpu, 1 / 50, allowed=off <= WITHIN,
                   note=note)]  # fmt: skip
