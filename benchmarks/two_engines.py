"""The same rehearsals on two engines, figure by figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from benchmarks.stated import yes
from benchmarks.subjects import Subject
from benchmarks.whole import NOTHING
from simkit.errors import EngineError
from simkit.rehearsal.rehearser import Rehearser


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


def compare(subject: Subject, first: Rehearser, second: Rehearser) -> Compared:
    """Rehearse a subject on both engines."""
    scenario, subject_machine = subject.make(), subject.built()
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
            lines.append(f"| {t.name} | {t.kind} | no second opinion | {t.failed} | | | |")
            continue
        w = max(t.figures, key=lambda f: f.share)
        lines.append(
            f"| {t.name} | {t.kind} | {yes(w.share <= 1.0)} | {w.quantity} | {_short(w.first)} "
            f"| {_short(w.second)} | {f'{w.share:.2f}' if isfinite(w.share) else ''} |"
        )
    return [*lines, ""]


def _short(value: float | None) -> str:
    return "no verdict" if value is None else f"{value:.4g}"
