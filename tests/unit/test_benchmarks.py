"""The arithmetic of the benchmarks, by hand: what counts as inside, settled, met, and what it cost.

A benchmark that counts a missing figure as right would make every table look well.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict, replace
from math import inf, nan
from pathlib import Path
from typing import Any

import pytest

from benchmarks import __main__ as bench
from benchmarks import advice_tried, fuzz, numerics, tolerance_agreement
from benchmarks.cost import command_cost
from benchmarks.figure import Figure
from benchmarks.stated import Checked, Table, errors_section
from benchmarks.two_engines import Opinion
from benchmarks.whole import Reference, Whole, relative

FIGURE = Checked("x", "V", 101.0, 2.0, 200.0, 100.0, 0.0)
"""One volt from its reference, two stated."""


def test_a_difference_is_taken_of_the_reference_or_a_hundredth_of_the_limit() -> None:
    assert relative(102.0, 100.0, 500.0) == pytest.approx(0.02)
    # 0.3 of a limit of 200: a hundredth of it is 2, and 0.2/2 = 0.1.
    assert relative(0.5, 0.3, 200.0) == pytest.approx(0.1)


def test_the_worst_difference_names_its_figure() -> None:
    limits = {"a": 10.0, "b": 10.0}
    one = Whole("", {"a": 1.01, "b": 2.1}, limits, 0.0, 0)
    other = Whole("", {"a": 1.0, "b": 2.0}, limits, 0.0, 0)
    assert one.worst_difference(other) == (pytest.approx(0.05), "b")


def test_a_share_is_the_difference_over_all_that_was_stated() -> None:
    # Floor: a thousandth of a hundredth of 200 V = 2 mV.
    assert FIGURE.share == pytest.approx(1.0 / 2.002)
    # The reference moved by 1 %: 1 V more is allowed.
    assert replace(FIGURE, moved=0.01).share == pytest.approx(1.0 / 3.002)


@pytest.mark.parametrize(
    "figure",
    [
        replace(FIGURE, value=110.0),
        replace(FIGURE, error=None),
        replace(FIGURE, reference=nan),
        replace(FIGURE, moved=inf),
    ],
    ids=["off by ten volts", "no error", "no reference", "a reference never refined"],
)
def test_what_is_wrong_or_unknown_is_not_inside(figure: Checked) -> None:
    assert not Table("t", "event", True, (FIGURE, figure)).inside


def test_a_refused_figure_is_counted_apart_and_shown() -> None:
    refused = replace(FIGURE, quantity="y", value=None, error=None, note="too uncertain")
    table = Table("t", "event", True, (FIGURE, refused))
    assert table.inside
    assert table.worst == FIGURE
    text = "\n".join(errors_section("Held out", [table]))
    assert 'at "no verdict": 1.' in text
    assert "t, y: no verdict: too uncertain" in text
    # All refused is not all inside.
    assert not Table("t", "event", True, (refused,)).inside


def test_a_reference_settles_by_the_size_a_figure_is_judged_by() -> None:
    # 0.1 of a limit of 10 moved by 1 % of itself: 1e-3, of a fifth of the limit 0.05 %.
    finest = Whole("", {"a": 0.1}, {"a": 10.0}, 0.0, 0)
    assert not Reference(finest, {"a": 0.01}).settled
    assert Reference(finest, {"a": 0.01}, least=0.2).settled
    assert not Reference(finest, {"a": inf}, least=0.2).settled


def test_two_engines_agree_within_both_errors_or_a_per_cent() -> None:
    assert Opinion("x", 1000.0, 100.0, 100.9, 0.1, 0.1).share == pytest.approx(0.9)
    assert Opinion("x", 1000.0, 100.0, 104.0, 1.5, 0.5).share == pytest.approx(2.0)
    assert Opinion("x", 1000.0, 100.0, None, 1.0, None).share == inf


def test_what_could_not_be_had_meets_no_goal() -> None:
    figure = Figure(1, "f", "ratio", 0.1, 0.125)
    assert figure.met
    assert not replace(figure, value=0.2).met
    assert not replace(figure, value=None).met
    assert not replace(figure, allowed=False).met
    assert not replace(figure, at_least=True).met


BURN = "import time\nwhile time.process_time() < 0.4: pass"
ORPHAN = f"""
import os, sys
if os.fork() == 0:
    os.execv(sys.executable, [sys.executable, "-c", {BURN!r}])
os._exit(3)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="needs a sub-reaper")
def test_an_orphan_of_a_command_is_counted(tmp_path: Path) -> None:
    """The command ends at once; its child goes on to use 0.4 s, set by its own clock."""
    cost = command_cost([sys.executable, "-c", ORPHAN], tmp_path, dict(os.environ))
    assert cost.status == 3
    # Its own clock and the kernel's count of it differ by some scheduler ticks of 10 ms.
    assert 0.35 < cost.cpu < 2.0


def test_the_fuzzing_page_says_what_it_joins() -> None:
    row = fuzz.Row("part", 10, 1, 1, 0, 1.0, "2026-01-01 10:00:00", "commit abc1234")
    assert fuzz.joined([row, row]) == (
        "All rows are of one run, begun 2026-01-01 10:00:00; code fuzzed: commit abc1234."
    )
    other = replace(row, run="2026-01-02 10:00:00", code="digest 123")
    said = fuzz.joined([row, other])
    assert "2 runs, begun 2026-01-01 10:00:00, 2026-01-02 10:00:00" in said
    assert said.endswith("code fuzzed: commit abc1234, digest 123.")


@pytest.mark.parametrize("study", [advice_tried, tolerance_agreement])
def test_a_page_has_what_is_recorded(study: Any) -> None:
    page = study.PAGE.read_text("utf-8").partition(study.BEGIN)[2].partition(study.END)[0]
    assert page.strip() == study.table()


def test_advice_that_misses_what_was_asked_is_no_success(monkeypatch: pytest.MonkeyPatch) -> None:
    told = {"seed": 61, "outcome": "failed", "asked": 0.6, "keeps_goal": True, "more_runs": 2.0}
    good, less = (told | {"seed": s, "outcome": o} for s, o in ((63, "within"), (65, "less")))
    even, seen = told | {"seed": 62}, told | {"seed": 7}
    monkeypatch.setattr(advice_tried, "kept", lambda: [told, even, seen, good, less, {"seed": 67}])
    lines = advice_tried.table().splitlines()
    assert [line.split("|")[2].strip() for line in lines[2:8]] == ["1", "1", "0", "0", "1", "3"]


def test_rows_of_other_code_are_not_used_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [fuzz.Row(name, 10, 1, 1, 0, 1.0, "run", code)
            for name, code in (("part", "old"), ("part", "new"), ("trace", "old"))]  # fmt: skip
    kept = tmp_path / "rows.jsonl"
    # The first is as an older version wrote it: of no code.
    kept.write_text('{"target": "deck"}\n' + "".join(f"{json.dumps(asdict(r))}\n" for r in rows))
    monkeypatch.setattr(fuzz, "KEPT", kept)
    assert fuzz.kept_rows("new") == {"part": rows[1]}
    assert fuzz.kept_rows("newer") == {}


def test_figures_are_printed_and_written_only_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    point = {"point": "p", "tank_voltage": 0.01, "supply_current": 0.02, "fast_mode": "inductive",
             "mode": "inductive"}  # fmt: skip
    store, page = tmp_path / "numerics.json", tmp_path / "numerics.md"
    monkeypatch.setattr(numerics, "STORE", store)
    monkeypatch.setattr(numerics, "DOCUMENT", page)
    monkeypatch.setattr(bench, "find_program", lambda: None)
    measured = [Figure(5, "map", "value", 1.0, 2.0, points=(point,))]
    monkeypatch.setattr(bench, "FIGURES", {4: list, 5: lambda: measured})
    assert bench.main(["5"]) == 0
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(SystemExit):
        bench.main(["--write", "4"])
    assert bench.main(["--write"]) == 0
    assert json.loads(store.read_text()) == {"map": [point]}
    assert "| p | +1.00 % | +2.00 % |" in page.read_text()
