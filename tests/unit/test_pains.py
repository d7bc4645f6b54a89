"""The table of what people struggle with: every test it names exists; and four rows' own tests.

Held against: the tests of this tree as they stand, and lines that releases of the engine printed.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from simkit.run.messages import classify, first_failure

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "pains.md").read_text(encoding="utf-8")
ROWS = [line.strip("|").split("|") for line in PAGE.splitlines() if re.match(r"\| \d+ \|", line)]
NAMED = re.compile(r"`([a-z_/]+\.py)::(test_[a-z0-9_]+)`")
DECKS = sorted((ROOT / "tests" / "decks" / "golden").glob("*.cir"))


def missing(text: str) -> list[str]:
    """Tests a text names that are not there."""
    return [
        f"{file}::{name}"
        for file, name in NAMED.findall(text)
        if not (ROOT / "tests" / file).is_file() or name not in functions(ROOT / "tests" / file)
    ]


def functions(path: Path) -> set[str]:
    """Names of a module's functions."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_every_row_names_tests_and_all_of_them_exist() -> None:
    assert [int(row[0]) for row in ROWS] == list(range(1, 16))
    for row in ROWS:
        assert len(row) == 5, row[1]
        assert NAMED.search(row[3]), f"nothing shows that this is answered: {row[1]}"
    assert missing(PAGE) == []


def test_a_test_that_is_not_there_is_seen() -> None:
    assert missing("`unit/test_pains.py::test_of_nothing`") != []
    assert missing("`unit/test_nothing.py::test_it`") != []


NUMBER = re.compile(r"(?<![\w.])\.?\d[\w.]*(?:(?<=[eE])[-+]\d+\w*)?")


def lettered(line: str) -> list[str]:
    """Numbers with a letter behind them. Some releases read a trailing A as 1e-18."""
    return [text for text in NUMBER.findall(line) if not re.fullmatch(r"[\d.]+(e[-+]?\d+)?", text)]


@pytest.mark.parametrize("deck", DECKS, ids=lambda path: path.stem)
def test_no_letter_follows_a_number_in_a_deck(deck: Path) -> None:
    code = [line for line in deck.read_text(encoding="utf-8").splitlines()[1:]
            if not line.startswith("*")]  # fmt: skip
    assert [text for line in code for text in lettered(line)] == []


@pytest.mark.parametrize(
    "line", ["vsup sup 0 2A", "c1 a b 4.7uF", "r1 a b 10k", "l1 a b 1e-6H", ".tran 5ns 1e-3"]
)
def test_a_letter_behind_a_number_is_seen(line: str) -> None:
    assert lettered(line)


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        # As releases 39 to 45 print them; some put notes on the error stream.
        ("stderr Using SPARSE 1.3 as Direct Linear Solver", "note"),
        ("stderr Note: Starting dynamic gmin stepping", "note"),
        ("stderr Note: can't find the initialization file spinit.", "note"),
        ("stdout Note: No compatibility mode selected!", "note"),
        ("stderr doAnalyses: TRAN:  Timestep too small; time = 1e-06, timestep = 1.25e-20: "
         "trouble with node \"x\"", "failure"),
        ("stderr Error on line 3 or its substitute:", "failure"),
        ("stdout could not find a valid modelname", "failure"),
        ("stderr Warning: singular matrix:  check nodes a and b", "failure"),
        ("stderr Warning: vsup: no DC value, transient time 0 value used", "warning"),
    ],
)  # fmt: skip
def test_lines_of_several_releases_are_told_apart(line: str, kind: str) -> None:
    assert classify(line) == kind
    assert (first_failure((line,)) is not None) == (kind == "failure")


def test_one_module_alone_imports_the_wrapper() -> None:
    importing = []
    for path in sorted((ROOT / "simkit").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if any(name.partition(".")[0] == "PySpice" for name in names):
                importing.append(path.relative_to(ROOT).as_posix())
    assert set(importing) == {"simkit/run/ngspice.py"}
