"""No page gives advice that nobody followed: text that is only known to help says that it was not
tried, wherever it stands. Nothing outside to compare with: it is a rule of this project."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from simkit.figures.table import figures

LABEL = re.compile(r"<(h[1-6]|dt)[^>]*>(.*?)</\1>", re.S)


def unlabelled(text: str, advice: str) -> list[str]:
    """What an advice stands under, for each place of a page where that does not say "not tried"."""
    found = []
    for place in re.finditer(re.escape(html.escape(advice)), text):
        heads = [m[2] for m in LABEL.finditer(text, 0, place.start())]
        if not heads or "not tried" not in heads[-1].lower():
            found.append(heads[-1] if heads else "")
    return found


@pytest.mark.slow
def test_text_advice_says_that_it_was_not_tried(pages: Path) -> None:
    shown = 0
    for page in sorted(pages.rglob("*.html")):
        text = page.read_text(encoding="utf-8")
        for name, figure in figures().items():
            advice = figure.words.change
            shown += html.escape(advice) in text
            assert unlabelled(text, advice) == [], f"{page.name}: {name}"
    assert shown > 3


def test_advice_under_another_heading_is_found() -> None:
    assert unlabelled("<h2>What to do</h2><p>More turns.</p>", "More turns.") == ["What to do"]
    assert unlabelled("<dt>Known to help, not tried</dt><p>More turns.</p>", "More turns.") == []
