"""Figure 4: 200 cases on two cores against one."""

from __future__ import annotations

import time
from typing import Any

from benchmarks.figure import Figure
from benchmarks.scenarios import CHISEL, machine, steady
from simkit.circuit.netlist import machine_deck
from simkit.circuit.timeline import timeline
from simkit.rehearsal.job import WORKING
from simkit.rehearsal.scouting import scouted
from simkit.run.backend import Budget
from simkit.run.pool import collected
from simkit.run.process import NgspiceEngine
from simkit.run.workers import Workers

COUNT = 200


def work(margin: float) -> float:
    """One case: a few cycles of the circuit at one frequency; its last tank voltage [V]."""
    subject = machine(CHISEL)
    line = timeline(subject, steady("cold-steel-weak-field", margin=margin))
    line = line.stretch(0.0, 4.0 / line.frequency.first)
    deck = machine_deck(subject, line, scouted(subject, line).seed(line.begin), WORKING)
    run = NgspiceEngine().run(deck.text, deck.saved, deck.stop, Budget())
    return float(run.vectors["v(w)"][-1])


def wall(jobs: int) -> tuple[float, dict[str, Any]]:
    """Wall time of all cases on some workers [s], and the results."""
    cases = {f"{k}": -0.05 + 0.15 * k / COUNT for k in range(COUNT)}
    started = time.monotonic()
    with Workers(jobs) as workers:
        found = collected(cases, work, None, workers)
    return time.monotonic() - started, found


def measure() -> list[Figure]:
    """Efficiency: one worker's wall time over twice that of two; same results or no figure."""
    one, first = wall(1)
    two, second = wall(2)
    note = f"wall {one:.1f} s on 1, {two:.1f} s on 2; needs an idle machine with two cores"
    return [Figure(4, "200 cases, two cores", "ratio", one / (2.0 * two), 0.9, at_least=True,
                   allowed=first == second, note=note)]  # fmt: skip
