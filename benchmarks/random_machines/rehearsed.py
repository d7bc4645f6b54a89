"""simkit's side of a case: one rehearsal as `simkit run` makes it, as plain data."""

from __future__ import annotations

import time
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simkit.errors import SimkitError
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.run.backend import Budget
from simkit.run.engines import engine
from simkit.studies.inputs.loading import load_scenario


@dataclass(frozen=True)
class Ours:
    """What simkit says, and the machine as its runs had it."""

    told: dict[str, Any]
    machine: Machine
    scenario: Scenario


def rehearsed(path: Path) -> Ours:
    """Rehearse a scenario file; a rehearsal that fails says so and gives the file's machine."""
    scenario, machine = load_scenario(path)
    started = time.process_time(), time.monotonic()
    told: dict[str, Any] = {}
    used = machine.model
    try:
        rehearser = Rehearser(engine=engine("ngspice"), settings=Settings(jobs=1),
                              budget=Budget(wall=240.0, cpu=240.0))  # fmt: skip
        found = rehearser.rehearse(machine.model, scenario.model)
        told, used = _told(found), found.machine
    except SimkitError as error:
        told = {"verdict": "no_verdict", "reason": f"{type(error).__name__}: {error}", "rows": {}}
    except Exception:  # noqa: BLE001 - a fault of simkit is a finding, not the end of the survey
        told = {"verdict": "fault", "reason": traceback.format_exc()[-600:], "rows": {}}
    told["seconds"] = round(time.monotonic() - started[1], 2)
    return Ours(told, used, scenario.model)


def _told(found: Rehearsal) -> dict[str, Any]:
    rows = {
        r.quantity: {
            "value": r.value, "error": r.error, "limit": r.limit, "status": r.status,
            "time": r.time_s, "note": r.note,
        }
        for r in found.rows
    }  # fmt: skip
    return {
        "verdict": found.verdict.outcome,
        "reason": found.verdict.reason,
        "rows": rows,
        "whole": found.is_whole,
        "end": found.line.end,
        "switch_at_c": found.warming.switch_at_c if found.warming else None,
        "retries": list(found.retries)[:4],
    }
