"""The page of all situations on one machine: a table, worst first, and what each one expects."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from simkit.report.html import SCALE, rendered
from simkit.report.style import themed
from simkit.report.text import OUTCOME_ICONS, OUTCOME_WORDS

WORDS = OUTCOME_WORDS | {"not_here": "cannot happen here"}
ICONS = OUTCOME_ICONS | {"not_here": "–"}


COMMAND = "simkit run scenarios/NAME.toml"
"""How one situation is rehearsed by itself, from the report's folder."""


def write_table(
    folder: Path,
    result: Mapping[str, Any],
    titles: Mapping[str, str],
    figures: Mapping[str, str],
    command: str = COMMAND,
) -> None:
    """Write `index.html` and `figures/*.svg` into an existing folder.

    `titles`: words for each judged quantity; `figures`: SVG text by name.
    """
    (folder / "figures").mkdir()
    for name, svg in figures.items():
        (folder / "figures" / f"{name}.svg").write_text(svg, encoding="utf-8")
    (folder / "index.html").write_text(
        table_page(result, titles, figures, command), encoding="utf-8"
    )


def table_page(
    result: Mapping[str, Any],
    titles: Mapping[str, str],
    figures: Mapping[str, str],
    command: str = COMMAND,
) -> str:
    """The table and the maps as HTML text."""
    from markupsafe import Markup

    rows = result["situations"]
    return rendered(
        "all_faults.html.j2",
        "all_faults.js",
        machine=result["machine"],
        rows=[dict(row) | {"limit_words": _limit_words(row, titles)} for row in rows],
        families=list(dict.fromkeys(row["family"] for row in rows)),
        counts=counts(rows),
        command=command,
        row_words=WORDS,
        row_icons=ICONS,
        seconds=result["total_seconds"],
        top=SCALE,
        margin_words=margin_words,
        figures={name: Markup(themed(svg, name)) for name, svg in figures.items()},
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
