"""Writes docs/numerics.md: stated errors held against converged references, two engines compared.

`python -m benchmarks.numerics --jobs 2` measures everything, a process per rehearsal, and writes
the document at its end. Each finished rehearsal is kept under build/numerics by a digest of the
code, so that a run that was stopped carries on; `--fresh` measures anew. `--only` renews a table.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchmarks import newer_engines
from benchmarks.random_machines import page as random_machines
from benchmarks.stated import Checked, Table, check, errors_section
from benchmarks.subjects import Subject, held_out, subjects
from benchmarks.two_engines import Compared, Opinion, compare, engines_section
from simkit.errors import EngineError
from simkit.rehearsal.rehearser import Rehearser
from simkit.run.engines import engine

ROOT = Path(__file__).resolve().parents[1]
DOCUMENT = ROOT / "docs" / "numerics.md"
STORE = ROOT / "benchmarks" / "numerics.json"
KEPT = ROOT / "build" / "numerics"
TABLES = {"errors": subjects, "held-out": held_out, "engines": subjects}
TITLES = {"errors": "Stated errors against a converged reference", "held-out": "Held out"}


def load() -> dict[str, list[Any]]:
    """What was measured before: raw figures by table."""
    if STORE.exists():
        return dict(json.loads(STORE.read_text(encoding="utf-8")))
    return {}


def document(stored: dict[str, list[Any]]) -> str:
    """The whole document from raw figures."""
    lines = [
        "# How far the numbers can be trusted",
        "",
        "Written by `python -m benchmarks.numerics`; do not edit by hand. Raw figures are in",
        "`benchmarks/numerics.json`.",
        "",
    ]
    for name, title in TITLES.items():
        tables = [
            Table(d["name"], d["kind"], d["settled"], tuple(Checked(**f) for f in d["figures"]))
            for d in stored.get(name, [])
        ]
        lines += errors_section(title, tables) if tables else []
        lines += _missing(name, stored)
    engines = [
        Compared(d["name"], d["kind"], tuple(Opinion(**f) for f in d["figures"]), d["failed"])
        for d in stored.get("engines", [])
    ]
    lines += engines_section(engines) if engines else []
    lines += _missing("engines", stored)
    lines += random_machines.chapter() + newer_engines.chapter()
    if "map" in stored:
        lines += map_section(stored["map"])
    return "\n".join(lines).rstrip() + "\n"


def _missing(table: str, stored: dict[str, list[Any]]) -> list[str]:
    """Rehearsals that a table should have and has not."""
    there = {d["name"] for d in stored.get(table, [])}
    lacking = [s.name for s in TABLES[table]() if s.name not in there]
    return [f"Not measured ({table}): {'; '.join(lacking)}.", ""] if lacking else []


def map_section(rows: Sequence[dict[str, Any]]) -> list[str]:
    """The fast map against circuit runs, as the fifth benchmark left it."""
    worst = {key: max(abs(r[key]) for r in rows) for key in ("tank_voltage", "supply_current")}
    lines = [
        "## The fast map against circuit runs",
        "",
        f"Worst of {len(rows)} random points: tank voltage {100 * worst['tank_voltage']:.1f} %,",
        f"supply current {100 * worst['supply_current']:.1f} %.",
        "",
        "| point | tank voltage | supply current | mode, fast | mode, circuit |",
        "| --- | --- | --- | --- | --- |",
    ]
    for r in rows:
        lines.append(
            f"| {r['point']} | {100 * r['tank_voltage']:+.2f} % "
            f"| {100 * r['supply_current']:+.2f} % | {r['fast_mode']} | {r['mode']} |"
        )
    return [*lines, ""]


def save(stored: dict[str, list[Any]]) -> None:
    """Raw figures and the document made of them."""
    STORE.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    DOCUMENT.write_text(document(stored), encoding="utf-8")


def code_digest() -> str:
    """Of everything that the figures depend on: code, templates, machine files, engines."""
    found = hashlib.sha256()
    for name in ("simkit", "benchmarks", "scenarios"):
        for path in sorted((ROOT / name).rglob("*")):
            if path.suffix in (".py", ".j2", ".toml"):
                found.update(f"{path.relative_to(ROOT)}\0".encode() + path.read_bytes())
    for name in ("ngspice", "neospice"):
        try:
            found.update(engine(name).identity().encode())
        except EngineError as error:
            found.update(error.reason.encode())
    return found.hexdigest()[:16]


def measured(table: str, subject: Subject) -> dict[str, Any]:
    """One rehearsal of one table, as plain data."""
    first = Rehearser(engine=engine("ngspice"))
    if table == "engines":
        return asdict(compare(subject, first, Rehearser(engine=engine("neospice"))))
    return asdict(check(subject, first))


def keep(table: str, name: str, target: Path) -> None:
    """Measure one rehearsal and leave it in a file, whole or not at all."""
    subject = next(s for s in TABLES[table]() if s.name == name)
    fresh = target.with_suffix(".new")
    fresh.write_text(json.dumps(measured(table, subject)), encoding="utf-8")
    fresh.replace(target)


def kept_at(folder: Path, table: str, name: str) -> Path:
    """Where a finished rehearsal is kept."""
    return folder / f"{table} {name}.json"


def run_one(folder: Path, table: str, name: str) -> bool:
    """Measure one rehearsal in a process of its own, unless it is kept; whether it is there."""
    target = kept_at(folder, table, name)
    if not target.exists():
        command = [sys.executable, "-m", "benchmarks.numerics", "--only", table, "--subject", name]
        told = subprocess.run([*command, "--keep", str(target)], cwd=ROOT, check=False)
        print(f"{table}: {name}: exit code {told.returncode}", file=sys.stderr)
    return target.exists()


def measure(tables: Sequence[str], only: str, jobs: int, fresh: bool) -> list[str]:
    """Measure and write the document; names of what could not be measured."""
    folder = KEPT / code_digest()
    folder.mkdir(parents=True, exist_ok=True)
    # The longest come last in each list: begun first, they leave no worker idle at the end.
    wanted = [(t, s.name) for t in tables for s in reversed(TABLES[t]())
              if only in ("", s.name)]  # fmt: skip
    if fresh:
        for table, name in wanted:
            kept_at(folder, table, name).unlink(missing_ok=True)
    with ThreadPoolExecutor(jobs) as pool:
        there = list(pool.map(lambda w: run_one(folder, *w), wanted))
    stored = load()
    for table in tables:
        asked = {name for t, name in wanted if t == table}
        known = {d["name"]: d for d in stored.get(table, []) if d["name"] not in asked}
        for name in asked:
            path = kept_at(folder, table, name)
            if path.exists():
                known[name] = json.loads(path.read_text(encoding="utf-8"))
        stored[table] = [known[s.name] for s in TABLES[table]() if s.name in known]
    save(stored)
    return [f"{t}: {n}" for (t, n), done in zip(wanted, there, strict=True) if not done]


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.numerics", description=__doc__)
    parser.add_argument("--only", choices=(*TABLES, "page"),
                        help="one table, or the page anew from the raw figures")  # fmt: skip
    parser.add_argument("--subject", default="", help="one rehearsal by its name")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="at a time")
    parser.add_argument("--fresh", action="store_true", help="measure what is kept again")
    parser.add_argument("--keep", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args(arguments)
    if asked.keep:
        keep(asked.only, asked.subject, asked.keep)
        return 0
    if asked.only == "page":
        save(load())
        return 0
    missed = measure([asked.only] if asked.only else list(TABLES), asked.subject, asked.jobs,
                     asked.fresh)  # fmt: skip
    for name in missed:
        print(f"not measured: {name}", file=sys.stderr)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
