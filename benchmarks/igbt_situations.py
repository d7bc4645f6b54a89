"""All situations on the shipped IGBT machine with its smallest and its largest class, and with a
MOSFET class beside them.

    python -m benchmarks.igbt_situations                   what is not recorded yet, 4 minutes of it
    python -m benchmarks.igbt_situations --minutes 60      the same, longer
    python -m benchmarks.igbt_situations --again mains-sag these situations once more
    python -m benchmarks.igbt_situations --table           what is recorded

A line a case in benchmarks/igbt_situations.jsonl, by the digest of the switch's part: verdict,
engine CPU, engine runs that failed and points. Taken up again where it stopped.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import time
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any

from simkit.data import scenario_folder
from simkit.errors import EngineError
from simkit.parameters.machine import Machine
from simkit.rehearsal.rehearser import Rehearser
from simkit.run.backend import Budget, EngineRun, Progress
from simkit.run.process import NgspiceEngine
from simkit.studies.situations import SITUATIONS, NotHere

RECORD = Path(__file__).with_suffix(".jsonl")
CLASSES = ("igbt-600v-20a-fast", "igbt-1200v-75a-slow", "class-650v-superjunction")
MOSFET = CLASSES[-1]


class Counted(NgspiceEngine):
    """The engine, and what its runs cost."""

    def __init__(self) -> None:
        super().__init__()
        self.cpu, self.points, self.runs, self.failed = 0.0, 0, 0, 0

    def run(
        self, text: str, saved: Sequence[str], stop: float, budget: Budget = Budget(),  # noqa: B008
        progress: Progress | None = None,
    ) -> EngineRun:  # fmt: skip
        """As the engine's, counted."""
        self.runs += 1
        try:
            found = super().run(text, saved, stop, budget, progress)
        except EngineError:
            self.failed += 1
            raise
        self.cpu += found.cpu_seconds
        self.points += len(found.vectors["time"])
        return found


@cache
def machine_with(part: str) -> tuple[Machine, str]:
    """The shipped IGBT machine with a class in it, and the digest of the class's file."""
    import simkit

    file = scenario_folder() / "parts" / f"{part}.toml"
    made = simkit.load_machine(scenario_folder() / "tube-bending" / "machine.toml")
    made = made.change({"switch.part": f"../parts/{part}.toml"})
    return made.loaded.model, hashlib.sha256(file.read_bytes()).hexdigest()[:12]


def rehearsed(machine: Machine, name: str) -> dict[str, Any] | None:
    """One situation; None where it cannot happen here."""
    situation = next(s for s in SITUATIONS if s.name == name)
    try:
        case = situation.build(machine)
    except NotHere:
        return None
    engine, started = Counted(), time.process_time()
    try:
        found = Rehearser(engine=engine).rehearse(case.machine, case.scenario)
        verdict, reason = found.verdict.outcome, found.verdict.reason
    except EngineError as error:
        verdict, reason = "no_verdict", error.reason
    return {
        "verdict": verdict, "reason": reason[:160], "cpu_s": round(engine.cpu, 2),
        "runs": engine.runs, "failed": engine.failed, "points": engine.points,
        "own_cpu_s": round(time.process_time() - started, 2),
    }  # fmt: skip


def lines() -> list[dict[str, Any]]:
    """All that is recorded."""
    if not RECORD.exists():
        return []
    return [json.loads(x) for x in RECORD.read_text(encoding="utf-8").splitlines() if x]


def put(entry: dict[str, Any]) -> None:
    """Record a case in place of what it had."""
    key = entry["part"], entry["situation"]
    kept = [x for x in lines() if (x["part"], x["situation"]) != key] + [entry]
    kept.sort(key=lambda x: (CLASSES.index(x["part"]), x["situation"]))
    RECORD.write_text("".join(json.dumps(x) + "\n" for x in kept), encoding="utf-8")


def table() -> str:
    """Verdicts by class, cases without one, and CPU over the MOSFET's of the same situation."""
    rows, out = lines(), []
    mosfet = {x["situation"]: x["cpu_s"] for x in rows if x["part"] == MOSFET}
    for part in CLASSES:
        mine = [x for x in rows if x["part"] == part]
        silent = [x["situation"] for x in mine if x["verdict"] == "no_verdict"]
        ratios = [x["cpu_s"] / mosfet[x["situation"]] for x in mine if mosfet.get(x["situation"])]
        out.append(f"{part}: {len(mine)} situations, no verdict: {', '.join(silent) or 'none'}; "
                   f"{sum(x['failed'] for x in mine)} engine runs stopped early")  # fmt: skip
        if ratios and part != MOSFET:
            both = [x for x in mine if mosfet.get(x["situation"])]
            whole = sum(x["cpu_s"] for x in both) / sum(mosfet[x["situation"]] for x in both)
            out.append(f"  engine CPU over the MOSFET's: median {median(ratios):.2f}, largest "
                       f"{max(ratios):.2f}, in all {whole:.2f} ({len(ratios)} cases)")  # fmt: skip
    return "\n".join(out)


def keep(part: str, name: str, again: bool) -> None:
    """Run a case and record it; `again` also one that is recorded already."""
    machine, digest = machine_with(part)
    have = {(x["situation"], x["digest"]) for x in lines() if x["part"] == part}
    if (name, digest) in have and not again:
        return
    found = rehearsed(machine, name)
    if found is not None:
        put({"part": part, "situation": name, "digest": digest, **found})
        print(part, name, found["verdict"], f"{found['cpu_s']} s", flush=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.igbt_situations",
                                     description=__doc__)  # fmt: skip
    parser.add_argument("--minutes", type=float, default=4.0, help="begin nothing after these")
    parser.add_argument("--again", nargs="*", default=[], help="situations to run once more")
    parser.add_argument("--part", choices=CLASSES, action="append", help="these classes only")
    parser.add_argument("--table", action="store_true", help="print what is recorded")
    asked = parser.parse_args(arguments)
    until = time.monotonic() + 60.0 * asked.minutes
    for name in () if asked.table else asked.again or [s.name for s in SITUATIONS]:
        for part in asked.part or CLASSES:
            if time.monotonic() < until:
                keep(part, name, bool(asked.again))
    print(table())
    return 0


if __name__ == "__main__":
    sys.exit(main())
