"""Pages of comparison, map and search for cures: self-contained, escaped, on equal axes."""

from __future__ import annotations

import html
import re
from pathlib import Path

import numpy as np

from simkit.report.view import Course, Curve, Fact, Level, Span
from simkit.studies.compare.page import (
    ChangeView,
    ComparisonView,
    Pair,
    Row,
    Side,
    spans,
    write_comparison,
)
from simkit.studies.maps.page import AxisView, Chance, MapView, Region, Weight, write_map
from simkit.studies.protect.page import CureRow, DelayCurve, ProtectView, write_protection

ATTACK = "<img onerror=alert(1)></script>"
TIMES = np.linspace(0.0, 3e-3, 20)


def checked(folder: Path) -> str:
    text = (folder / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"""(src|href)\s*=\s*["']?[^"'#\s]""", text)
    assert "http" not in re.sub(r"http-equiv", "", text)
    assert "<img" not in text
    assert "&lt;img" in text
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert policy
    assert html.unescape(policy[1]).startswith("default-src 'none'; ")
    return text


def side(top: float) -> Side:
    curve = Curve("drive", TIMES, np.linspace(1.0, top, 20))
    course = Course("switch current", "A", (curve,), (Level(30.0, "limit"),))
    return Side(ATTACK, "over_limit", ATTACK, (course,), (Span(0.0, 3e-3, "inductive"),))


def test_comparison(tmp_path: Path) -> None:
    row = Row(ATTACK, "V", 400.0, 1.0, 0.8, "ok", None, None, None, "not_evaluated",
              "not evaluated")  # fmt: skip
    pair = Pair("pair-0", "a", ATTACK, ATTACK, side(10.0), side(40.0), (row,), (row,),
                (Span(1e-3, 2e-3, "pull-out"),), 3e-3)  # fmt: skip
    change = ChangeView("a", ATTACK, (("tank.cans", ATTACK),), (pair,))
    view = ComparisonView(ATTACK, ATTACK, "over_limit", ATTACK, ATTACK, ((ATTACK, "over_limit"),),
                          (change,), ATTACK)  # fmt: skip
    write_comparison(tmp_path, view)
    text = checked(tmp_path)
    assert "not evaluated" in text
    assert "pair-0" in text


def test_axes_of_before_and_after_hold_both() -> None:
    courses = [c for s in (side(10.0), side(40.0)) for c in s.courses]
    low, high = spans(courses)["switch current"]
    assert low == 0.0  # what is held against a limit starts at zero
    assert high > 40.0


def test_map(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    view = MapView(
        ATTACK, ATTACK, ATTACK, "over_limit", ATTACK,
        tuple(AxisView(name, "V", 1.0, ATTACK, ATTACK) for name in ("a", "b")),
        (Chance(ATTACK, 0.1, 0.05, 0.2, 2, 1),),
        (Weight("a", 0.6, 0.7, 0.8), Weight("b", None, None, None)),
        rng.random((4, 2)), rng.random(4),
        ("within_limits", "over_limit", "no_verdict", "within_limits"),
        (True, False, True, False), (Region(0.0, 1.0, 0.0, 1.0, "boundary"),),
        (Fact("sample", ATTACK),), ATTACK,
    )  # fmt: skip
    write_map(tmp_path, view)
    text = checked(tmp_path)
    assert "hollow: fast model" in text
    assert "boundary runs here" in text


def test_protection(tmp_path: Path) -> None:
    cure = CureRow(ATTACK, ATTACK, ATTACK, "", "no_verdict", "neither", None, "", None, "",
                   "not known", "not known", ATTACK)  # fmt: skip
    view = ProtectView(
        ATTACK, ATTACK, "over_limit", ATTACK, ATTACK, (cure,), 15.0,
        (DelayCurve("every limit", (18.0, 20.0), (2e-4, 1e-4)),), (ATTACK,),
        (Fact(ATTACK, ATTACK),), ATTACK, ATTACK,
    )  # fmt: skip
    write_protection(tmp_path, view)
    text = checked(tmp_path)
    assert "not evaluated" in text
    assert (tmp_path / "figures" / "trip.svg").is_file()
