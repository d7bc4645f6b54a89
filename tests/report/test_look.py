"""Every kind of page as it looks: on a wide and a narrow screen, in light and dark, on paper.

With SIMKIT_SCREENS=folder the screens and prints stay there to be looked at.
"""

from __future__ import annotations

import base64
import importlib.util
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.report.browser import PROGRAM, Page
from tests.report.gallery import KINDS
from tests.slowly import first_quick, rest_studied

pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium here to look at the pages")
_PACKAGE = importlib.util.find_spec("axe_core_python")
AXE = Path(str(_PACKAGE.origin)).parent / "axe.min.js" if _PACKAGE else None
CONTRAST = (Path(__file__).parent / "contrast.js").read_text(encoding="utf-8")
SHOTS = os.environ.get("SIMKIT_SCREENS")
SCHEMES = ("light", "dark")
PAPER = (688, 1000)
"""A4 less margins of 14 mm [px of CSS]; those of the sheet are narrower."""
FIRST_SCREEN = {1280: 700, 390: 660}
"""What a browser's bars leave of a small laptop's and a phone's screen [px]; from memory."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Page]:
    with Page() as page:
        yield page


@pytest.fixture(params=first_quick(KINDS))
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def page(browser: Page, pages: Path, kind: str) -> Iterator[Page]:
    browser.events.clear()
    browser.open(pages / KINDS[kind])
    yield browser
    browser.call("Emulation.clearDeviceMetricsOverride")
    browser.call("Emulation.setEmulatedMedia", media="", features=[])


def sized(page: Page, width: int, height: int) -> None:
    page.call("Emulation.setDeviceMetricsOverride", width=width, height=height,
              deviceScaleFactor=1, mobile=False)  # fmt: skip


def coloured(page: Page, scheme: str) -> None:
    page.call("Emulation.setEmulatedMedia",
              features=[{"name": "prefers-color-scheme", "value": scheme}])  # fmt: skip


@pytest.mark.parametrize("width", FIRST_SCREEN)
@pytest.mark.parametrize("scheme", SCHEMES)
def test_nothing_sticks_out_sideways(page: Page, kind: str, width: int, scheme: str) -> None:
    sized(page, width, 900)
    coloured(page, scheme)
    assert page.ask("document.documentElement.scrollWidth") <= width
    back = page.ask("getComputedStyle(document.body).backgroundColor")
    assert (back == "rgb(25, 23, 20)") == (scheme == "dark")
    assert page.troubles() == []
    if SHOTS:
        shot = page.picture(width, scheme)
        (Path(SHOTS) / f"{kind}-{width}-{scheme}.png").write_bytes(shot)


@pytest.mark.parametrize("width", FIRST_SCREEN)
def test_what_it_comes_to_stands_on_the_first_screen(page: Page, kind: str, width: int) -> None:
    sized(page, width, 900)
    first = {"index": ".mark", "all-faults": ".mark", "fit": ".first", "bring-up": ".first",
             "piece": ".facts"}  # fmt: skip
    bottom = page.ask(
        f"document.querySelector('{first.get(kind, '.verdict h2')}').getBoundingClientRect().bottom"
    )
    assert 0 < bottom < FIRST_SCREEN[width]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_contrast_of_every_text(page: Page, kind: str, scheme: str) -> None:
    # WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1 (recalled from memory).
    coloured(page, scheme)
    assert page.ask(CONTRAST) == []


@pytest.mark.skipif(AXE is None, reason="axe-core-python, the accessibility checker, is missing")
@pytest.mark.parametrize("scheme", rest_studied(SCHEMES))
def test_accessibility_checker_finds_nothing(page: Page, kind: str, scheme: str) -> None:
    # axe-core, an engine of accessibility rules (WCAG 2), from its Python package.
    coloured(page, scheme)
    page.ask("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert AXE is not None
    page.ask(AXE.read_text(encoding="utf-8") + ";1")
    passed, violated = page.ask(
        "axe.run(document).then((r) => [r.passes.length, r.violations.map((v) => [v.id, v.impact, "
        "v.nodes[0].html.slice(0, 120)])])"
    )
    assert passed > 15
    assert violated == []


@pytest.mark.slow
@pytest.mark.skipif(AXE is None, reason="axe-core-python, the accessibility checker, is missing")
def test_accessibility_checker_sees_what_is_amiss(browser: Page, pages: Path) -> None:
    browser.open(pages / KINDS["compare"])
    browser.ask("document.documentElement.lang = ''")
    assert AXE is not None
    browser.ask(AXE.read_text(encoding="utf-8") + ";1")
    found = browser.ask("axe.run(document).then((r) => r.violations.map((v) => v.id))")
    assert "html-has-lang" in found


@pytest.mark.slow
def test_paper_cuts_no_figure_and_no_table(page: Page, kind: str) -> None:
    width, height = PAPER
    page.call("Emulation.setEmulatedMedia", media="print")
    sized(page, width, height)
    page.ask("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    cut = page.ask(
        "[...document.querySelectorAll('figure, table, figure svg')].filter((e) => {"
        " const b = e.getBoundingClientRect(); const fig = e.closest('figure');"
        f" return b.width > 0 && (b.right > {width} + 1 || (fig && (b.height > {height} ||"
        " getComputedStyle(fig).breakInside !== 'avoid' || fig.scrollWidth > fig.clientWidth))); })"
        ".map((e) => e.outerHTML.slice(0, 60))"
    )
    assert cut == []
    printed = base64.b64decode(page.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    assert printed.startswith(b"%PDF")
    if SHOTS:
        (Path(SHOTS) / f"{kind}.pdf").write_bytes(printed)


def leaves(page: Page) -> int:
    """Pages of the print."""
    printed = base64.b64decode(page.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    return len(re.findall(rb"/Type\s*/Page[^s]", printed))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["report", "report-within"])
def test_a_report_is_four_pages_and_its_values_an_appendix(
    browser: Page, pages: Path, name: str
) -> None:
    browser.open(pages / KINDS[name])
    bare = leaves(browser)
    assert bare <= 4
    browser.ask("document.querySelectorAll('details.appendix').forEach((d) => { d.open = true; })")
    assert leaves(browser) > bare


@pytest.mark.parametrize("name", ["report", "compare", "map"])
def test_first_table_sorts_by_a_click(browser: Page, pages: Path, name: str) -> None:
    browser.open(pages / KINDS[name])
    table = "document.querySelector('table.sortable')"
    values = f"[...{table}.tBodies[0].rows].map((r) => r.cells[1].dataset.v).filter(Boolean)"
    found = []
    for _ in range(2):
        browser.ask(f"{table}.querySelectorAll('thead button')[1].click()")
        found.append([float(text) for text in browser.ask(values)])
    assert len(set(found[0])) > 1
    assert found == [sorted(found[0], reverse=True), sorted(found[0])]
