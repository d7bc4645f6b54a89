"""The tests marked `study`, and what they last came to: benchmarks/studies.json.

    python -m benchmarks.studies [PYTEST ARGUMENTS]

They show on more cases what a slow test shows on one, and take longer than all the rest. A run
keeps a line a test: outcome, seconds, day and commit; what was not run again stays as it was.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as Tree
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from benchmarks.provenance import commit

ROOT = Path(__file__).resolve().parents[1]
RECORD = Path(__file__).with_suffix(".json")


def recorded() -> dict[str, dict[str, Any]]:
    """What each study last came to, by its name."""
    return dict(json.loads(RECORD.read_text("utf-8"))) if RECORD.exists() else {}


def outcomes(report: Path) -> Iterator[tuple[str, str, float]]:
    """Name, outcome and seconds of each test of a report in JUnit's form; skipped ones left out."""
    for case in Tree.parse(report).iter("testcase"):
        name = f"{case.get('classname')}::{case.get('name')}"
        found = {child.tag for child in case}
        if "skipped" in found:
            continue
        bad = found & {"failure", "error"}
        yield name, "failed" if bad else "passed", float(case.get("time") or 0.0)


def main(arguments: Sequence[str]) -> int:
    """Run them, keep what they came to; the exit code is pytest's."""
    with tempfile.TemporaryDirectory(prefix="simkit-studies-") as name:
        report = Path(name) / "report.xml"
        command = [sys.executable, "-m", "pytest", "-n", "auto", "--dist", "worksteal",
                   "-m", "study", "--studies", f"--junitxml={report}", *arguments]  # fmt: skip
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        kept = recorded()
        if report.exists():
            today = {"day": date.today().isoformat(), "commit": commit()}
            kept |= {n: {"outcome": o, "seconds": round(s, 1), **today}
                     for n, o, s in outcomes(report)}  # fmt: skip
    RECORD.write_text(json.dumps(dict(sorted(kept.items())), indent=1) + "\n", encoding="utf-8")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
