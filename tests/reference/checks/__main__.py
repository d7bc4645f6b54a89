"""`python -m tests.reference.checks [FILE]`: compute every check, write the table.

FILE defaults to docs/validation.md beside the tests. Exit code 1 when a check is out of
tolerance; the table is written all the same and marks it.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.reference.checks import Outcome, collect, run_check

_HEAD = """# Validation

Quantities computed by simkit beside figures published outside it. This file is made by
`python -m tests.reference.checks`; do not edit it. "Recalled from memory" means that the
figure was not read again in its source when the check was written.

"""


def row(outcome: Outcome) -> str:
    """One line of the table."""
    check = outcome.check
    unit = "" if check.absolute else " %"
    scale = 1.0 if check.absolute else 100.0
    cells = (
        check.id,
        check.quantity,
        check.inputs,
        f"{check.expected:.6g}",
        f"{outcome.computed:.6g}",
        f"{outcome.difference * scale:.2g}{unit}",
        f"{check.tolerance * scale:.2g}{unit}",
        "yes" if outcome.within else "**NO**",
        check.reason,
        check.source,
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def table(outcomes: list[Outcome]) -> str:
    """The whole page as Markdown."""
    within = sum(outcome.within for outcome in outcomes)
    head = (
        "| id | quantity | inputs | published | computed | difference | tolerance | within "
        "| reason for the tolerance | source |\n" + "| --- " * 10 + "|\n"
    )
    count = f"{len(outcomes)} checks, {within} within their tolerance.\n\n"
    return _HEAD + count + head + "\n".join(row(outcome) for outcome in outcomes) + "\n"


def main(arguments: list[str]) -> int:
    """Write the page; 0 when all checks are within tolerance, else 1."""
    default = Path(__file__).parents[3] / "docs" / "validation.md"
    target = Path(arguments[0]) if arguments else default
    outcomes = [run_check(check) for check in collect()]
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(table(outcomes), encoding="utf-8")
    failed = [outcome.check.id for outcome in outcomes if not outcome.within]
    print(f"{len(outcomes)} checks, {len(failed)} out of tolerance {' '.join(failed)}".rstrip())
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
