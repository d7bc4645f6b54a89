"""`simkit check`: is the machine file sound, and what do its numbers amount to?"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simkit.verbs.common import CODES, caution, cores, json_option, note, quiet_option, set_option

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine
    from simkit.studies.check.study import CheckRow
    from simkit.studies.check.suggest import Suggested


@click.command("check")
@click.argument("machine", type=click.Path(path_type=Path))
@click.option("--suggest", is_flag=True,
              help="Search for the nearest turns, cans, dead time and gate resistor within all "
              "limits, verified by circuit runs; the exit code is theirs.")  # fmt: skip
@set_option
@json_option
@quiet_option
def command(
    machine: Path, suggest: bool, overrides: dict[str, str], as_json: bool, quiet: bool
) -> int:
    """Validate MACHINE; first-order design numbers, each beside its limit. No circuit is run."""
    from simkit.judge.cautions import CAUTIONS
    from simkit.studies.check.study import check_machine
    from simkit.studies.inputs.loading import load_machine

    loaded = load_machine(machine, overrides)
    rows = check_machine(loaded.model)
    found = suggested(loaded.model, quiet or as_json) if suggest else None
    if as_json:
        document = {
            "machine": {"name": loaded.model.name, "file": str(machine), "digest": loaded.digest},
            "method": "fast model",
            "rows": [_plain(row) for row in rows],
            "warnings": list(loaded.warnings),
            "cautions": list(CAUTIONS),
        }
        if found is not None:
            from simkit.studies.check.suggest import document as suggestion

            document["suggestion"] = suggestion(found)
        print(json.dumps(document, indent=1))
    else:
        _table(rows)
        for warning in loaded.warnings:
            note(f"note: {warning}", quiet)
        note("Fast model, no verdict: rehearse with `simkit run`.", quiet)
    code = exit_code(rows) if found is None else told(found, as_json)
    if not as_json:
        caution()
    return code


def exit_code(rows: "Sequence[CheckRow]") -> int:
    """Of a table: 1 over a limit, 3 where a number with a limit could not be had, else 0."""
    states = {row.status for row in rows if row.limit is not None}
    return 1 if "over" in states else 3 if "not_evaluated" in states else 0


def suggested(machine: "Machine", silent: bool) -> "Suggested":
    """The nearest machine within all limits, if one is found."""
    from simkit.run.cache import default_store
    from simkit.run.workers import Workers
    from simkit.studies.check.suggest import suggest

    note("searching, then rehearsing what is found", silent)
    with Workers(cores()) as crew:
        return suggest(machine, crew, default_store("cases"))


def told(found: "Suggested", as_json: bool) -> int:
    """Say what was found; its exit code."""
    from simkit.studies.check.suggest import document, sentence

    if not as_json:
        print(f"\n{sentence(found)}")
    return CODES[document(found)["verdict"]]


def _plain(row: "CheckRow") -> dict[str, object]:
    from dataclasses import asdict
    from math import isfinite

    values = {**asdict(row), "status": row.status}
    return {k: None if isinstance(v, float) and not isfinite(v) else v for k, v in values.items()}


def _table(rows: "Sequence[CheckRow]") -> None:
    from simkit.units import format_quantity

    load = None
    for row in rows:
        if row.load != load:
            load = row.load
            print(f"\n{load}")
        value = format_quantity(row.value, row.unit)
        bound = ""
        if row.limit is not None:
            word = "at least" if row.low else "at most"
            bound = f"{word} {format_quantity(row.limit, row.unit)}"
        print(f"  {row.quantity:42} {value:>14}   {bound:24} {row.status:5} {row.source}")
