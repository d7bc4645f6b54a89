"""The published table of faults is the one the tests carry."""

from tests.robust.faults import ROWS
from tests.robust.table import TARGET, document

FEWEST = 25
"""Faults the project promises to have under test."""


def test_the_table_is_current_and_long_enough() -> None:
    assert TARGET.read_text("utf-8") == document(), "run python -m tests.robust.table"
    assert len({row.test for row in ROWS}) == len(ROWS) >= FEWEST
