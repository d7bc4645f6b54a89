"""Stated errors held against converged references: what is checked and its table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite

from benchmarks.references import kept_reference
from benchmarks.subjects import Subject
from benchmarks.whole import NOTHING
from simkit.rehearsal.rehearser import Rehearser


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
    note: str = ""
    """Why the rehearsal gives no verdict on it."""

    @property
    def refused(self) -> bool:
        """Whether the rehearsal itself says "no verdict": no number, so none outside its error."""
        return self.value is None

    @property
    def difference(self) -> float:
        """To the reference, in the figure's unit."""
        return inf if self.value is None else abs(self.value - self.reference)

    @property
    def share(self) -> float:
        """Difference over what was stated: own error and the reference's last move [1].

        A figure of which a hundredth of its limit would be noise is held against that. inf where
        there is no error or no reference that was ever refined.
        """
        if self.error is None or not isfinite(self.difference) or not isfinite(self.moved):
            return inf
        floor = 1e-3 * NOTHING * self.limit
        size = max(abs(self.reference), NOTHING * self.limit)
        return self.difference / (self.error + self.moved * size + floor)


@dataclass(frozen=True)
class Table:
    """The checked figures of one subject; settled: whether its reference did."""

    name: str
    kind: str
    settled: bool
    figures: tuple[Checked, ...]

    @property
    def given(self) -> tuple[Checked, ...]:
        """Figures that the rehearsal stands for."""
        return tuple(f for f in self.figures if not f.refused)

    @property
    def inside(self) -> bool:
        """Whether there are figures given and every one lies within its own stated error."""
        return bool(self.given) and all(f.share <= 1.0 for f in self.given)

    @property
    def worst(self) -> Checked | None:
        """The given figure with the largest share; None when all are refused."""
        return max(self.given, key=lambda f: f.share, default=None)


def check(subject: Subject, bench: Rehearser) -> Table:
    """Rehearse a subject and hold its figures against the whole run's, refined."""
    scenario = subject.make()
    found = bench.rehearse(subject.built(), scenario)
    # The rehearsal's own machine: its channels are as warm as it found them.
    whole = kept_reference(subject.name, found.machine, scenario)
    figures = tuple(
        Checked(r.quantity, r.unit, r.value, r.error, r.limit, whole.values[r.quantity],
                whole.moved[r.quantity], r.note)
        for r in found.rows
    )  # fmt: skip
    return Table(subject.name, subject.kind, whole.settled, figures)


TOLD = {
    "Stated errors against a converged reference": (
        "Reference: plain `ngspice -b` through the whole scenario, step bound and tolerance",
        "refined until no judged figure moves by 0.2 %, one below a fifth of its limit by 0.2 % of",
        "that fifth, the size it is judged by; kept in `benchmarks/references.json` for as long as",
        "the deck is the same. A figure is inside when it differs by no more than",
        "its own stated error and the reference's last move. The estimates were made with these",
        "in view.",
    ),
    "Held out": ("The same for six rehearsals that no constant of the estimates was chosen with.",),
}


def errors_section(title: str, tables: Sequence[Table]) -> list[str]:
    """One table of stated errors."""
    inside = sum(t.inside for t in tables)
    refused = sum(len(t.figures) - len(t.given) for t in tables)
    beyond = max((w.share for t in tables if (w := t.worst)), default=inf)
    lines = [
        f"## {title}",
        "",
        *TOLD[title],
        "",
        f"**{inside} of {len(tables)} rehearsals have every given figure inside; the largest",
        f"difference is {beyond:.2f} times what was stated. Figures that the rehearsal itself",
        f'leaves at "no verdict": {refused}.**',
        "",
        "| rehearsal | kind | reference settled | inside | worst figure | differs by | stated |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for t in tables:
        w = t.worst
        told = "all no verdict | | " if w is None else (
            f"{w.quantity} | {_percent(w.difference, w)} | {_percent(w.error, w)} ")  # fmt: skip
        lines.append(f"| {t.name} | {t.kind} | {yes(t.settled)} | {yes(t.inside)} | {told}|")
    return [*lines, "", *_figures(tables)]


def _figures(tables: Sequence[Table]) -> list[str]:
    names = list(dict.fromkeys(f.quantity for t in tables for f in t.figures))
    lines = [
        "Difference over stated, figure by figure (inside up to 1):",
        "",
        "| rehearsal | " + " | ".join(n.replace("_", " ") for n in names) + " |",
        "| --- |" + " --- |" * len(names),
    ]
    for t in tables:
        cells = {f.quantity: "no verdict" if f.refused else f"{f.share:.2f}" for f in t.figures}
        lines.append(f"| {t.name} | " + " | ".join(cells.get(n, "-") for n in names) + " |")
    reasons = [f"- {t.name}, {f.quantity}: no verdict: {f.note or 'no value was had'}"
               for t in tables for f in t.figures if f.refused]  # fmt: skip
    return [*lines, "", *([*reasons, ""] if reasons else [])]


def yes(value: bool) -> str:
    """In words."""
    return "yes" if value else "no"


def _percent(value: float | None, figure: Checked) -> str:
    if value is None:
        return "none"
    size = max(abs(figure.reference), NOTHING * figure.limit)
    return f"{100.0 * value / size:.2f} %"
