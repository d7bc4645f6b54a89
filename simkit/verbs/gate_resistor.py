"""`simkit map --gate-resistor`: the gate resistor of one machine swept."""

import time
from pathlib import Path
from typing import Any

from simkit.errors import InputError, Problem
from simkit.verbs.common import cores, progress_bar, tell, workers

MARK = "gate-resistor.json"
"""The sweep as data."""


def refuse(options: dict[str, Any]) -> None:
    """Refuse options of a map that a sweep of the gate resistor has no use for.

    Errors: InputError naming the first that was given.
    """
    given = next((name for name, value in options.items() if value), None)
    if given:
        rule = "goes with a scenario; --gate-resistor tries nine values of one machine"
        raise InputError([Problem(f"--{given}", None, "", "", rule)])


def run_sweep(
    path: Path, overrides: dict[str, str], out: Path | None, jobs: int | None,
    scheduler: str | None, *, cache: bool, as_json: bool, quiet: bool,
) -> int:  # fmt: skip
    """Sweep the gate resistor of a machine file; exit code of the machine's own resistor."""
    from simkit.run.cache import default_store
    from simkit.studies.gate_resistor.study import document, sweep
    from simkit.studies.inputs.loading import load_machine
    from simkit.studies.output.report_place import check_target
    from simkit.studies.situations import NotHere

    machine = load_machine(path, overrides)
    folder = out or Path("reports") / f"{machine.model.name}-gate-resistor"
    check_target(folder, mark=MARK)
    started = time.perf_counter()
    store = default_store("cases") if cache else None
    with (
        progress_bar("gate resistor", quiet or as_json) as progress,
        workers(scheduler, jobs or cores()) as crew,
    ):
        try:
            points = sweep(machine.model, store=store, executor=crew, progress=progress)
        except NotHere as why:
            raise InputError([Problem(str(path), None, "", "", str(why))]) from why
    result = document(machine, points, time.perf_counter() - started)
    _write(folder, result)
    return tell(result, _table, folder, as_json, quiet)


def _write(folder: Path, result: dict[str, Any]) -> Path:
    from simkit.figures.table import titles
    from simkit.studies.gate_resistor.page import write_sweep
    from simkit.studies.output.folder import report_folder

    return report_folder(folder, MARK, result, lambda fresh: write_sweep(fresh, result, titles()))


def _table(result: dict[str, Any]) -> None:
    from simkit.report.text import OUTCOME_WORDS
    from simkit.studies.gate_resistor.page import band_words, dead_time_left
    from simkit.units import format_quantity

    for point in result["points"]:
        eaten = dead_time_left(point, result["dead_time_s"])
        left = "-" if eaten is None else format_quantity(eaten, "s", 3)
        energy = point["figures"].get("turn_off_energy", {}).get("value")
        lost = "-" if energy is None else format_quantity(energy, "J", 3)
        print(f"  {format_quantity(point['resistance'], 'ohm', 3):>10}  "
              f"{OUTCOME_WORDS[point['verdict']]:25} dead time left {left:>9}, "
              f"turn-off energy {lost:>9}")  # fmt: skip
    print(band_words(result))
    for name, end in (result["band"] or {}).items():
        print(f"  {name} end: {end['closed_by']}")
