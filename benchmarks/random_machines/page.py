"""The chapter of docs/numerics.md on random machines, from what is recorded."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import Any

from benchmarks.random_machines import store
from benchmarks.random_machines.comparison import cases, report

EVERY = range(350)
"""Seeds of the survey."""
IGBTS = range(1000, 1044)
"""Seeds of the machines with IGBTs."""
HOW = """
Machines and scenarios drawn at random by seed (`benchmarks/random_machines/`): every topology, feed
and gate drive, snubbers, class parts and written values, 21 to 295 kHz, loaded Q 4 to 120, 30 to
400 V, every kind of event but `start` and `restart`, times and tails at random.
Reference: the same circuit in plain
`ngspice -b` at 10 ns and reltol 2e-5, settled for three times the tank's memory longer, measured by
code that shares nothing with simkit's measures. A figure is inside when it differs from its
reference by no more than its own stated error and the reference's own (a third of what it moved
from 20 ns and 1e-4, what its source still pumps and its core's offset). What differed on seeds
below 300 was looked into, there and in the reference's own measures; those from 300 on are only
reported. Seeds 250 to 299 were unseen until then: 97.1 % of their figures were inside, 9 of 647
beyond three times their error.
"""

IGBT = """
Drawn in the same way with the five IGBT classes in half and full bridges; collector currents with
the bipolar part. Seeds from 1024 on are only reported.
"""


def record() -> None:
    """Put the latest results beside the references and write docs/numerics.md anew; what was
    recorded and not run again since stays."""
    from benchmarks.numerics import load, save

    before = {x["seed"]: x for x in store.lines(store.RESULTS) if x["seed"] >= 0}
    latest = {x["seed"]: _short(x) for x in store.lines(store.LATEST)}
    rows = list((before | latest).values())
    done = {c.seed for c in cases((*EVERY, *IGBTS), rows)}
    store.RESULTS.unlink(missing_ok=True)
    store.put(store.RESULTS, {"seed": -1, "date": date.today().isoformat()})
    for entry in rows:
        if entry["seed"] in done:
            store.put(store.RESULTS, entry)
    save(load())


def _short(entry: dict[str, Any]) -> dict[str, Any]:
    """A result as it is recorded: what is compared, five digits."""

    def cut(value: Any) -> Any:
        return float(f"{value:.5g}") if isinstance(value, float) else value

    rows = {q: {k: cut(row[k]) for k in ("value", "error", "status")}
            for q, row in entry["rows"].items()}  # fmt: skip
    kept = {k: entry.get(k) for k in ("seed", "digest", "commit", "verdict", "seconds", "whole",
                                     "switch_at_c", "end")}  # fmt: skip
    return {**kept, "reason": entry["reason"][:120], "rows": rows}


def chapter() -> list[str]:
    """Lines of the chapter; empty where nothing is recorded."""
    rows = store.lines(store.RESULTS)
    head = next((x for x in rows if x["seed"] == -1), None)
    if head is None:
        return []
    results = [x for x in rows if x["seed"] >= 0]
    lines = ["## Random machines and scenarios", *HOW.rstrip().splitlines(), ""]
    lines += _part(EVERY, results, head["date"])
    if cases(IGBTS, results):
        lines += ["### Machines with IGBTs", *IGBT.rstrip().splitlines(), ""]
        lines += _part(IGBTS, results, head["date"])
    return lines


def _part(seeds: range, results: list[dict[str, Any]], day: str) -> list[str]:
    """How many there were, the table, and what was wrong."""
    found = cases(seeds, results)
    failed = [x for x in store.lines(store.REFERENCES) if "failed" in x and x["seed"] in seeds]
    made = Counter(x.get("commit") or "an earlier state" for x in results if x["seed"] in seeds)
    by = ", ".join(f"{name} ({count})" for name, count in made.most_common())
    lines = [f"Recorded on {day}: {len(found)} of {len(seeds)} seeds, rehearsed by"]
    lines += [f"the code of {by}. The plain program gave no reference for {len(failed)}."]
    lines += ["", *report(seeds, results), ""]
    wrong = [c for c in found if c.wrong_within or c.wrong_over]
    for case in wrong:
        names = ", ".join(f"{f.quantity} {f.reference / f.limit:.2f}" for f in case.over)
        lines.append(f"Wrong verdict, seed {case.seed}: {case.verdict}; over by reference: "
                     f"{names or 'none'}.")  # fmt: skip
    far = [f for c in found for f in c.figures if (f.share or 0.0) > 3.0]
    if far:
        lines += ["| seed | beyond 3 times its error | value | stated | reference |",
                  "| --- | --- | --- | --- | --- |"]  # fmt: skip
        lines += [f"| {f.seed} | {f.quantity} | {f.value:.4g} | {f.error:.2g} "
                  f"| {f.reference:.4g} |" for f in far]  # fmt: skip
    return [*lines, ""]
