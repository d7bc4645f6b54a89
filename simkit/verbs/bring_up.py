"""`simkit bring-up`: what every instrument will show at each stage, and when to stop."""

import json
import time
from pathlib import Path
from typing import Any

import click

from simkit.verbs.common import (
    cache_option,
    caution,
    cores,
    json_option,
    note,
    progress_bar,
    quiet_option,
    set_option,
    workers,
)


@click.command("bring-up")
@click.argument("machine", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the sheet.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Circuit runs at a time.")
@set_option
@cache_option
@json_option
@quiet_option
def command(
    machine: Path,
    out: Path | None,
    jobs: int | None,
    overrides: dict[str, str],
    no_cache: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Staged bring-up sheet of MACHINE: what to set, what to read, when to stop."""
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.rehearsal.settings import Settings
    from simkit.run.cache import default_store
    from simkit.studies.bring_up.sheet import document
    from simkit.studies.bring_up.study import bring_up
    from simkit.studies.bring_up.trials import Rehearsals
    from simkit.studies.inputs.loading import load_machine
    from simkit.studies.output.report_place import check_target

    started = time.perf_counter()
    loaded = load_machine(machine, overrides)
    folder = out or Path("reports") / f"{loaded.model.name}-bring-up"
    check_target(folder, mark="sheet.json")
    many = jobs or cores()
    bench = Rehearser(settings=Settings(jobs=many))
    store = None if no_cache else default_store("cases")
    with progress_bar("bring-up", quiet or as_json) as say, workers(None, many) as crew:
        result = bring_up(loaded, bench, say, Rehearsals(store, crew))
    found = document(result, loaded, time.perf_counter() - started)
    if out is not None or not as_json:
        from simkit.studies.bring_up.folder import write_sheet

        write_sheet(folder, result, loaded, found)
        note(f"sheet: {folder / 'index.html'}", quiet)
    if as_json:
        print(json.dumps(found, indent=1))
    else:
        print("\n".join(map(line, found["stages"])))
        for warning in (*loaded.warnings, *found["notes"]):
            note(f"note: {warning}", quiet)
        caution()
    note(f"{time.perf_counter() - started:.1f} s in all", quiet or as_json)
    return 0


def line(stage: dict[str, Any]) -> str:
    """One stage for a terminal: whether it is a step, and what may not be done there."""
    if not stage["is_step"]:
        return f"{stage['name']}: not a step. {stage['why_no_step']}"
    not_here = [t["kind"] for t in stage["rehearsed"] or () if t["verdict"] != "within_limits"]
    words = f"; not here: {', '.join(not_here)}" if not_here else ""
    return f"{stage['name']}: {len(stage['expected'])} readings{words}"
