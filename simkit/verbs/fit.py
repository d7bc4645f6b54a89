"""`simkit fit`: adjust a machine to readings, say how sure, and name faults that explain them."""

import json
import time
from pathlib import Path
from typing import Any

import click

from simkit.verbs.common import (
    caution,
    json_option,
    note,
    progress_bar,
    quiet_option,
    set_option,
    write_output,
)

MARK = "fit.json"
FITTED = "\n[fit]\n"
"""What every machine file holds that a fit wrote, and no other."""


@click.command("fit")
@click.argument("machine", type=click.Path(path_type=Path))
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("-o", "output", type=click.Path(path_type=Path), help="Fitted machine file.")
@click.option("--faults", is_flag=True, help="Weigh faults that would explain the readings.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, help="Circuit runs at a time.")
@set_option
@json_option
@quiet_option
def command(
    machine: Path,
    readings: Path,
    output: Path | None,
    faults: bool,
    out: Path | None,
    jobs: int,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Fit MACHINE to READINGS (TOML or CSV); write the fitted machine file with -o."""
    from simkit.studies.fit.report import lines
    from simkit.studies.output.report_place import check_file, check_target

    if output is not None:
        check_file(output, (machine, readings), FITTED)
    if out is not None:
        check_target(out, mark=MARK)
    started = time.perf_counter()
    with progress_bar("fit", quiet or as_json) as say:
        result, text = _fitted(machine, readings, overrides, faults, jobs, say)
    result["total_seconds"] = time.perf_counter() - started
    if output is not None:
        write_output(output, text)
        note(f"fitted machine: {output}", quiet)
    if out is not None:
        note(f"report: {_page(out, result) / 'index.html'}", quiet)
    print(json.dumps(result, indent=1) if as_json else "\n".join(lines(result)))
    if not as_json:
        for line in result["notes"]:
            note(f"note: {line}", quiet)
        caution()
    note(f"{time.perf_counter() - started:.1f} s in all", quiet or as_json)
    return 0


def _fitted(
    machine: Path, readings: Path, overrides: dict[str, str], faults: bool, jobs: int, say: Any
) -> tuple[dict[str, Any], str]:
    from simkit.parameters.load import read_text
    from simkit.parameters.read_readings import load_readings, load_traces
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.rehearsal.settings import Settings
    from simkit.studies.fit.captures import captures_of, overlays, read_off
    from simkit.studies.fit.faults import diagnose
    from simkit.studies.fit.readings import observations
    from simkit.studies.fit.report import document, shown
    from simkit.studies.fit.study import fit
    from simkit.studies.fit.suggest import suggestions
    from simkit.studies.fit.write import fitted_text
    from simkit.studies.inputs.loading import load_machine

    loaded, read = load_machine(machine, overrides), load_readings(readings)
    captured = captures_of(read, loaded.model)
    seen = (*observations(read, load_traces(read), loaded.model),
            *read_off(captured, loaded.model))  # fmt: skip
    bench = Rehearser(settings=Settings(jobs=jobs))
    found = fit(loaded, seen, bench, say)
    diagnosis = diagnose(loaded, seen, bench) if faults else None
    result = document(found, loaded, read, suggestions(found), diagnosis, 0.0)
    result["overlays"] = [shown(o) for o in overlays(captured, found.machine, bench)]
    text, lost = fitted_text(read_text(machine), found, readings.name)
    result["notes"] += lost
    return result, text


def _page(folder: Path, result: dict[str, Any]) -> Path:
    from simkit.studies.fit.page import fit_page
    from simkit.studies.output.folder import report_folder

    def page(fresh: Path) -> None:
        (fresh / "index.html").write_text(fit_page(result), encoding="utf-8")

    return report_folder(folder, MARK, result, page)
