#!/usr/bin/env python3
"""The unit tests under every Python of this machine with the oldest and newest dependencies.

    .ci/compatibility.py [--write] [--locks oldest|newest ...] [--tests PATH ...] [PYTHON ...]
    .ci/compatibility.py --lock

Makes a fresh environment per Python and lock (`.ci/oldest.txt`, `.ci/newest.txt`) under
build/compatibility, installs exactly what the lock names, by digest, and runs the tests there.
PYTHON is a command such as python3.12; without any, those of PYTHONS that are on PATH. `--write`
puts the table into docs/dependencies.md after every cell, so that a run that is stopped leaves what
it has; `--lock` makes both locks anew from pyproject.toml, with uv from PATH or from the variable
UV. Exit code 1 when a cell failed.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PYTHONS = ("python3.11", "python3.12", "python3.13", "python3.14")
LOCKS = {"oldest": "lowest-direct", "newest": "highest"}
"""Lock by name, and how its versions are chosen: the lower bounds of pyproject.toml, or the newest
there are. What no bound names is the newest that goes with the rest."""
PAGE = ROOT / "docs" / "dependencies.md"
BEGIN, END = "<!-- compatibility: written by .ci/compatibility.py -->", "<!-- end -->"


@dataclass(frozen=True)
class Cell:
    """What one Python gave with one lock."""

    python: str
    """Its version."""
    lock: str
    outcome: str
    """pytest's closing words, or what went wrong before it."""
    good: bool


def make_locks() -> None:
    """Write both locks, for every supported Python at once, with the digests of the files."""
    uv = os.environ.get("UV", "uv")
    for name, resolution in LOCKS.items():
        target = ROOT / ".ci" / f"{name}.txt"
        # Without the file uv would keep to the versions it finds there.
        target.unlink(missing_ok=True)
        subprocess.run(
            [uv, "pip", "compile", "pyproject.toml", "--extra", "dev", "--universal", "--quiet",
             "--python-version", "3.11", "--resolution", resolution, "--generate-hashes",
             "--no-annotate", "--no-header", "--output-file", str(target)],
            cwd=ROOT, check=True,
        )  # fmt: skip


def version_of(python: str) -> str:
    """A Python's version, asked of itself."""
    command = [python, "-c", "import platform; print(platform.python_version())"]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip()


def cell(python: str, lock: str, tests: list[str]) -> Cell:
    """One environment, made anew, and the tests in it."""
    version = version_of(python)
    folder = ROOT / "build" / "compatibility" / f"{version}-{lock}"
    log = folder.parent / f"{folder.name}.log"
    shutil.rmtree(folder, ignore_errors=True)
    folder.parent.mkdir(parents=True, exist_ok=True)
    inside = str(folder / "bin" / "python")
    # Compiling all modules takes longer than unpacking them, and most are never imported.
    pip = [inside, "-m", "pip", "--disable-pip-version-check", "install", "--quiet", "--no-compile"]
    with log.open("w") as out:
        for command in (
            [python, "-m", "venv", str(folder)],
            [*pip, "--require-hashes", "-r", str(ROOT / ".ci" / f"{lock}.txt")],
            # The build's tool is in the lock too: nothing else is fetched.
            [*pip, "--no-deps", "--no-build-isolation", str(ROOT)],
        ):
            if subprocess.run(command, cwd=ROOT, stdout=out, stderr=out).returncode:
                return Cell(version, lock, f"not installed: see {log.relative_to(ROOT)}", False)
        # Compiled modules are kept, whatever this machine says: tests start many processes.
        env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        done = subprocess.run(
            [inside, "-m", "pytest", "-q", "-p", "no:cacheprovider", *tests],
            cwd=ROOT, env=env, stdout=out, stderr=out,
        )  # fmt: skip
    closing = re.findall(r"^=*\s*(\d+ (?:passed|failed)[^\n]*?)\s*=*$", log.read_text(), re.M)
    outcome = re.sub(r" in [\d.]+s.*", "", closing[-1]) if closing else "pytest did not end"
    return Cell(version, lock, outcome, done.returncode == 0)


def table(cells: list[Cell], versions: list[str]) -> str:
    """The cells as Markdown, a row per Python."""
    found = {(c.python, c.lock): c.outcome for c in cells}
    rows = [
        f"| {v} | " + " | ".join(found.get((v, lock), "not run") for lock in LOCKS) + " |"
        for v in versions
    ]
    head = ["| Python | " + " | ".join(f"{lock} versions" for lock in LOCKS) + " |"]
    return "\n".join([*head, "| --- |" + " --- |" * len(LOCKS), *rows])


def write(cells: list[Cell], pythons: list[str], tests: list[str]) -> None:
    """Put the table, its date and what was run into the page of dependencies."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    versions = [version_of(p) for p in pythons]
    minors = {v.rpartition(".")[0] for v in versions}
    absent = [m for m in (p.removeprefix("python") for p in PYTHONS) if m not in minors]
    ran = ", ".join(f"`{t}`" for t in tests)
    body = f"Run on {time.strftime('%Y-%m-%d')}, {ran}:\n\n{table(cells, versions)}"
    if absent:
        body += f"\n\nNot on the machine that this ran on: Python {', '.join(absent)}."
    PAGE.write_text(f"{before}{BEGIN}\n\n{body}\n\n{END}{after}", encoding="utf-8")


def main() -> int:
    """Run the cells, or make the locks."""
    parser = argparse.ArgumentParser(prog=".ci/compatibility.py", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--lock", action="store_true", help="make the locks anew and end")
    parser.add_argument("--write", action="store_true", help="put the table into the docs")
    parser.add_argument("--tests", nargs="+", default=["tests/unit"], metavar="PATH")
    parser.add_argument("--locks", nargs="+", choices=LOCKS, default=list(LOCKS))
    parser.add_argument("python", nargs="*", metavar="PYTHON")
    asked = parser.parse_args()
    if asked.lock:
        make_locks()
        return 0
    pythons = asked.python or [p for p in PYTHONS if shutil.which(p)]
    if not pythons:
        parser.error(f"none of {', '.join(PYTHONS)} is on PATH")
    cells = []
    for python in pythons:
        for lock in asked.locks:
            cells.append(cell(python, lock, asked.tests))
            print(f"{cells[-1].python:8} {lock}: {cells[-1].outcome}", flush=True)
            if asked.write:
                write(cells, pythons, asked.tests)
    return int(not all(c.good for c in cells))


if __name__ == "__main__":
    sys.exit(main())
