"""`simkit run --all-faults`: every situation of the registry on one machine."""

import os
import shlex
import shutil
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simkit.errors import InputError, Problem
from simkit.verbs.common import note, progress_bar, tell

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.reading import Opened
    from simkit.studies.all_faults.study import Row
    from simkit.studies.scenario.study import Order


MARK = "all-faults.json"
MACHINE = "machine.toml"
"""Name of the machine file's copy beside the situations."""
"""The table as data."""


def run_all(
    paths: tuple[Path, ...],
    overrides: dict[str, str],
    out: Path | None,
    order: "Order",
    *,
    as_json: bool,
    quiet: bool,
) -> int:
    """Rehearse every situation on the machine of the single path; the table's exit code."""
    from simkit.parameters.reading import noting
    from simkit.studies.all_faults import study as all_faults
    from simkit.studies.inputs.loading import load_machine
    from simkit.studies.output.report_place import check_target

    if len(paths) != 1:
        raise InputError([Problem("--all-faults", None, "", "", "goes with one machine file")])
    with noting() as opened:
        machine = load_machine(paths[0], overrides)
    folder = out or Path("reports") / f"{machine.model.name}-all-faults"
    check_target(folder, mark=MARK)
    started = time.perf_counter()
    rows = _rows(machine, order, quiet)
    result = all_faults.document(machine, rows, time.perf_counter() - started)
    folder = _write(folder, machine, result, opened, overrides)
    return tell(result, lambda _: print(*map(line, rows), sep="\n"), folder, as_json, quiet)


def line(row: "Row") -> str:
    """One row of the table for a terminal."""
    from simkit.studies.all_faults.page import WORDS, margin_words

    words = f"{row.name:26} {WORDS[row.verdict]:25}"
    if row.verdict == "not_here":
        return f"{words} {row.reason}"
    margin = "" if row.ratio is None else margin_words(row.ratio)
    when = "" if row.time_s is None else f", {_when(row.time_s)}"
    return f"{words} {margin:>12}  {row.limit_words or row.reason}{when}"


def _when(seconds: float) -> str:
    from simkit.report.text import quantity

    if seconds < 0.0:
        return "before the event"
    return f"after {quantity(seconds, 's')}" if seconds > 0.0 else "in its first cycle"


def _rows(machine: "Loaded[Machine]", order: "Order", quiet: bool) -> list["Row"]:
    from simkit.run.cache import default_store
    from simkit.run.workers import Workers
    from simkit.studies.all_faults.page import WORDS
    from simkit.studies.all_faults.study import Row, table

    with (
        progress_bar("all situations", quiet) as progress,
        Workers(order.settings.jobs) as workers,
    ):

        def heard(row: Row, share: float) -> None:
            if progress:
                progress(share)
            else:
                note(f"{share:4.0%} {row.name}: {WORDS[row.verdict]}", quiet)

        return table(
            machine,
            engine_name=order.engine,
            budget=order.budget,
            store=default_store("cases") if order.cache else None,
            executor=workers,
            heard=heard,
        )


def _write(
    folder: Path,
    machine: "Loaded[Machine]",
    result: dict[str, Any],
    opened: Sequence["Opened"],
    overrides: dict[str, str],
) -> Path:
    from simkit.figures.table import titles
    from simkit.studies.all_faults.page import write_table
    from simkit.studies.all_faults.study import scenario_files
    from simkit.studies.output.folder import report_folder

    again = "".join(f" --set {shlex.quote(f'{k}={v}')}" for k, v in overrides.items())
    command = f"simkit run scenarios/NAME.toml{again}"

    def page(fresh: Path) -> None:
        write_table(fresh, result, titles(), _maps(machine.model), command)
        copied(fresh / "scenarios", machine.file, opened)
        for name, text in scenario_files(machine, MACHINE):
            (fresh / "scenarios" / f"{name}.toml").write_text(text, encoding="utf-8")

    return report_folder(folder, MARK, result, page)


def _maps(machine: "Machine") -> dict[str, str]:
    """The fast model's maps; none where it has no answer, as where gates overlap."""
    from simkit.studies.operating_map.study import figures_of

    try:
        return figures_of(machine)
    except ValueError:
        return {}


def copied(place: Path, machine: Path, opened: Sequence["Opened"]) -> None:
    """The machine file and those it names, in a folder as they lie beside each other: a scenario
    reaches no further than that, wherever the report is put."""
    place.mkdir()
    home = machine.absolute().parent
    for one in opened:
        path = Path(one.path).absolute()
        own = MACHINE if path == machine.absolute() else os.path.relpath(path, home)
        target = place / own
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(one.path, target)
