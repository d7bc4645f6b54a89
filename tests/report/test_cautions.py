"""The block of cautions on every page, whole; a page without it is found out."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from simkit.judge.cautions import CAUTIONS, CONTEXTS
from simkit.live.app import front_page
from simkit.report import html as pages_of
from simkit.report.view import ReportView
from tests.report.gallery import KINDS
from tests.unit.test_promises import promises

TEMPLATES = Path(pages_of.__file__).parent / "templates"
MARKUP = re.compile(r"<[^>]*>")


def lacking(page: str) -> list[str]:
    """Sentences of the block that a page does not show in its section of cautions."""
    section = re.search(r'<section[^>]*class="cautions"[^>]*>(.*?)</section>', page, re.S)
    shown = html.unescape(MARKUP.sub(" ", section[1])) if section else ""
    return [line for line in CAUTIONS if line not in shown]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_page_has_the_block_and_no_promise(kind: str, pages: Path) -> None:
    page = (pages / KINDS[kind]).read_text(encoding="utf-8")
    assert lacking(page) == []
    assert promises(html.unescape(MARKUP.sub(" ", page))) == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_figure_shows_the_drawing_library_s_own_code(kind: str, pages: Path) -> None:
    """Such as an axis labelled in mark-up where its text is not read as such."""
    page = (pages / KINDS[kind]).read_text(encoding="utf-8")
    assert "mathdefault" not in page


def test_the_local_page_has_it() -> None:
    assert lacking(front_page()) == []


def test_every_template_of_a_page_is_in_the_gallery() -> None:
    """A page nobody renders here could lack it unseen."""
    whole = {p.name.split(".")[0] for p in TEMPLATES.glob("*.html.j2")} - {"parts"}
    made = {"sheet": "bring-up", "all_faults": "all-faults", "gate_resistor": "gate-resistor"}
    assert {made.get(name, name) for name in whole} <= set(KINDS)


@pytest.mark.parametrize("name", sorted(p.name for p in TEMPLATES.glob("*.html.j2")))
def test_no_template_leaves_it_out(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    calls = text.count("{{ parts.cautions() }}")
    assert calls == (1 if "</main>" in text else 0)


@pytest.mark.slow
def test_a_page_without_the_block_is_found_out(
    view: ReportView, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The call taken out of the template, and a context taken out of the block."""
    import jinja2

    environment = pages_of._environment()
    text = (TEMPLATES / "report.html.j2").read_text(encoding="utf-8")
    bare = {"report.html.j2": text.replace("{{ parts.cautions() }}", "")}
    loaders = [jinja2.DictLoader(bare), jinja2.FileSystemLoader(TEMPLATES)]
    drawn = pages_of.draw(view)
    monkeypatch.setattr(environment, "loader", jinja2.ChoiceLoader(loaders))
    environment.cache.clear()
    assert lacking(pages_of.page(view, drawn)) == list(CAUTIONS)
    monkeypatch.undo()
    environment.cache.clear()
    monkeypatch.setitem(environment.globals, "caution_lines", CAUTIONS[:2])
    assert lacking(pages_of.page(view, drawn)) == list(CAUTIONS[2:])
    environment.cache.clear()


def test_the_block_names_what_hurts_and_who_decides() -> None:
    names = {c.name for c in CONTEXTS}
    assert names == {
        "Mains", "Stored charge", "Hot metal", "Coolant", "Fields", "Burst", "Scope earth"
    }  # fmt: skip
    text = " ".join(CAUTIONS).lower()
    for word in ("local codes", "licensed", "earth", "residual-current", "shield", "pacemakers",
                 "resistor", "measure", "differential probe"):  # fmt: skip
        assert word in text
