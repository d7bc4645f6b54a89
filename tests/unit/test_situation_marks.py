"""Each situation has a test that shows its effect and one that shows its absence.

What the tests hold is theirs; here only that there are such, and that the page which lists them is
current: `pytest FILE --renew` writes it anew.
"""

from __future__ import annotations

import pytest

from simkit.studies.situations import SITUATIONS
from tests.situation_marks import PAGE, Mark, marks, missing, page, unknown


def test_every_situation_is_shown_and_shown_absent() -> None:
    assert missing(marks()) == {"effect": [], "absence": []}


def test_marks_name_situations() -> None:
    assert unknown(marks()) == {}


def test_a_situation_without_test_and_a_slip_of_the_pen_are_seen() -> None:
    first, second = SITUATIONS[0].name, SITUATIONS[1].name
    found = [
        Mark("test_x.test_y", "effect", (first,)),
        Mark("test_x.test_z", "absence", (second,)),
        Mark("test_x.test_w", "effects", (first,)),
        Mark("test_x.test_v", "effect", ("soak-at-noon",)),
    ]
    got = missing(found)
    assert first not in got["effect"]
    assert first in got["absence"]
    assert second in got["effect"]
    assert unknown(found) == {"test_x.test_w": ["effects"], "test_x.test_v": ["soak-at-noon"]}


def test_the_page_is_current(request: pytest.FixtureRequest) -> None:
    made = page(marks())
    if request.config.getoption("--renew"):
        PAGE.write_text(made, encoding="utf-8")
    assert PAGE.read_text(encoding="utf-8") == made, "pytest with --renew writes it"
