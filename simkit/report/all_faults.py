"""The page of all situations on one machine: a table, worst first, and what each one expects."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from simkit.report.html import SCALE, rendered

WORDS = {
    "over_limit": "over a limit",
    "within_limits": "within the limits checked",
    "no_verdict": "no verdict",
    "not_here": "cannot happen here",
}
ICONS = {"over_limit": "✗", "within_limits": "✓", "no_verdict": "?", "not_here": "–"}


def write_table(folder: Path, result: Mapping[str, Any], titles: Mapping[str, str]) -> None:
    """Write `index.html` into an existing folder; `titles`: words for each judged quantity."""
    (folder / "index.html").write_text(table_page(result, titles), encoding="utf-8")


def table_page(result: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    """The table as HTML text."""
    rows = result["situations"]
    return rendered(
        "all_faults.html.j2",
        "all_faults.js",
        machine=result["machine"],
        rows=[dict(row) | {"limit_words": _limit_words(row, titles)} for row in rows],
        families=list(dict.fromkeys(row["family"] for row in rows)),
        counts=counts(rows),
        row_words=WORDS,
        row_icons=ICONS,
        seconds=result["total_seconds"],
        top=SCALE,
        margin_words=margin_words,
    )


def margin_words(ratio: float) -> str:
    """What is left of a limit, or how many times it was reached."""
    return f"{1.0 - ratio:.0%} left" if ratio <= 1.0 else f"{ratio:.3g} times"


def _limit_words(row: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    quantity = row["quantity"]
    return f"{row['part']}: {titles.get(quantity, quantity)}" if quantity else ""


def counts(rows: Sequence[Mapping[str, Any]]) -> str:
    """How many situations came to what, in words."""
    found = {v: sum(row["verdict"] == v for row in rows) for v in WORDS}
    return ", ".join(f"{n} {WORDS[v]}" for v, n in found.items() if n)
