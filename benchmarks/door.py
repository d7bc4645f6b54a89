"""Figures 3 and 6: the engine's door against plain ngspice, and the memory of a long run."""

from __future__ import annotations

import numpy as np

from benchmarks.cost import spent
from benchmarks.figure import Figure
from benchmarks.ours import Counted
from benchmarks.plain import plain_run
from benchmarks.scenarios import CHISEL, long_pull_out, machine
from simkit.rehearsal.exported import scenario_deck
from simkit.rehearsal.job import WORKING

PAIRS = 3


def measure() -> list[Figure]:
    """Figure 3: the median of paired ratios."""
    deck = scenario_deck(machine(CHISEL), long_pull_out(), WORKING)
    ratios, lines = [], []
    for _ in range(PAIRS):
        door = Counted()
        door.engine.version()
        with spent() as ours:
            door.run(deck)
        with plain_run(deck) as run, spent() as reading:
            table = [np.ascontiguousarray(run.vectors[n]) for n in ("time", *deck.saved)]
            plain = run.cost.cpu
        del table
        ratios.append((ours.cpu + door.cpu) / (plain + reading.cpu))
        lines.append(f"{ours.cpu + door.cpu:.2f}/{plain + reading.cpu:.2f}")
    return [Figure(3, "engine door", "ratio", float(np.median(ratios)), 1.10,
                   note="CPU s, ours/plain: " + ", ".join(lines))]  # fmt: skip
