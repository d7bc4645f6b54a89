"""What is kept: references by the digest of their circuit, simkit's side by case; a line each."""

from __future__ import annotations

import fcntl
import hashlib
import json
import re
from pathlib import Path
from typing import Any

from benchmarks.random_machines.files import CASES
from benchmarks.random_machines.reference import TIGHT, Reference, first_deck
from simkit.circuit.timeline import timeline
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario

HERE = Path(__file__).parent
REFERENCES = HERE / "references.jsonl"
RESULTS = HERE / "results.jsonl"
LATEST = CASES / "results.jsonl"
"""Of the working tree, while it changes; RESULTS is what docs/numerics.md reports."""
START = re.compile(r"^(?!cgt|lgp)(\S.*) ic=\S+|^\.ic .*$|^\*.*$", re.MULTILINE)
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w.])")
WARM_ENOUGH = 0.5
"""Difference in the switches' temperature that a reference bears [K]: a thousandth of R_DS(on)."""


def digest(machine: Machine, scenario: Scenario) -> str:
    """Of the file's own circuit, to four digits and without where it starts: neither moves the
    reference. A gate transformer's start stays: it rings for longer than a reference settles."""
    text = first_deck(machine, timeline(machine, scenario), TIGHT).text
    plain = NUMBER.sub(lambda m: f"{float(m[0]):.4g}", START.sub(r"\1", text))
    return hashlib.sha256(plain.encode()).hexdigest()[:20]


def lines(path: Path) -> list[dict[str, Any]]:
    """All that a file keeps."""
    if not path.exists():
        return []
    return [json.loads(x) for x in path.read_text(encoding="utf-8").splitlines() if x]


def put(path: Path, entry: dict[str, Any]) -> None:
    """Keep an entry in place of what its seed had; one process at a time."""
    path.parent.mkdir(parents=True, exist_ok=True)
    CASES.mkdir(parents=True, exist_ok=True)
    with (CASES / "lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        _put(path, entry)


def _put(path: Path, entry: dict[str, Any]) -> None:
    kept = [x for x in lines(path) if x["seed"] != entry["seed"]] + [entry]
    kept.sort(key=lambda x: int(x["seed"]))
    fresh = path.with_suffix(".new")
    fresh.write_text("".join(json.dumps(x) + "\n" for x in kept), encoding="utf-8")
    fresh.replace(path)


def as_entry(mine: dict[str, Any], found: Reference, machine: Machine) -> dict[str, Any]:
    """A reference as it is kept: five digits of what counts."""

    def short(value: float) -> float:
        return float(f"{value:.5g}")

    return {
        **known(mine),
        "tight": found.tight,
        "seconds": round(found.seconds, 1),
        "values": {q: short(v) for q, v in found.values.items()},
        "errors": {q: float(f"{v:.2g}") for q, v in found.errors.items()},
        "limits": {x.quantity: short(x.bound) for x in machine_limits(machine)},
    }


def known(mine: dict[str, Any]) -> dict[str, Any]:
    """What a result says of the circuit that ran: its reference is of the same."""
    return {k: mine.get(k) for k in ("seed", "digest", "switch_at_c", "end")}


def fits(entry: dict[str, Any] | None, mine: dict[str, Any]) -> bool:
    """Whether a kept reference is of the circuit that ran, its switches as warm, to the same end.

    A rehearsal that failed tells neither; any reference of the circuit fits it.
    """
    if entry is None or entry["digest"] != mine["digest"]:
        return False
    was, now = entry["switch_at_c"], mine.get("switch_at_c")
    warm = was is None or now is None or abs(was - now) <= WARM_ENOUGH
    ends = (entry["end"], mine.get("end"))
    return warm and (None in ends or abs(ends[0] - ends[1]) < 1e-9)
