"""Every powered stage of each shipped machine's bring-up sheet, run whole at its own setting.

`python -m benchmarks.sheet_whole [MACHINE ...]`. The sheet's rehearsals are sampled where that is
cheaper; here every cycle of each goes through the circuit, with pieces that come and go within
2 ms: a hand takes some thirty times as long, which is gentler, and more than a whole run can follow
at every stage. What the sheet allows must be within the limits checked, what it forbids over one or
without a verdict. Results stand in `sheet_whole.json`, a row per rehearsal; a machine's rows
replace its earlier ones.
"""

import json
import sys
from pathlib import Path
from typing import Any

from benchmarks.scenarios import shaken
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.workers import Workers
from simkit.studies.bring_up.study import setting_of, settled_stages
from simkit.studies.bring_up.trials import Rehearsals, cases_at
from simkit.studies.inputs.loading import load_machine

ROOT = Path(__file__).resolve().parents[1]
RESULTS = Path(__file__).with_suffix(".json")
MACHINES = ("bar-heating", "chisel-brazing", "copper-casting", "tube-bending")


def rows_of(name: str) -> list[dict[str, Any]]:
    """Sheet's word and the whole run's for each stage and case."""
    machine = load_machine(ROOT / "scenarios" / name / "machine.toml").model
    with Workers(1) as crew:
        stages, trials = settled_stages(machine, Rehearsals(None, crew), None)
    whole = Rehearser(settings=Settings(whole=True, jobs=1))
    out = []
    for k, found in sorted(trials.items()):
        cases = cases_at(machine, setting_of(machine, stages[k]), found.frequency)
        for kind, case in cases.items():
            told = next((t.verdict for t in found.here if t.kind == kind), None)
            outcome = whole.rehearse(case.machine, shaken(case.scenario)).verdict.outcome
            row = {"machine": name, "stage": k + 1, "step": found.step, "case": kind,
                   "frequency_hz": found.frequency, "sheet": told, "whole": outcome}  # fmt: skip
            print(json.dumps(row), flush=True)
            out.append(row)
    return out


def wrong(row: dict[str, Any]) -> bool:
    """Allowed by the sheet and not within the limits checked when run whole."""
    return row["sheet"] == "within_limits" and row["whole"] != "within_limits"


def main() -> None:
    """Run the machines named, or all; keep the rows; exit 1 where the sheet allows too much."""
    names = sys.argv[1:] or list(MACHINES)
    kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else []
    for name in names:
        kept = [row for row in kept if row["machine"] != name] + rows_of(name)
        RESULTS.write_text(json.dumps(kept, indent=1) + "\n")
    bad = [row for row in kept if wrong(row)]
    same = sum(row["sheet"] == row["whole"] for row in kept)
    print(f"{len(kept)} rehearsals, {same} with the same verdict, {len(bad)} allowed wrongly")
    raise SystemExit(bool(bad))


if __name__ == "__main__":
    main()
