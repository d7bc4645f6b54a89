"""All situations on the shipped IGBT machine with its smallest and its largest class, and with a
MOSFET class beside them, by what `simkit run --all-faults` does.

    python -m benchmarks.igbt_situations                     what is not recorded yet
    python -m benchmarks.igbt_situations --part CLASS        this class only
    python -m benchmarks.igbt_situations --table             what is recorded

A line a situation in benchmarks/igbt_situations.jsonl, by the digest of the switch's part: verdict
and engine CPU. A class whose part was changed is run anew; what was cut short goes on where it was.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Any

from simkit.data import scenario_folder
from simkit.run.backend import Budget
from simkit.run.cache import default_store
from simkit.run.workers import Workers
from simkit.studies.all_faults.study import Row, table
from simkit.studies.inputs.loading import load_machine

RECORD = Path(__file__).with_suffix(".jsonl")
CLASSES = ("igbt-600v-20a-fast", "igbt-1200v-75a-slow", "class-650v-superjunction")
MOSFET = CLASSES[-1]


def lines() -> list[dict[str, Any]]:
    """All that is recorded."""
    if not RECORD.exists():
        return []
    return [json.loads(x) for x in RECORD.read_text(encoding="utf-8").splitlines() if x]


def record(part: str) -> None:
    """Run a class's situations, if its part is not the recorded one, and put them in the record."""
    file = scenario_folder() / "parts" / f"{part}.toml"
    digest = hashlib.sha256(file.read_bytes()).hexdigest()[:12]
    others = [x for x in lines() if x["part"] != part]
    if any(x["digest"] == digest for x in lines() if x["part"] == part):
        return
    machine = load_machine(
        scenario_folder() / "tube-bending" / "machine.toml",
        {"switch.part": f"../parts/{part}.toml"},
    )
    with Workers(2) as crew:
        rows = table(machine, engine_name="ngspice", budget=Budget(), executor=crew,
                     store=default_store("cases"), heard=told)  # fmt: skip
    mine = [{"part": part, "situation": row.name, "digest": digest, "verdict": row.verdict,
             "reason": row.reason[:160], "cpu_s": row.engine_cpu_seconds}
            for row in rows]  # fmt: skip
    kept = sorted([*others, *mine], key=lambda x: (CLASSES.index(x["part"]), x["situation"]))
    RECORD.write_text("".join(json.dumps(x) + "\n" for x in kept), encoding="utf-8")


def told(row: Row, share: float) -> None:
    """A situation that is ready."""
    print(f"{share:5.0%} {row.name}: {row.verdict}", flush=True)


def summary() -> str:
    """Verdicts by class, situations without one, and CPU over the MOSFET's of the same."""
    rows, out = lines(), []
    mosfet = {x["situation"]: x["cpu_s"] for x in rows if x["part"] == MOSFET}
    for part in CLASSES:
        mine = [x for x in rows if x["part"] == part and x["verdict"] != "not_here"]
        gone = sum(x["part"] == part for x in rows) - len(mine)
        silent = [x["situation"] for x in mine if x["verdict"] == "no_verdict"]
        out.append(f"{part}: {len(mine)} situations, {gone} cannot happen; no verdict: "
                   f"{', '.join(silent) or 'none'}")  # fmt: skip
        both = [x for x in mine if mosfet.get(x["situation"]) and x["cpu_s"]]
        if both and part != MOSFET:
            ratios = [x["cpu_s"] / mosfet[x["situation"]] for x in both]
            whole = sum(x["cpu_s"] for x in both) / sum(mosfet[x["situation"]] for x in both)
            said = f"median {median(ratios):.2f}, largest {max(ratios):.2f}, in all {whole:.2f}"
            out.append(f"  engine CPU over the MOSFET's: {said} ({len(ratios)} situations)")
    return "\n".join(out)


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.igbt_situations",
                                     description=__doc__)  # fmt: skip
    parser.add_argument("--part", choices=CLASSES, action="append", help="these classes only")
    parser.add_argument("--table", action="store_true", help="print what is recorded")
    asked = parser.parse_args(arguments)
    for part in () if asked.table else asked.part or CLASSES:
        record(part)
    print(summary())
    return 0


if __name__ == "__main__":
    sys.exit(main())
