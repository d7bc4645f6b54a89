"""The golden rehearsals on newer releases of the engine: same verdicts, largest shift of a figure.

`python -m benchmarks.newer_engines make FOLDER` fetches Debian's next libraries with apt and the
wheel of the `bundled` extra with pip, and unpacks both under FOLDER: nothing of the system changes.
`python -m benchmarks.newer_engines run FOLDER` rehearses on the engine that is installed and, with
those libraries laid over the system's in a mount namespace of its own (root only), on each engine
of FOLDER; the figures go to `benchmarks/newer_engines.json` and docs/numerics.md. The slow test
tests/engine/test_newer_engines.py does the same where SIMKIT_ENGINE_ROOT names such a folder.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
STORE = ROOT / "benchmarks" / "newer_engines.json"
SUITE = "trixie"
PACKAGES = ("libc6", "libstdc++6", "libgcc-s1", "libgomp1", "libngspice0")
LIBRARIES = Path("usr/lib/x86_64-linux-gnu")
SOURCE = """Types: deb
URIs: http://deb.debian.org/debian
Suites: {suite}
Components: main
Signed-By: /usr/share/keyrings/debian-archive-keyring.gpg
"""
GOLDEN = (
    "chisel, 3 % above", "crucible, 4 % above", "chisel, at resonance", "chisel, 3 % below",
    "chisel, wide margin", "crucible, lifted out",
)  # fmt: skip
"""Of benchmarks/subjects.py: each mode, both machines, two events."""


def make(folder: Path, suite: str = SUITE) -> None:
    """Fetch and unpack; CalledProcessError where apt or pip cannot."""
    apt = folder / "apt"
    for name in ("lists/partial", "cache/archives/partial", "parts", "debs"):
        (apt / name).mkdir(parents=True, exist_ok=True)
    (apt / "parts" / f"{suite}.sources").write_text(SOURCE.format(suite=suite), encoding="utf-8")
    (apt / "status").touch()
    settings = {
        "Dir::Etc::sourcelist": "/dev/null", "Dir::Etc::sourceparts": apt / "parts",
        "Dir::State::lists": apt / "lists", "Dir::Cache": apt / "cache",
        "Dir::State::status": apt / "status", "Acquire::Languages": "none",
    }  # fmt: skip
    options = [word for key, value in settings.items() for word in ("-o", f"{key}={value}")]
    subprocess.run(["apt-get", *options, "update"], check=True)
    subprocess.run(["apt-get", *options, "download", *PACKAGES], cwd=apt / "debs", check=True)
    for package in sorted((apt / "debs").glob("*.deb")):
        subprocess.run(["dpkg", "-x", str(package), str(folder)], check=True)
    wheels = folder / "wheels"
    command = [sys.executable, "-m", "pip", "download", "--no-deps", "-d", str(wheels), "sedes"]
    subprocess.run(command, check=True)
    for wheel in wheels.glob("*.whl"):
        zipfile.ZipFile(wheel).extractall(wheels / "unpacked")


def engines(folder: Path) -> dict[str, str]:
    """Libraries of the engine in a folder, by where they come from."""
    found = {"packages": folder / LIBRARIES / "libngspice.so.0"}
    for path in folder.glob("wheels/unpacked/**/libngspice*"):
        found["wheel"] = path
    return {name: str(path) for name, path in found.items() if path.exists()}


def overlay(folder: Path, command: Sequence[str]) -> list[str]:
    """A command with a folder's libraries laid over the system's, in a mount namespace."""
    target = Path("/") / LIBRARIES
    layers = f"lowerdir={folder / LIBRARIES}:{target}"
    script = f'mount -t overlay overlay -o {layers} {target} && exec "$@"'
    return ["unshare", "-m", "sh", "-c", script, "sh", *command]


def why_not(folder: Path) -> str:
    """Why a folder's engines cannot run here; empty where they can."""
    if not (folder / LIBRARIES).is_dir():
        return f"{folder} has no {LIBRARIES}; make it by python -m benchmarks.newer_engines make"
    tried = subprocess.run(overlay(folder, ["true"]), capture_output=True, text=True, check=False)
    return "" if tried.returncode == 0 else f"no mount namespace here: {tried.stderr.strip()}"


def rehearsed(folder: Path | None, library: str | None, names: Sequence[str]) -> dict[str, Any]:
    """The rehearsals on one engine, in a process of its own: its name, verdicts and figures."""
    command = [sys.executable, "-m", "benchmarks.newer_engines", "inside", *names]
    environment = dict(os.environ)
    if library:
        environment["NGSPICE_LIBRARY_PATH"] = library
    told = subprocess.run(
        overlay(folder, command) if folder else command, cwd=ROOT, env=environment,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if told.returncode != 0:
        raise RuntimeError(told.stderr[-600:])
    return dict(json.loads(told.stdout))


def inside(names: Sequence[str]) -> dict[str, Any]:
    """What one engine makes of the rehearsals."""
    from benchmarks.subjects import subjects
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.run.engines import engine

    mine = Rehearser(engine=engine("ngspice"))
    found: dict[str, Any] = {"engine": "", "rehearsals": {}}
    for subject in subjects():
        if subject.name in names:
            told = mine.rehearse(subject.built(), subject.make())
            found["engine"] = told.whole.run.engine
            found["rehearsals"][subject.name] = {
                "verdict": told.verdict.outcome,
                "rows": {r.quantity: [r.value, r.error, r.limit] for r in told.rows},
            }
    return found


def shifts(one: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """Verdicts that differ, and the largest shift of a figure over its value and its limit."""
    worst_value, worst_limit, named = 0.0, 0.0, ""
    changed = []
    for name, mine in one["rehearsals"].items():
        theirs = other["rehearsals"][name]
        if mine["verdict"] != theirs["verdict"]:
            changed.append(name)
        for quantity, (value, _, limit) in mine["rows"].items():
            found = theirs["rows"][quantity][0]
            if value is None or found is None:
                continue
            # A figure below a fifth of its limit is judged as one of that size.
            worst_value = max(worst_value, abs(found - value) / max(abs(value), 0.2 * limit))
            if abs(found - value) / limit > worst_limit:
                worst_limit, named = abs(found - value) / limit, f"{quantity}, {name}"
    return {"engine": other["engine"], "rehearsals": len(one["rehearsals"]), "changed": changed,
            "of_value": worst_value, "of_limit": worst_limit, "figure": named}  # fmt: skip


def measure(folder: Path) -> None:
    """Rehearse on every engine, record, and write docs/numerics.md anew."""
    from benchmarks.numerics import load, save

    here = rehearsed(None, None, GOLDEN)
    rows = [shifts(here, rehearsed(folder, path, GOLDEN)) for path in engines(folder).values()]
    kept = {"date": date.today().isoformat(), "engine": here["engine"], "rows": rows}
    STORE.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    save(load())


def chapter() -> list[str]:
    """Lines for docs/numerics.md; empty where nothing is recorded."""
    if not STORE.exists():
        return []
    kept = json.loads(STORE.read_text(encoding="utf-8"))
    lines = [
        "## Newer releases of the engine", "",
        f"{len(GOLDEN)} rehearsals on {kept['engine']} and on newer releases, measured on",
        f"{kept['date']} by `python -m benchmarks.newer_engines`. A figure's shift is taken of its",
        "value, or of a fifth of its limit where it is smaller.", "",
        "| engine | same verdicts | largest shift, of the value | of the limit | figure |",
        "| --- | --- | --- | --- | --- |",
    ]  # fmt: skip
    for row in kept["rows"]:
        same = row["rehearsals"] - len(row["changed"])
        lines.append(
            f"| {row['engine']} | {same} of {row['rehearsals']} | {100 * row['of_value']:.2f} % "
            f"| {100 * row['of_limit']:.2f} % | {row['figure']} |"
        )
    return [*lines, ""]


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.newer_engines", description=__doc__)
    parser.add_argument("what", choices=("make", "run", "inside"))
    parser.add_argument("names", nargs="*", help="the folder")
    asked = parser.parse_args(arguments)
    if asked.what == "inside":
        print(json.dumps(inside(asked.names)))
    elif asked.what == "make":
        make(Path(asked.names[0]).resolve())
    else:
        measure(Path(asked.names[0]).resolve())
    return 0


if __name__ == "__main__":
    sys.exit(main())
