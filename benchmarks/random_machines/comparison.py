"""simkit's figures against the references: what is inside its stated error, which verdicts hold."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from benchmarks.random_machines import store
from benchmarks.random_machines.files import write

WITHIN, OVER = "within_limits", "over_limit"
CLEAR = 2.0
"""Errors away from every limit at which "no verdict" says too little [1]."""


@dataclass(frozen=True)
class Compared:
    """One figure of one case; value, error, reference and limit in the figure's unit."""

    seed: int
    quantity: str
    value: float | None
    error: float | None
    reference: float
    own: float
    """Error of the reference itself."""
    limit: float
    status: str
    note: str

    @property
    def share(self) -> float | None:
        """Difference beyond the reference's own error over what was stated [1]; None for none."""
        if self.value is None or self.error is None:
            return None
        return max(abs(self.value - self.reference) - self.own, 0.0) / max(self.error, 1e-12)


@dataclass(frozen=True)
class Case:
    """One case with its reference."""

    seed: int
    verdict: str
    reason: str
    figures: tuple[Compared, ...]
    seconds: float
    whole: bool
    ended: bool = False
    """Whether the scenario itself says when the run ends, whatever still happens then."""

    @property
    def over(self) -> list[Compared]:
        """Figures whose reference is over its limit by more than its own error."""
        return [f for f in self.figures if f.reference - f.own > f.limit]

    @property
    def under(self) -> bool:
        """Whether every reference is within its limit by more than its own error."""
        return all(f.reference + f.own <= f.limit for f in self.figures)

    @property
    def wrong_within(self) -> bool:
        return self.verdict == WITHIN and bool(self.over)

    @property
    def wrong_over(self) -> bool:
        return self.verdict == OVER and self.under

    @property
    def clear(self) -> bool:
        """Whether every reference is more than twice the stated error away from its limit; where
        none was stated, twice the larger of 2 % of it and 1 % of the limit."""
        return all(
            abs(f.reference - f.limit)
            > CLEAR * (f.error if f.error is not None else stated_at_most(f)) + f.own
            for f in self.figures
        )


def stated_at_most(figure: Compared) -> float:
    """What an error may be to say something: 2 % of the figure or 1 % of its limit."""
    return max(0.02 * abs(figure.reference), 0.01 * abs(figure.limit))


def cases(seeds: Iterable[int], results: Sequence[dict[str, Any]] | None = None) -> list[Case]:
    """Every case of some seeds that has both a result and a fitting reference."""
    wanted = set(seeds)
    kept = {x["seed"]: x for x in store.lines(store.REFERENCES)}
    rows = store.lines(store.LATEST) if results is None else results
    found = []
    for mine in rows:
        seed, entry = mine["seed"], kept.get(mine["seed"])
        if seed not in wanted or entry is None or "failed" in entry:
            continue
        if store.fits(entry, mine):
            found.append(_case(mine, entry))
    return found


def _case(mine: dict[str, Any], entry: dict[str, Any]) -> Case:
    rows, limits = mine["rows"], entry["limits"]
    figures = tuple(
        Compared(
            mine["seed"], q, rows.get(q, {}).get("value"), rows.get(q, {}).get("error"), value,
            entry["errors"][q], limits[q], rows.get(q, {}).get("status", "not_evaluated"),
            rows.get(q, {}).get("note", ""),
        )
        for q, value in entry["values"].items()
    )  # fmt: skip
    return Case(mine["seed"], mine["verdict"], mine["reason"], figures, mine["seconds"],
                mine.get("whole", False), _ended(mine["seed"]))  # fmt: skip


def _ended(seed: int) -> bool:
    return "ends" in tomllib.loads(write(seed).read_text(encoding="utf-8"))


def unseen(seed: int) -> bool:
    """Whether nothing may be tuned on a seed: those from 300 on, with IGBTs from 1024 on."""
    return 300 <= seed < 1000 or seed >= 1024


def report(seeds: Sequence[int], results: Sequence[dict[str, Any]] | None = None) -> list[str]:
    """Lines of the table: each half and both."""
    every = cases(seeds, results)
    halves = [
        ("seeds that estimates were tuned on", [c for c in every if not unseen(c.seed)]),
        ("unseen", [c for c in every if unseen(c.seed)]),
    ]
    columns = [counts(part) for _, part in halves]
    lines = [
        "| | " + " | ".join(name for name, _ in halves) + " |",
        "| --- |" + " --- |" * len(halves),
    ]
    for key in columns[0]:
        lines.append(f"| {key} | " + " | ".join(c[key] for c in columns) + " |")
    return lines


def counts(found: Sequence[Case]) -> dict[str, str]:
    """What is counted over some cases, in words and numbers."""
    figures = [f for c in found for f in c.figures]
    given = [f for f in figures if f.share is not None]
    shares = [f.share for f in given if f.share is not None]
    inside = sum(s <= 1.0 for s in shares)
    silent = [c for c in found if c.verdict not in (WITHIN, OVER)]
    of_value = [f.error / abs(f.value) for f in given if f.value and f.error is not None]
    of_limit = [f.error / abs(f.limit) for f in given if f.error is not None]
    worse = [
        min(f.error / max(abs(f.value), 1e-12) / 0.02, f.error / abs(f.limit) / 0.01)
        for f in given if f.value is not None and f.error is not None
    ]  # fmt: skip
    return {
        "cases with a reference": str(len(found)),
        "figures given / in all": f"{len(given)} / {len(figures)}",
        "inside the stated error": f"{inside} ({_share(inside, len(given))})",
        "beyond 3 times the stated error": str(sum(s > 3.0 for s in shares)),
        "largest difference over the stated error": f"{max(shares, default=0.0):.2g}",
        'wrong "within the limits checked"': str(sum(c.wrong_within for c in found)),
        'wrong "over a limit"': str(sum(c.wrong_over for c in found)),
        '"no verdict"': f"{len(silent)} ({_share(len(silent), len(found))})",
        "of these, reference more than twice the error away from every limit": str(
            sum(c.clear for c in silent)
        ),
        "of those, runs that their scenario ends before all is over": str(
            sum(c.clear and c.ended for c in silent)
        ),
        "median stated error, of the value": f"{100 * median(of_value or [0.0]):.2f} %",
        "median stated error, of the limit": f"{100 * median(of_limit or [0.0]):.2f} %",
        "figures with an error above 2 % of the value and 1 % of the limit": (
            f"{sum(w > 1.0 for w in worse)} ({_share(sum(w > 1.0 for w in worse), len(given))})"
        ),
        "median reference error, of the value": (
            f"{100 * median([f.own / max(abs(f.reference), 1e-12) for f in given] or [0.0]):.2f} %"
        ),
    }


def _share(some: int, every: int) -> str:
    return f"{100.0 * some / every:.1f} %" if every else "none"


def detail(seeds: Sequence[int]) -> str:
    """Every figure that is outside, every verdict that is wrong or missing."""
    out = []
    for case in cases(seeds):
        if case.wrong_within or case.wrong_over:
            names = ", ".join(f"{f.quantity} {f.reference / f.limit:.2f}" for f in case.over)
            out.append(f"{case.seed}: WRONG {case.verdict}; references over: {names or 'none'}")
        elif case.verdict not in (WITHIN, OVER):
            worst = max(case.figures, key=lambda f: f.reference / f.limit)
            clear = " though clear" if case.clear else ""
            where = f"{worst.quantity} {worst.reference / worst.limit:.2f}"
            out.append(f"{case.seed}: {case.verdict}{clear}; largest {where}; {case.reason[:190]}")
        for f in case.figures:
            if f.share is not None and f.share > 1.0:
                out.append(
                    f"{f.seed}: {f.quantity} {f.value:.5g} +/- {f.error:.2g}, reference "
                    f"{f.reference:.5g} (+/- {f.own:.2g}), limit {f.limit:.4g}: {f.share:.2f} times"
                )
            elif f.value is None:
                out.append(f"{f.seed}: {f.quantity} not evaluated, reference {f.reference:.5g}, "
                           f"limit {f.limit:.4g}; {f.note}")  # fmt: skip
    return "\n".join(out)
