"""Converged references, kept: they are plain whole runs and owe nothing to a rehearsal's estimates.

A reference holds as long as the deck it was refined from is the same, its numbers to four digits,
and what measures it. Kept in `benchmarks/references.json` with the commit that made it; deleting an
entry, or a changed machine, scenario, template or measure, has it measured again, half a minute
each.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.provenance import commit
from benchmarks.whole import REFINEMENTS, reference
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.discretisation import SMALL
from simkit.rehearsal.exported import scenario_deck

ROOT = Path(__file__).resolve().parents[1]
NODES = re.compile(r"^\.ic .*$", re.MULTILINE)
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w.])")
STORE = ROOT / "benchmarks" / "references.json"


@dataclass(frozen=True)
class Kept:
    """Reference values by quantity, in their units, how far each moved last [1], and from where."""

    settled: bool
    values: dict[str, float]
    moved: dict[str, float]
    made_by: str
    """Commit that measured it."""


def deck_digest(machine: Machine, scenario: Scenario) -> str:
    """Of the deck the refinement begins with, and of the measures."""
    measures = sorted((ROOT / "simkit" / "measure").glob("*.py"))
    code = hashlib.sha256(b"\0".join(path.read_bytes() for path in measures)).hexdigest()
    return digest_of(scenario_deck(machine, scenario, REFINEMENTS[0]).text + code)


def digest_of(text: str) -> str:
    """Of a deck's text, its numbers to four digits: what lies below moves no figure by 0.2 %.

    Without the nodes' starting voltages, which the first of the run-in's cycles forgets.
    """
    rounded = NUMBER.sub(lambda m: f"{float(m[0]):.4g}", NODES.sub("", text))
    return hashlib.sha256(rounded.encode()).hexdigest()


def find(digest: str) -> Kept | None:
    """A kept reference of a deck."""
    data = load().get(digest)
    if data is None:
        return None
    return Kept(**{k: v for k, v in data.items() if k != "name"})


def load() -> dict[str, dict[str, Any]]:
    """All that is kept, by the digest of its deck."""
    if not STORE.exists():
        return {}
    return dict(json.loads(STORE.read_text(encoding="utf-8")))


def kept_reference(name: str, machine: Machine, scenario: Scenario) -> Kept:
    """A rehearsal's reference: the kept one of the same deck, or measured now and kept."""
    digest = deck_digest(machine, scenario)
    found = find(digest)
    if found is None:
        made = reference(machine, scenario, least=SMALL)
        found = Kept(made.settled, made.finest.values, made.moved, commit())
        keep(digest, name, found)
    return found


def keep(digest: str, name: str, kept: Kept) -> None:
    """Keep a reference; entries are in order of their names. One process at a time."""
    with STORE.with_suffix(".lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        _keep(digest, name, kept)


def _keep(digest: str, name: str, kept: Kept) -> None:
    stored = load() | {digest: {"name": name, **kept.__dict__}}
    # One entry per rehearsal: what an older deck gave is no use any more.
    stored = {d: v for d, v in stored.items() if d == digest or v["name"] != name}
    ordered = dict(sorted(stored.items(), key=lambda item: item[1]["name"]))
    STORE.write_text(json.dumps(ordered, indent=1) + "\n", encoding="utf-8")
