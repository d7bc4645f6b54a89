"""A case on disk: machine file, scenario file and the part files that the machine names."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

from benchmarks.random_machines.machine import machine
from benchmarks.random_machines.scenario import scenario
from benchmarks.random_machines.written import toml

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "build" / "random_machines"


def texts(seed: int) -> tuple[str, str, str | None]:
    """Machine file, scenario file, and the class part they need; the same for the same seed."""
    rng = random.Random(f"simkit random machine {seed}")
    # Halves of the seeds are told apart by parity: each goes through the same kinds and shapes.
    number = seed // 2
    plan, tables = machine(rng, number)
    tables["name"] = f"machine-{seed}"
    told = scenario(rng, number, plan)
    told["name"] = f"case-{seed}"
    return toml(tables), toml(told), plan.part


def write(seed: int, folder: Path | None = None) -> Path:
    """Write a case; the path of its scenario file."""
    place = folder or CASES / f"case-{seed}"
    place.mkdir(parents=True, exist_ok=True)
    machine_text, scenario_text, part = texts(seed)
    (place / "machine.toml").write_text(machine_text, encoding="utf-8")
    (place / "scenario.toml").write_text(scenario_text, encoding="utf-8")
    if part:
        (place / "parts").mkdir(exist_ok=True)
        shutil.copy(ROOT / "scenarios" / "parts" / f"{part}.toml", place / "parts")
    return place / "scenario.toml"
