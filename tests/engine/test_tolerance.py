"""A whole run with its tolerances: told in the sentence, the same on one and two workers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from simkit import cli
from simkit.studies.tolerance import study
from tests.machines import ROOT

TOLD = ROOT / "scenarios" / "chisel-brazing" / "tolerances.toml"


def ran(capsys: pytest.CaptureFixture[str], out: Path, *more: str) -> dict[str, Any]:
    cli.run(["run", str(TOLD), "--out", str(out), "--json", "--quiet", "--no-cache", *more])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.slow
def test_a_run_tells_its_tolerances(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    one = ran(capsys, tmp_path / "a", "--jobs", "1")
    two = ran(capsys, tmp_path / "b", "--jobs", "2")
    assert one["tolerance"] == two["tolerance"]
    assert [r["tolerance"] for r in one["limits"]] == [r["tolerance"] for r in two["limits"]]
    assert one["tolerance"]["draws"] > 200
    assert f"of {one['tolerance']['draws']} machines" in one["reason"]
    rows = {r["quantity"]: r for r in one["limits"]}
    low, high = rows["can_current_rms"]["tolerance"]
    assert low < rows["can_current_rms"]["value"] < high
    left = {f["quantity"] for f in one["tolerance"]["not_followed"]}
    assert {q for q, r in rows.items() if r["tolerance"] is None} >= left
    page = (tmp_path / "a" / "index.html").read_text(encoding="utf-8")
    assert "tolerances: " in page
    assert ("This verdict turns" in page) == one["tolerance"]["turns"]

    monkeypatch.setattr(study, "told", lambda *_: pytest.fail("was asked all the same"))
    bare = ran(capsys, tmp_path / "c", "--no-tolerance")
    assert bare["tolerance"] is None
    assert "machines drawn" not in bare["reason"]
