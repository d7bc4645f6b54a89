"""Judged figures of a whole run, and the reference they are held against.

A whole run is refined until no judged figure moves by more than `SETTLED`; the last run is the
reference. Runs are plain `ngspice -b`, measured by the same measures as a rehearsal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.plain import Unfinished, plain_run
from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck
from simkit.circuit.timeline import timeline
from simkit.circuit.values import lost_cans
from simkit.measure.waveforms import Waves
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.aftermath import with_aftermath
from simkit.rehearsal.exported import scenario_deck
from simkit.rehearsal.findings import Findings, findings
from simkit.rehearsal.job import RUN_IN, whole_from
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.stretches import measure
from simkit.run.backend import EngineRun

SETTLED = 0.002
"""Largest move of a judged figure over the last refinement of a reference [1]."""
NOTHING = 0.01
"""Figures below this share of their limit count as nothing: differences are then taken of it."""


@dataclass(frozen=True)
class Whole:
    """Judged figures of a whole run: value and limit by quantity, and what the run cost."""

    label: str
    values: dict[str, float]
    limits: dict[str, float]
    cpu: float
    memory: int

    def worst_difference(self, other: Whole) -> tuple[float, str]:
        """Largest relative difference of any figure [1], and whose it is."""
        gaps = {q: relative(v, other.values[q], self.limits[q]) for q, v in self.values.items()}
        name = max(gaps, key=lambda q: gaps[q])
        return gaps[name], name


def relative(value: float, reference: float, limit: float) -> float:
    """Difference over the reference, or over a hundredth of the limit where that is larger [1]."""
    return abs(value - reference) / max(abs(reference), NOTHING * limit)


def whole_run(machine: Machine, scenario: Scenario, analysis: Analysis) -> Whole:
    """Plain run of a whole scenario; Unfinished when it stops early."""
    deck = scenario_deck(machine, scenario, analysis)
    with plain_run(deck) as run:
        values, limits = judged_values(machine, scenario, deck, run.vectors, analysis)
        return Whole(analysis.label + f", trtol {analysis.trtol:g}", values, limits, run.cost.cpu,
                     run.cost.memory)  # fmt: skip


def judged_values(
    machine: Machine,
    scenario: Scenario,
    deck: Deck,
    vectors: dict[str, np.ndarray],
    analysis: Analysis,
) -> tuple[dict[str, float], dict[str, float]]:
    """Value and limit of every judged quantity in a whole run's vectors."""
    line = timeline(machine, scenario)
    part = line.stretch(-RUN_IN / line.frequency.first, line.end)
    kept = {name: np.ascontiguousarray(vectors[name]) for name in ("time", *deck.saved)}
    run = EngineRun(kept, "plain", (), 0.0, 0.0)
    waves = Waves.from_vectors(machine, kept, deck.begin, lost_cans(machine, line))
    stretch = measure(waves, part, deck, run, analysis, whole_from(line))
    # The run stands for its own finer run: values as they are, errors none.
    left = Findings(machine, scenario, line, scouted(machine, line), (stretch,), (stretch,), {}, (),
                    True)  # fmt: skip
    found = with_aftermath(findings(left))
    return (
        {r.quantity: float("nan") if r.value is None else r.value for r in found.rows},
        {r.quantity: r.limit for r in found.rows},
    )


REFINEMENTS = (
    Analysis(step=5e-9, reltol=3e-5),
    Analysis(step=2.5e-9, reltol=1e-5),
    Analysis(step=1.25e-9, reltol=1e-5),
    Analysis(step=1.25e-9, reltol=1e-5, method="gear"),
    Analysis(step=0.6e-9, reltol=1e-5),
    Analysis(step=0.6e-9, reltol=1e-5, method="gear"),
)
"""Tried in order for a reference. The other method stands in where a trapezoidal run stops early;
a tighter tolerance than 1e-5 stopped oftener and left more noise in small figures, not less."""


@dataclass(frozen=True)
class Reference:
    """The finest run, and how far it moved from the one before [1], by quantity.

    `least`: below this share of its limit a figure counts as that share when asked if it settled.
    """

    finest: Whole
    moved: dict[str, float]
    least: float = NOTHING

    @property
    def settled(self) -> bool:
        """Whether every figure moved by less than SETTLED."""
        return max(self._unrest(q) for q in self.moved) < SETTLED

    def _unrest(self, quantity: str) -> float:
        size, limit = abs(self.finest.values[quantity]), self.finest.limits[quantity]
        scale = max(size, NOTHING * limit) / max(size, self.least * limit)
        return self.moved[quantity] * scale


def reference(
    machine: Machine,
    scenario: Scenario,
    refinements: Sequence[Analysis] = REFINEMENTS,
    least: float = NOTHING,
) -> Reference:
    """Refine a whole run until it settles or nothing finer is left; runs that stop are skipped."""
    last: Whole | None = None
    best: Reference | None = None
    for analysis in refinements:
        try:
            now = whole_run(machine, scenario, analysis)
        except Unfinished:
            continue
        if last is None:
            best = Reference(now, {q: float("inf") for q in now.values}, least)
        else:
            moved = {q: relative(v, last.values[q], now.limits[q]) for q, v in now.values.items()}
            best = Reference(now, moved, least)
            if best.settled:
                return best
        last = now
    if best is None:
        raise Unfinished("no refinement ran to its end")
    return best
