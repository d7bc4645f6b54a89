"""The index of reports: order, damage, hostile names."""

import json
import os
import re
from pathlib import Path
from typing import Any

from simkit.report.index import entries, write_index

RESULT: dict[str, Any] = {
    "schema": "simkit.result/1",
    "scenario": {"name": "pull-out"},
    "machine": {"name": "demo"},
    "verdict": "over_limit",
    "reason": "Too much.",
    "limits": [
        {"part": "Q1", "quantity": "recovery_dv_dt", "unit": "V/s", "value": 2e10, "error": 1e8,
         "limit": 1.2e10, "ratio": 1.67, "status": "over"},
        {"part": "tank", "quantity": "can_voltage_rms", "unit": "V", "value": None, "error": None,
         "limit": 200.0, "ratio": None, "status": "not_evaluated"},
    ],
    "operating_point": {"before": None, "after": {"frequency_hz": 8e4}},
}  # fmt: skip


def put(folder: Path, name: str, text: str, stamp: float) -> None:
    (folder / name).mkdir()
    (folder / name / "result.json").write_text(text, encoding="utf-8")
    os.utime(folder / name / "result.json", (stamp, stamp))


def rows(page: str) -> list[str]:
    return re.findall(r"<tr class=.*?</tr>", page, re.DOTALL)


def test_newest_comes_first_and_hidden_folders_do_not_count(tmp_path: Path) -> None:
    for name, stamp in (("a", 1e9), ("b", 3e9), ("c", 2e9), (".c-half-made", 4e9)):
        put(tmp_path, name, json.dumps(RESULT), stamp)
    assert [e.folder for e in entries(tmp_path)] == ["b", "c", "a"]
    page = write_index(tmp_path).read_text()
    assert [re.search(r'href="(\w)/index.html"', r)[1] for r in rows(page)] == ["b", "c", "a"]  # type: ignore[index]
    assert "2065-01-24 05:20 UTC" in page  # 3e9 s after 1970, by the calendar
    assert write_index(tmp_path).read_text() == page


def test_damaged_and_foreign_files_are_named_not_fatal(tmp_path: Path) -> None:
    put(tmp_path, "good", json.dumps(RESULT), 1e9)
    bad = ["{", "[]", "null", '{"schema": "other/1"}', "[" * 100_000,
           json.dumps({**RESULT, "verdict": "fine"}),
           json.dumps({**RESULT, "limits": [1]})]  # fmt: skip
    for number, text in enumerate(bad):
        put(tmp_path, f"bad{number}", text, 1e9)
    odd = {**RESULT, "machine": 3, "operating_point": [], "limits": [{"ratio": "x", "value": "y"}]}
    put(tmp_path, "odd", json.dumps(odd), 1e9)
    page = write_index(tmp_path).read_text()
    assert page.count("cannot be read") == len(bad)
    assert 'href="good/index.html"' in page
    assert 'href="odd/index.html"' in page


def test_names_are_escaped_and_nothing_is_fetched(tmp_path: Path) -> None:
    attack = "</script><script>x</script><img src=x onerror=alert(1)>"
    hostile = {**RESULT, "reason": attack, "machine": {"name": attack}}
    hostile["limits"] = [{**RESULT["limits"][0], "part": attack, "quantity": attack}]
    put(tmp_path, 'a "quoted" <b>', json.dumps(hostile), 1e9)
    page = write_index(tmp_path).read_text()
    assert "<img" not in page
    assert "<b>" not in re.sub(r'<b style="left:[\d.]+%">', "", page)
    assert page.count("<script") == 2
    assert "http" not in page.replace("http-equiv", "")
    assert "default-src &#39;none&#39;" in page


def test_empty_folder_says_what_writes_a_report(tmp_path: Path) -> None:
    assert "simkit run" in write_index(tmp_path).read_text()
