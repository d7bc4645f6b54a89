"""Forty faulty machines and twenty healthy ones, read at 30 V with noise, and what was named.

`python -m benchmarks.fault_trials [--lines FILE]` keeps a line for each trial; ten faults on four
machines, each once, and five healthy ones of each kind. The machines are known as after a fit:
to a third of the tolerances their files state.
"""

import argparse
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.studies.fit.faults import diagnose
from simkit.studies.inputs.loading import load_machine
from simkit.studies.low_voltage.fault_signs import FAULTS, Fault
from tests.bench_trials import drawn, faulty, known, read, session
from tests.machines import DEMO, ROOT

KNOWN = 1.0 / 3.0
LINES = Path("benchmarks/fault_trials.jsonl")
SHUNT = {
    "tank.feed": '"shunt"',
    "tank.matching": '{ inductance = "3 uH", resistance = "5 mohm", source = "estimated" }',
    "transformer.primary_turns": "8",
    "transformer.magnetising_inductance": '"0.3 mH"',
    "transformer.leakage_inductance": '"1.1 uH"',
}
"""The demonstration machine with its tank fed through a matching inductor."""
MACHINES: dict[str, tuple[Path, dict[str, str], str]] = {
    "full, loop": (DEMO / "machine.toml", {}, "steel-full-power"),
    "full, loop, graphite": (DEMO / "machine.toml", {}, "graphite-crucible"),
    "half-split, shunt": (
        ROOT / "scenarios" / "copper-casting" / "machine.toml", {}, "graphite-crucible"),
    "full, shunt": (DEMO / "machine.toml", SHUNT, "steel-full-power"),
}  # fmt: skip
HEALTHY_EACH = 5


def faults_of(machine: Machine) -> list[Fault]:
    """Ten faults that a machine can have, in the registry's order."""
    return [f for f in FAULTS if next(iter(f.machines(machine)), None) is not None][:10]


def trial(
    machine: Loaded[Machine], piece: str, fault: Fault | None, seed: int, bench: Rehearser
) -> dict[str, Any]:
    """One machine, with or without a fault."""
    chance = np.random.default_rng(seed)
    described = known(machine, KNOWN)
    truth, _, _ = drawn(described, piece, chance)
    severity = 0.0
    if fault is not None:
        truth, severity = faulty(fault, truth, chance)
    seen = read(bench, truth, session(described.model, piece), chance)
    before = time.process_time()
    found = diagnose(described, seen, bench)
    names = [s.name for s in found.faults]
    return {
        "fault": fault.name if fault else None,
        "severity": severity,
        "seed": seed,
        "none_of_these": found.none_of_these,
        "place": names.index(fault.name) + 1 if fault else None,
        "named": [[s.name, round(s.probability, 4)] for s in found.suspects[:4]],
        "cpu_seconds": time.process_time() - before,
    }


def main() -> None:
    """Run what is not there yet."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--lines", type=Path, default=LINES)
    given = ask.parse_args()
    done = set()
    if given.lines.exists():
        rows = [json.loads(row) for row in given.lines.read_text().splitlines()]
        done = {(r["machine"], r["seed"]) for r in rows}
    bench = Rehearser(settings=Settings(jobs=1))
    for number, (name, (file, changes, piece)) in enumerate(MACHINES.items()):
        machine = load_machine(file, changes)
        cases: list[Fault | None] = [*faults_of(machine.model), *[None] * HEALTHY_EACH]
        for place, fault in enumerate(cases):
            seed = 1000 * number + place
            if (name, seed) in done:
                continue
            row = json.dumps({"machine": name, **trial(machine, piece, fault, seed, bench)})
            with given.lines.open("a") as out:
                out.write(row + "\n")
            print(row[:300], flush=True)


if __name__ == "__main__":
    main()
