"""Starts from rest against plain runs of the same circuit: two machines, four starts each.

    python -m benchmarks.starts                  all, benchmarks/starts.json anew
    python -m benchmarks.starts copper-casting   only these machines'

At the working frequency with a full and with a halved first half period, at the drive's highest
frequency with a full one, and from there down to the working frequency in a sweep. The plain
program runs the deck with tight options, and the random machines' own measures read it: nothing of
simkit's engine door or measures. Where the tightest tolerance does not get through a start the next
is taken. How many idle cycles stand before it does not matter (`tests/engine/test_from_rest.py`).
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

from benchmarks.random_machines.figures import figures
from benchmarks.random_machines.plain_run import PlainFailed, PlainRun, plain_run
from benchmarks.random_machines.reference import facts_of
from simkit.circuit.netlist import Deck
from simkit.data import scenario_folder
from simkit.parameters.machine import Machine
from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.bench import Setting, resonance
from simkit.studies.inputs.loading import load_machine
from simkit.studies.situations.base import Case, draft, main_load

RECORD = Path(__file__).with_name("starts.json")
MACHINES = ("chisel-brazing", "copper-casting")
FIGURES = ("channel_current_peak", "flux_peak", "drain_voltage_peak")
WATCHED = 0.3e-3
"""After the first edge, and after the end of a sweep [s]."""
SWEEP = 1e-3
"""[s]"""


def cases(machine: Machine) -> dict[str, Case]:
    """The four starts of a machine, by name."""
    load = main_load(machine)
    at = Setting(load, machine.supply.voltage)
    working = (1.0 + machine.drive.working_margin) * resonance(machine, at)
    top = machine.drive.frequency_max

    def case(name: str, frequency: float, first_half: str, *more: dict[str, Any]) -> Case:
        start = {"kind": "start", "at": 0.0, "first_half": first_half}
        return draft(machine, name, load=load, events=[start, *more],
                     start={"frequency": frequency}, tail=WATCHED)  # fmt: skip

    sweep = {"kind": "frequency", "at": 0.0, "frequency": working, "duration": SWEEP}
    return {
        "working, full": case("full", working, "full"),
        "working, halved": case("halved", working, "halved"),
        "highest, full": case("highest", top, "full"),
        "highest, swept down": case("swept", top, "halved", sweep),
    }


TIGHT = ("2e-05", "5e-05")
"""Tolerances of the plain run [1], the first that the program gets through with."""


def tight(deck: Deck, tolerance: str = TIGHT[0]) -> str:
    """The deck that ran, at half its step and a tighter tolerance."""
    text, options = re.subn(r"reltol=\S+", f"reltol={tolerance}", deck.text, count=1)
    text, steps = re.subn(r"(?m)^\.tran \S+ (\S+) 0 \S+ ", r".tran 1e-08 \1 0 1e-08 ", text)
    if (options, steps) != (1, 1):
        raise ValueError("the deck's options are not where this script expects them")
    return text


def _plain(deck: Deck) -> PlainRun:
    for tolerance in TIGHT[:-1]:
        try:
            return plain_run(tight(deck, tolerance), deck.stop)
        except PlainFailed as failed:
            print(f"at {tolerance}: {failed}", flush=True)
    return plain_run(tight(deck, TIGHT[-1]), deck.stop)


def compared(case: Case) -> dict[str, Any]:
    """simkit's figures with their errors, and the plain run's."""
    answer = Rehearser().rehearse(case.machine, case.scenario)
    whole = answer.whole
    run = _plain(whole.deck)
    plain = figures(run.vectors, whole.deck.begin, facts_of(answer.machine, answer.line))
    told = {row.quantity: row for row in answer.rows}
    return {
        "frequency_khz": round(case.scenario.start.frequency / 1e3, 2),
        "verdict": answer.verdict.outcome,
        "figures": {
            name: {"value": told[name].value, "error": told[name].error, "plain": plain[name]}
            for name in FIGURES
        },
    }


def furthest(rows: dict[str, Any]) -> tuple[float, str]:
    """Largest difference of any figure from the plain run's [1], and where."""
    return max(
        (abs(f["value"] / f["plain"] - 1.0), f"{machine}, {start}: {name}")
        for machine, starts in rows.items()
        for start, row in starts.items()
        for name, f in row["figures"].items()
    )


def main() -> None:
    """Run the machines named, or all; keep the rows."""
    kept = json.loads(RECORD.read_text()) if RECORD.exists() else {}
    for name in sys.argv[1:] or list(MACHINES):
        machine = load_machine(scenario_folder() / name / "machine.toml").model
        kept[name] = {}
        for start, case in cases(machine).items():
            kept[name][start] = compared(case)
            print(name, start, json.dumps(kept[name][start]), flush=True)
            RECORD.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    print("furthest: {:.2%} at {}".format(*furthest(kept)))


if __name__ == "__main__":
    main()
