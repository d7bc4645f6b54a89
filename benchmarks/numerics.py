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
from typing import Any

from benchmarks.scenarios import CHISEL, CRUCIBLE, machine, pull_out, shipped, steady
from benchmarks.whole import NOTHING, reference
from simkit.errors import EngineError
from simkit.parameters.scenario import Scenario
from simkit.run.engines import engine
from simkit.studies.rehearsal.workbench import Workbench

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
        "Reference: plain `ngspice -b` through the whole scenario, step bound and tolerance",
        "refined until no judged figure moves by 0.2 %. A figure is inside when it differs by no",
        "more than its own stated error and the reference's last move.",
        "",
        f"**{inside} of {len(tables)} rehearsals have every judged figure inside; the largest",
        f"difference is {beyond:.2f} times what was stated.**",
        "",
        "| rehearsal | kind | reference settled | inside | worst figure | differs by | stated |",
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
    size = max(abs(figure.reference), NOTHING * figure.limit)
    return f"{100.0 * value / size:.2f} %"


@dataclass(frozen=True)
class Opinion:
    """One judged figure by both engines: values and stated errors."""

    quantity: str
    limit: float
    first: float | None
    second: float | None
    first_error: float | None
    second_error: float | None

    @property
    def share(self) -> float:
        """Difference over the larger of both errors' sum and 1 % [1]; infinity without both."""
        both = (self.first, self.second, self.first_error, self.second_error)
        known = [value for value in both if value is not None]
        if len(known) < len(both):
            return float("inf")
        first, second, first_error, second_error = known
        one_percent = 0.01 * max(abs(first), NOTHING * self.limit)
        return abs(first - second) / max(first_error + second_error, one_percent)


@dataclass(frozen=True)
class Compared:
    """The compared figures of one subject; failed: why the second engine gave none."""

    name: str
    kind: str
    figures: tuple[Opinion, ...]
    failed: str = ""


def compare(subject: Subject, first: Workbench, second: Workbench) -> Compared:
    """Rehearse a subject on both engines."""
    scenario, subject_machine = subject.make(), machine(subject.machine)
    one = first.rehearse(subject_machine, scenario)
    try:
        other = second.rehearse(subject_machine, scenario)
    except EngineError as error:
        return Compared(subject.name, subject.kind, (), error.reason)
    mate = {r.quantity: r for r in other.rows}
    return Compared(
        subject.name, subject.kind,
        tuple(
            Opinion(r.quantity, r.limit, r.value, mate[r.quantity].value, r.error,
                    mate[r.quantity].error)
            for r in one.rows
        ),
    )  # fmt: skip


def engines_section(tables: Sequence[Compared]) -> list[str]:
    """The table of the two engines."""
    agree = sum(bool(t.figures) and all(f.share <= 1.0 for f in t.figures) for t in tables)
    lines = [
        "## Two engines",
        "",
        "The same rehearsals on ngspice and on neospice, each sampling and refining by itself. A",
        "figure agrees within the sum of both stated errors or 1 %.",
        "",
        f"**In {agree} of {len(tables)} rehearsals every judged figure agrees.**",
        "",
        "| rehearsal | kind | all agree | worst figure | ngspice | neospice | over allowed |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for t in tables:
        if not t.figures:
            lines.append(f"| {t.name} | {t.kind} | no | {t.failed} | | | |")
            continue
        w = max(t.figures, key=lambda f: f.share)
        lines.append(
            f"| {t.name} | {t.kind} | {_yes(w.share <= 1.0)} | {w.quantity} | {_short(w.first)} "
            f"| {_short(w.second)} | {w.share:.2f} |"
        )
    return [*lines, ""]


def _short(value: float | None) -> str:
    return "none" if value is None else f"{value:.4g}"


def load() -> dict[str, list[Any]]:
    """What was measured before: raw figures by table."""
    if STORE.exists():
        return dict(json.loads(STORE.read_text(encoding="utf-8")))
    return {}


def document(stored: dict[str, list[Any]]) -> str:
    """The whole document from raw figures."""
    lines = [
        "# How far the numbers can be trusted",
        "",
        "Written by `python -m benchmarks.numerics`; do not edit by hand. Raw figures are in",
        "`benchmarks/numerics.json`.",
        "",
    ]
    errors = [
        Table(d["name"], d["kind"], d["settled"], tuple(Checked(**f) for f in d["figures"]))
        for d in stored.get("errors", [])
    ]
    engines = [
        Compared(d["name"], d["kind"], tuple(Opinion(**f) for f in d["figures"]), d["failed"])
        for d in stored.get("engines", [])
    ]
    lines += errors_section(errors) if errors else []
    lines += engines_section(engines) if engines else []
    if "map" in stored:
        lines += map_section(stored["map"])
    return "\n".join(lines).rstrip() + "\n"


def map_section(rows: Sequence[dict[str, Any]]) -> list[str]:
    """The fast map against circuit runs, as the fifth benchmark left it."""
    worst = {key: max(abs(r[key]) for r in rows) for key in ("tank_voltage", "supply_current")}
    lines = [
        "## The fast map against circuit runs",
        "",
        f"Worst of {len(rows)} random points: tank voltage {100 * worst['tank_voltage']:.1f} %,",
        f"supply current {100 * worst['supply_current']:.1f} %.",
        "",
        "| point | tank voltage | supply current | mode, fast | mode, circuit |",
        "| --- | --- | --- | --- | --- |",
    ]
    for r in rows:
        lines.append(
            f"| {r['point']} | {100 * r['tank_voltage']:+.2f} % "
            f"| {100 * r['supply_current']:+.2f} % | {r['fast_mode']} | {r['mode']} |"
        )
    return [*lines, ""]


def save(stored: dict[str, list[Any]]) -> None:
    """Raw figures and the document made of them."""
    STORE.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    DOCUMENT.write_text(document(stored), encoding="utf-8")


def measure(name: str, one: Callable[[Subject], Any], only: str) -> None:
    """Measure one table subject by subject, keeping what is done."""
    stored = load()
    done = [] if not only else [d for d in stored.get(name, []) if d["name"] != only]
    for subject in subjects():
        if only and subject.name != only:
            continue
        print(f"{name}: {subject.name}", file=sys.stderr)
        done.append(asdict(one(subject)))
        order = [s.name for s in subjects()]
        stored = load() | {name: sorted(done, key=lambda d: order.index(d["name"]))}
        save(stored)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.numerics", description=__doc__)
    parser.add_argument("--only", choices=("errors", "engines", "page"))
    parser.add_argument("--subject", default="", help="one rehearsal by its name")
    asked = parser.parse_args(arguments)
    if asked.only in (None, "errors"):
        bench = Workbench(engine=engine("ngspice"))
        measure("errors", lambda s: check(s, bench), asked.subject)
    if asked.only in (None, "engines"):
        first, second = Workbench(engine=engine("ngspice")), Workbench(engine=engine("neospice"))
        measure("engines", lambda s: compare(s, first, second), asked.subject)
    save(load())
    return 0


if __name__ == "__main__":
    sys.exit(main())
