"""Which tests show each situation's effect, and which its absence.

`python -m tests.situation_marks` writes docs/situations.md. Read from the marks that pytest sees,
`@pytest.mark.situation("effect" | "absence", *names)`.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from simkit.studies.situations import SITUATIONS, Situation

HERE = Path(__file__).parent
PAGE = HERE.parent / "docs" / "situations.md"
SHOWS = ("effect", "absence")

HEAD = """# What happens on the bench

Every situation that `simkit run --all-faults MACHINE` rehearses, what the trade expects of it
(common practice, no source; the run decides), and the tests that hold it: one against a figure
worked out by hand in the test, or several, and one in which the effect does not show. This page is
made by `python -m tests.situation_marks`; do not edit it. The tests lie in `tests/engine/` and
`tests/unit/`.
"""


@dataclass(frozen=True)
class Mark:
    """What one test says it shows."""

    test: str
    """Module and function, as `test_cooling_situations.test_...`."""
    shows: str
    names: tuple[str, ...]


@cache
def marks() -> tuple[Mark, ...]:
    """Every mark of every test; modules that have none are not imported."""
    files = sorted(p for p in HERE.rglob("test_*.py") if "mark.situation(" in p.read_text("utf-8"))
    return tuple(mark for path in files for mark in marks_of(path))


def marks_of(path: Path) -> Iterator[Mark]:
    """Marks of one module's tests."""
    dotted = ".".join(path.relative_to(HERE.parent).with_suffix("").parts)
    module = importlib.import_module(dotted)
    for name, found in vars(module).items():
        if name.startswith("test_"):
            for mark in getattr(found, "pytestmark", ()):
                if mark.name == "situation":
                    yield Mark(f"{path.stem}.{name}", *told(mark.args))


def told(arguments: Sequence[Any]) -> tuple[str, tuple[str, ...]]:
    """A mark's arguments: what it shows, and of which situations."""
    shows, *names = arguments
    return shows, tuple(names)


def tests_of(found: Sequence[Mark], name: str, shows: str) -> list[str]:
    """Tests that show something of a situation, in the order of the files."""
    return [m.test for m in found if m.shows == shows and name in m.names]


def missing(found: Sequence[Mark]) -> dict[str, list[str]]:
    """Situations that no test shows the effect of, or the absence."""
    return {
        shows: [s.name for s in SITUATIONS if not tests_of(found, s.name, shows)] for shows in SHOWS
    }


def page(found: Sequence[Mark]) -> str:
    """The page of documentation: a table for each family."""
    families: dict[str, list[Situation]] = {}
    for situation in SITUATIONS:
        families.setdefault(situation.family, []).append(situation)
    return HEAD + "".join(section(name, each, found) for name, each in families.items())


def section(family: str, situations: Sequence[Situation], found: Sequence[Mark]) -> str:
    """A family's table."""
    head = (
        f"\n## {family.capitalize()}\n\n"
        "| situation | what it is | expected | shown by hand figure | shown absent |\n"
        "| --- | --- | --- | --- | --- |\n"
    )
    return head + "".join(row(situation, found) for situation in situations)


def row(situation: Situation, found: Sequence[Mark]) -> str:
    """One line of the table."""
    shown = (sentences(tests_of(found, situation.name, shows)) for shows in SHOWS)
    cells = (f"`{situation.name}`", situation.title, situation.expects, *shown)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def sentences(tests: Sequence[str]) -> str:
    """Names of tests as what they say, each followed by its module."""
    return "; ".join(f"{said(test)} (`{test.split('.')[0]}`)" for test in tests) or "no test yet"


def said(test: str) -> str:
    """`test_x.test_standing_water_boils` as "standing water boils"."""
    return test.split(".")[1].removeprefix("test_").replace("_", " ")


def unknown(found: Sequence[Mark]) -> Mapping[str, Sequence[str]]:
    """By test, what its mark names that is no situation, or says that is neither of both."""
    known = {s.name for s in SITUATIONS}
    odd = {m.test: [n for n in m.names if n not in known] for m in found}
    odd |= {m.test: [m.shows] for m in found if m.shows not in SHOWS}
    return {test: names for test, names in odd.items() if names}


if __name__ == "__main__":
    PAGE.write_text(page(marks()), encoding="utf-8")
