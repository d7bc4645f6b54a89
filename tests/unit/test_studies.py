"""Studies run seldom: each must have been run, and have passed when it last was."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks.studies import ROOT, outcomes, recorded

REPORT = """<testsuites><testsuite>
<testcase classname="tests.a" name="one" time="1.5"/>
<testcase classname="tests.a" name="two[x]" time="2"><failure message="no"/></testcase>
<testcase classname="tests.a" name="three" time="0"><skipped message="why"/></testcase>
</testsuite></testsuites>"""


def test_a_report_is_read_by_name_outcome_and_seconds(tmp_path: Path) -> None:
    report = tmp_path / "report.xml"
    report.write_text(REPORT, encoding="utf-8")
    assert list(outcomes(report)) == [
        ("tests.a::one", "passed", 1.5), ("tests.a::two[x]", "failed", 2.0),
    ]  # fmt: skip


def collected(request: pytest.FixtureRequest) -> list[str]:
    """Names of all studies; asked for anew where this run has only a part of the tests."""
    config = request.config
    chosen = config.getoption("keyword") or config.getoption("markexpr")
    if list(config.args) == config.getini("testpaths") and not chosen:
        return [i.nodeid for i in request.session.items if i.get_closest_marker("study")]
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-m", "study"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return [line for line in told.stdout.splitlines() if "::" in line]


@pytest.mark.slow
def test_every_study_was_run_and_passed(request: pytest.FixtureRequest) -> None:
    names = collected(request)
    assert len(names) > 100
    kept = recorded()
    for name in names:
        path, _, test = name.partition("::")
        known = kept.get(f"{path.removesuffix('.py').replace('/', '.')}::{test}")
        assert known is not None, f"{name} was never run: python -m benchmarks.studies"
        assert known["outcome"] == "passed", name
