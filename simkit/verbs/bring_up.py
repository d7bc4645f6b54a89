"""`simkit bring-up`: what every instrument will show at each stage, and when to stop."""

import json
import time
from pathlib import Path

import click

from simkit.verbs.common import caution, json_option, note, progress_bar, quiet_option, set_option


@click.command("bring-up")
@click.argument("machine", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the sheet.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, help="Circuit runs at a time.")
@set_option
@json_option
@quiet_option
def command(
    machine: Path,
    out: Path | None,
    jobs: int,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Staged bring-up sheet of MACHINE: what to set, what to read, when to stop."""
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.rehearsal.settings import Settings
    from simkit.studies.bring_up.sheet import document
    from simkit.studies.bring_up.study import bring_up
    from simkit.studies.inputs.loading import load_machine
    from simkit.studies.output.report_place import check_target

    started = time.perf_counter()
    loaded = load_machine(machine, overrides)
    folder = out or Path("reports") / f"{loaded.model.name}-bring-up"
    check_target(folder, mark="sheet.json")
    bench = Rehearser(settings=Settings(jobs=jobs))
    with progress_bar("bring-up", quiet or as_json) as say:
        result = bring_up(loaded, bench, say)
    found = document(result, loaded, time.perf_counter() - started)
    if out is not None or not as_json:
        from simkit.studies.bring_up.folder import write_sheet

        write_sheet(folder, result, loaded, found)
        note(f"sheet: {folder / 'index.html'}", quiet)
    if as_json:
        print(json.dumps(found, indent=1))
    else:
        for stage in found["stages"]:
            print(f"{stage['name']}: {len(stage['expected'])} readings")
        for warning in (*loaded.warnings, *found["notes"]):
            note(f"note: {warning}", quiet)
        caution()
    note(f"{time.perf_counter() - started:.1f} s in all", quiet or as_json)
    return 0
