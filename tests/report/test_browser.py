"""Report and index in a real browser, from disk, with the network off."""

import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from simkit.figures.table import titles
from simkit.report.html import write_report
from simkit.report.index import write_index
from simkit.report.view import ReportView
from simkit.result.document import Result
from simkit.studies.scenario.result import dumped
from tests.report.browser import PROGRAM, Page

pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium here to look at the page")


@pytest.fixture(scope="module")
def reports(
    run: tuple[Any, Result, Any], view: ReportView, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    folder = tmp_path_factory.mktemp("reports")
    for name, stamp in (("older", 1e9), ("newer", 2e9)):
        (folder / name).mkdir()
        write_report(folder / name, view)
        result = json.loads(dumped(run[1].as_json()))
        if name == "newer":
            for row in result["limits"]:
                row["ratio"] *= 0.5
        (folder / name / "result.json").write_text(json.dumps(result))
        os.utime(folder / name / "result.json", (stamp, stamp))
    write_index(folder, titles())
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Page]:
    with Page() as page:
        yield page


@pytest.fixture
def page(browser: Page, reports: Path) -> Page:
    browser.events.clear()
    browser.open(reports / "newer" / "index.html")
    browser.wait("document.documentElement.dataset.viewer === 'ready'")
    return browser


def span(page: Page) -> float:
    page.ask("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return float(page.ask("document.getElementById('viewer').dataset.span"))


def test_report_opens_from_disk_without_network_or_complaint(page: Page) -> None:
    assert page.ask("document.querySelector('.verdict h2').innerText").endswith("over a limit")
    assert page.troubles() == []


@pytest.mark.parametrize(
    "amiss",
    [
        "<script>console.error('out of order')</script>",
        "<script>throw new Error('out of order')</script>",
        "<img alt='' src='http://127.0.0.1:9/picture.png'>",
        "<meta http-equiv='Content-Security-Policy' content=\"script-src 'none'\">"
        "<script>1</script>",
    ],
)
def test_complaints_and_requests_are_seen(browser: Page, tmp_path: Path, amiss: str) -> None:
    file = tmp_path / "amiss.html"
    file.write_text(f"<!doctype html><title>amiss</title>{amiss}", encoding="utf-8")
    browser.events.clear()
    browser.open(file)
    assert browser.troubles() != []


def test_first_useful_view_comes_within_a_second_and_a_half(page: Page, reports: Path) -> None:
    # Verdict and plots painted, browser warm, 1.5 s after the page was asked for. Tries in which
    # another process had the processor say nothing of the page: the best of ten counts, and what
    # the browser's processes worked for it, which no neighbour can lengthen much.
    walls, works = [], []
    for _ in range(10):
        page.call("Page.navigate", url="about:blank")
        worked, started = page.processor_time(), time.perf_counter()
        page.open(reports / "newer" / "index.html")
        page.wait("document.documentElement.dataset.viewer === 'ready'")
        page.painted()
        walls.append(time.perf_counter() - started)
        works.append(page.processor_time() - worked)
        if min(walls) < 1.5 and min(works) < 1.5:
            break
    assert page.ask("document.querySelector('.verdict h2').getBoundingClientRect().top") < 900
    assert min(walls) < 1.5
    assert min(works) < 1.5


def test_keys_zoom_from_the_whole_event_to_nanoseconds(page: Page) -> None:
    page.ask("document.querySelector('#viewer canvas').focus()")
    page.key("Home")
    whole = span(page)
    assert whole > 1e-3
    page.key("2")
    near = span(page)
    assert near < 1e-5
    # A fine run may end soon after its worst transition: then its last part is the coarser record.
    assert "full rate" in page.ask("document.getElementById('viewer').dataset.kind")
    for _ in range(8):
        page.key("+")
    assert span(page) < 100e-9
    assert page.ask("document.getElementById('viewer').dataset.kind") == "full rate"
    before = float(page.ask("document.getElementById('viewer').dataset.start"))
    page.key("ArrowRight")
    span(page)
    assert float(page.ask("document.getElementById('viewer').dataset.start")) > before
    assert page.troubles() == []


def test_wheel_and_drag_move_what_is_under_the_pointer(page: Page) -> None:
    page.ask("document.querySelector('#viewer canvas').scrollIntoView({block: 'center'})")
    box = page.ask(
        "(({x, y, width, height}) => ({x, y, width, height}))"
        "(document.querySelector('#viewer canvas').getBoundingClientRect())"
    )
    x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.3 * box["height"]
    before = span(page)
    page.mouse("mouseMoved", x, y)
    page.mouse("mouseWheel", x, y, deltaX=0, deltaY=-200)
    page.wait(f"document.getElementById('viewer').dataset.span < {0.6 * before}")
    start = float(page.ask("document.getElementById('viewer').dataset.start"))
    page.mouse("mousePressed", x, y, button="left", clickCount=1)
    page.mouse("mouseMoved", x - 150, y, button="left", buttons=1)
    page.mouse("mouseReleased", x - 150, y, button="left")
    page.wait(f"document.getElementById('viewer').dataset.start > {start}")
    assert page.ask("document.querySelector('[data-trace=\"0\"]').textContent").endswith("V")
    assert page.troubles() == []


def test_spike_is_drawn_at_its_height_in_the_whole_event(page: Page, view: ReportView) -> None:
    # What the viewer holds for the whole event against the waveform itself.
    page.ask("document.querySelector('#viewer canvas').focus()")
    page.key("Home")
    span(page)
    item = page.ask(
        "(async () => { const d = JSON.parse(document.getElementById('wavedata').textContent);"
        " const [base, step] = d.overview.scales[0]; return base + 65535 * step; })()"
    )
    assert item == pytest.approx(float(view.whole.traces[0].values.max()), rel=1e-6)


def test_table_sorts_by_value_and_back(page: Page) -> None:
    shares = "[...document.querySelectorAll('.limits tbody tr')].map((r) => +r.cells[1].dataset.v)"
    button = "document.querySelectorAll('.limits thead button')[1].click()"
    page.ask(button)
    down = page.ask(shares)
    page.ask(button)
    up = page.ask(shares)
    assert down == sorted(down, reverse=True)
    assert up == sorted(up)
    assert page.ask("document.querySelectorAll('.limits thead th')[1].ariaSort") == "ascending"


def test_page_has_the_marks_that_readers_without_sight_need(page: Page) -> None:
    assert page.ask("document.documentElement.lang") == "en"
    assert page.ask("document.querySelectorAll('main, header, nav').length") == 3
    assert page.ask("document.querySelectorAll('h1').length") == 1
    nameless = (
        "[...document.querySelectorAll('button, input, canvas, [role=img], [role=region]')]"
        ".filter((e) => !(e.ariaLabel || e.getAttribute('aria-labelledby') || e.textContent?.trim()"
        " || e.labels?.length)).map((e) => e.outerHTML.slice(0, 80))"
    )
    assert page.ask(nameless) == []
    loose = "[...document.querySelectorAll('table')].filter((t) => !t.caption || [...t.querySelectorAll('th')].some((h) => !h.scope)).length"  # noqa: E501
    assert page.ask(loose) == 0
    ids = page.ask("[...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids))


def test_paper_shows_the_still_figure_and_what_was_opened(page: Page) -> None:
    page.call("Emulation.setEmulatedMedia", media="print")
    try:
        assert page.ask("getComputedStyle(document.getElementById('viewer')).display") == "none"
        assert page.ask("document.querySelector('.still').offsetHeight") > 150
        assert page.ask("document.querySelectorAll('figure').length") == 6
        # An appendix is on paper when the reader opened it, and otherwise not at all.
        folded = "[...document.querySelectorAll('details.appendix')]"
        height = "e.getBoundingClientRect().height"
        assert page.ask(f"{folded}.length") > 0
        assert page.ask(f"{folded}.filter((e) => !e.open).every((e) => {height} === 0)")
        page.ask(f"{folded}.forEach((e) => {{ e.open = true; }})")
        assert page.ask(f"{folded}.every((e) => {height} > 20)")
    finally:
        page.call("Emulation.setEmulatedMedia", media="")


def test_page_is_whole_with_scripts_off(browser: Page, reports: Path) -> None:
    browser.call("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.call("Page.navigate", url=(reports / "newer" / "index.html").as_uri())
        time.sleep(1.0)
        tree = browser.call("DOM.getDocument")["root"]["nodeId"]
        still = browser.call("DOM.querySelector", nodeId=tree, selector=".still svg")["nodeId"]
        box = browser.call("DOM.getBoxModel", nodeId=still)["model"]
        assert box["height"] > 300
        viewer = browser.call("DOM.querySelector", nodeId=tree, selector="#viewer")["nodeId"]
        with pytest.raises(RuntimeError, match="box model"):
            browser.call("DOM.getBoxModel", nodeId=viewer)
    finally:
        browser.call("Emulation.setScriptExecutionDisabled", value=False)


def test_index_lists_newest_first_and_compares_two(browser: Page, reports: Path) -> None:
    browser.events.clear()
    browser.open(reports / "index.html")
    names = browser.ask(
        "[...document.querySelectorAll('.index tbody th a')].map((a) => a.innerText)"
    )
    assert names == ["newer", "older"]
    browser.ask("document.querySelectorAll('td.pick input').forEach((b) => b.click())")
    assert browser.ask("document.getElementById('comparison').hidden") is False
    first = browser.ask(
        "[...document.querySelector('#comparison tbody tr').cells].map((c) => c.innerText)"
    )
    # The older one was made twice as bad: its share comes second, the change is up and certain.
    shares = [float(text.split(" ")[0]) for text in first[1:3]]
    assert shares[1] == pytest.approx(2.0 * shares[0], rel=0.01)
    assert first[3].startswith("+")
    assert browser.ask("document.querySelectorAll('#comparison strong').length") > 0
    assert browser.troubles() == []
