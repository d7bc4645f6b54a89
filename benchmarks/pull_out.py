"""Figure 1: the verdict on a pull-out against the cheapest plain whole run as accurate as it."""

from __future__ import annotations

from benchmarks.figure import Figure
from benchmarks.ours import rehearsal_cost
from benchmarks.plain import Unfinished
from benchmarks.scenarios import CHISEL, long_pull_out, machine
from benchmarks.whole import Whole, reference, relative, whole_run
from simkit.circuit.analysis import Analysis

WITHIN = 0.02
"""Accuracy both sides have to reach in every judged figure [1]."""
CANDIDATES = (
    Analysis(step=100e-9, reltol=1e-3, trtol=3.0),
    Analysis(step=100e-9, reltol=3e-4, trtol=3.0),
    Analysis(step=50e-9, reltol=1e-4, trtol=3.0),
    Analysis(step=50e-9, reltol=1e-3, method="gear"),
    Analysis(step=50e-9, reltol=1e-4),
)
"""Plain whole runs tried; the cheapest that is accurate enough counts."""


def measure() -> list[Figure]:
    """The figure; about three minutes of CPU, most of it the reference. What follows from the
    waveforms by formula, as the ratings of parts, is not compared."""
    subject, scenario = machine(CHISEL), long_pull_out()
    found, cost, door = min(
        (rehearsal_cost(subject, scenario) for _ in range(3)), key=lambda t: t[1]
    )
    whole = reference(found.machine, scenario)
    ours = max(
        relative(float("inf") if r.value is None else r.value, whole.finest.values[r.quantity],
                 r.limit)
        for r in found.rows
        if r.quantity in whole.finest.values
    )  # fmt: skip
    plain: list[Whole] = []
    for analysis in CANDIDATES:
        try:
            run = whole_run(found.machine, scenario, analysis)
        except Unfinished:
            continue
        if run.worst_difference(whole.finest)[0] <= WITHIN:
            plain.append(run)
    best = min(plain, key=lambda run: run.cpu, default=None)
    note = (
        f"ours {cost:.2f} s CPU in {door.runs} runs (engine {door.cpu:.2f} s), worst figure "
        f"{100 * ours:.2f} % off; plain: "
        + (f"{best.label}, {best.cpu:.2f} s" if best else "none accurate enough")
        + f"; reference {'settled' if whole.settled else 'NOT settled'}"
    )
    allowed = ours <= WITHIN and whole.settled
    return [Figure(1, "pull-out verdict", "ratio", cost / best.cpu if best else None, 1 / 8,
                   allowed=allowed, note=note)]  # fmt: skip
