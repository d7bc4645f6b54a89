"""Every formula says where it comes from, in which units, and where it holds.

Read from the syntax tree, so that a new function without them is refused the day it is written.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

PARTS = Path(__file__).resolve().parents[2] / "simkit" / "parts"
TOOLS = {"inputs.py", "ranged.py", "build.py", "loads.py", "switches.py"}
"""They hold no formula: refusals of impossible arguments, the figure with its notes, and what puts
the formulae of the others together for a machine file."""

UNIT = re.compile(r"\[[^\]]+\]")
SOURCE = re.compile(r"\b[Ss]ources?\b")
RANGE = re.compile(r"\b[Rr]anges?\b|\b[Ee]xact\b|\b[Vv]alid\b")
NUMBERS = re.compile(r"Range: -?\d[\d.]* to -?\d[\d.]*\b(?! \w+, noted where)")
"""A range given in figures: leaving it must show."""
SHOWS = re.compile(r"out_of_range|raise ValueError|outside|_liquid\(")


def functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Public functions of the parts, by a readable name."""
    for path in sorted(PARTS.glob("*.py")):
        if path.name in TOOLS:
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{path.stem}.{node.name}", node


FOUND = dict(functions())


def faults(node: ast.FunctionDef) -> list[str]:
    """What the docstring of a part's function lacks."""
    # Arguments may be called `source` too; they stand in backticks.
    text = re.sub("`[^`]*`", "", " ".join((ast.get_docstring(node) or "").split()))
    wanted = {
        "a unit in brackets": UNIT,
        "its source": SOURCE,
        "its range": RANGE,
    }
    missing = [name for name, pattern in wanted.items() if not pattern.search(text)]
    body = ast.unparse(node).replace(ast.unparse(node.body[0]), "")
    if NUMBERS.search(text) and not SHOWS.search(body):
        missing.append("a note when the range in figures is left")
    return missing


@pytest.mark.parametrize("name", FOUND)
def test_a_part_says_unit_source_and_range(name: str) -> None:
    assert faults(FOUND[name]) == []


def test_a_bare_formula_is_refused() -> None:
    bare = ast.parse('def f(x: float) -> float:\n    """Twice x."""\n    return 2 * x').body[0]
    assert isinstance(bare, ast.FunctionDef)
    assert faults(bare) == ["a unit in brackets", "its source", "its range"]


def test_a_range_in_figures_without_a_note_is_refused() -> None:
    text = 'def f(x: float) -> float:\n    """[m] Source: a. Range: 1 to 2."""\n    return 2 * x'
    silent = ast.parse(text).body[0]
    assert isinstance(silent, ast.FunctionDef)
    assert faults(silent) == ["a note when the range in figures is left"]
