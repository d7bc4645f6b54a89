"""Writes docs/numerics.md: stated errors held against converged references, two engines compared.

`python -m benchmarks.numerics` runs everything (about a quarter of an hour of CPU) and writes the
document; `--only errors` or `--only engines` renews one table and keeps the other.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from benchmarks.scenarios import CHISEL, CRUCIBLE, machine, pull_out, shipped, steady
from benchmarks.whole import NOTHING, reference, relative
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.workbench import Workbench

ROOT = Path(__file__).resolve().parents[1]
DOCUMENT = ROOT / "docs" / "numerics.md"
STORE = ROOT / "benchmarks" / "numerics.json"


@dataclass(frozen=True)
class Subject:
    """One rehearsal of the table."""

    name: str
    kind: str
    machine: str
    make: Callable[[], Scenario]


def subjects() -> tuple[Subject, ...]:
    """Twelve rehearsals: inductive, resonant, capacitive and event runs of both machines."""
    cold, pot = "cold-steel-weak-field", "graphite-crucible"

    def still(load: str, margin: float) -> Callable[[], Scenario]:
        return lambda: steady(load, margin=margin)

    return (
        Subject("chisel, 8 % above", "inductive", CHISEL, still(cold, 0.08)),
        Subject("chisel, 3 % above", "inductive", CHISEL, still(cold, 0.03)),
        Subject("crucible, 4 % above", "inductive", CRUCIBLE, still(pot, 0.04)),
        Subject("chisel, at resonance", "resonant", CHISEL, still(cold, 0.003)),
        Subject("crucible, at resonance", "resonant", CRUCIBLE, still(pot, 0.003)),
        Subject("chisel, 3 % below", "capacitive", CHISEL, still(cold, -0.03)),
        Subject("chisel empty, 4 % below", "capacitive", CHISEL, still("empty", -0.04)),
        Subject("crucible, 3 % below", "capacitive", CRUCIBLE, still(pot, -0.03)),
        Subject("chisel, pulled out in 1 ms", "event", CHISEL,
                lambda: pull_out(0.3e-3, 1.0e-3, 0.5e-3)),
        Subject("chisel, wide margin", "event", CHISEL, lambda: shipped(CHISEL, "pull-out-wide")),
        Subject("chisel, dropped in", "event", CHISEL, lambda: shipped(CHISEL, "drop-in")),
        Subject("crucible, lifted out", "event", CRUCIBLE,
                lambda: shipped(CRUCIBLE, "lift-crucible")),
    )  # fmt: skip


@dataclass(frozen=True)
class Checked:
    """One judged figure: value, stated error, reference, by how much the reference moved [1]."""

    quantity: str
    unit: str
    value: float | None
    error: float | None
    limit: float
    reference: float
    moved: float

    @property
    def difference(self) -> float:
        """To the reference, in the figure's unit."""
        return float("inf") if self.value is None else abs(self.value - self.reference)

    @property
    def share(self) -> float:
        """Difference over what was stated: own error and the reference's last move [1].

        A figure of which a hundredth of its limit would be noise is held against that.
        """
        if self.value is None or self.error is None:
            return float("inf")
        floor = 1e-3 * NOTHING * self.limit
        return self.difference / (self.error + self.moved * abs(self.reference) + floor)


@dataclass(frozen=True)
class Table:
    """The checked figures of one subject; settled: whether its reference did."""

    name: str
    kind: str
    settled: bool
    figures: tuple[Checked, ...]

    @property
    def inside(self) -> bool:
        """Whether every figure lies within its own stated error."""
        return all(f.share <= 1.0 for f in self.figures)

    @property
    def worst(self) -> Checked:
        """The figure with the largest share."""
        return max(self.figures, key=lambda f: f.share)


def check(subject: Subject, bench: Workbench) -> Table:
    """Rehearse a subject and hold its figures against the whole run's, refined."""
    scenario = subject.make()
    found = bench.rehearse(machine(subject.machine), scenario)
    # The rehearsal's own machine: its channels are as warm as it found them.
    whole = reference(found.machine, scenario)
    figures = tuple(
        Checked(r.quantity, r.unit, r.value, r.error, r.limit, whole.finest.values[r.quantity],
                whole.moved[r.quantity])
        for r in found.rows
    )  # fmt: skip
    return Table(subject.name, subject.kind, whole.settled, figures)


def errors_section(tables: Sequence[Table]) -> list[str]:
    """The table of stated errors."""
    inside = sum(t.inside for t in tables)
    beyond = max(t.worst.share for t in tables)
    lines = [
        "## Stated errors against a converged reference",
        "",
        "Reference: plain `ngspice -b` through the whole scenario, step bound and tolerance refined",
        "until no judged figure moves by 0.2 %. A figure is inside when it differs by no more than",
        "its own stated error and the reference's last move.",
        "",
        f"**{inside} of {len(tables)} rehearsals have every judged figure inside; the largest",
        f"difference is {beyond:.2f} times what was stated.**",
        "",
        "| rehearsal | kind | reference settled | all inside | worst figure | differs by | stated |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for t in tables:
        w = t.worst
        lines.append(
            f"| {t.name} | {t.kind} | {_yes(t.settled)} | {_yes(t.inside)} | {w.quantity} "
            f"| {_percent(w.difference, w)} | {_percent(w.error, w)} |"
        )
    return [*lines, "", *_figures(tables)]


def _figures(tables: Sequence[Table]) -> list[str]:
    names = [f.quantity for f in tables[0].figures]
    lines = [
        "Difference over stated, figure by figure (inside up to 1):",
        "",
        "| rehearsal | " + " | ".join(n.replace("_", " ") for n in names) + " |",
        "| --- |" + " --- |" * len(names),
    ]
    for t in tables:
        shares = {f.quantity: f.share for f in t.figures}
        lines.append(f"| {t.name} | " + " | ".join(f"{shares[n]:.2f}" for n in names) + " |")
    return [*lines, ""]


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _percent(value: float | None, figure: Checked) -> str:
    if value is None:
        return "none"
    return f"{100.0 * relative(value, 0.0, 0.0) if False else 100.0 * value / _size(figure):.2f} %"


def _size(figure: Checked) -> float:
    return max(abs(figure.reference), NOTHING * figure.limit)
