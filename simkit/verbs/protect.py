"""`simkit protect`: what would have prevented an overstress, each cure verified by circuit runs."""

from pathlib import Path
from typing import Any

import click

from simkit.verbs.common import (
    cache_option,
    cores,
    json_option,
    progress_bar,
    quiet_option,
    set_option,
    tell,
    workers,
)

MARK = "protect.json"


@click.command("protect")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Rehearsals at a time.")
@set_option
@cache_option
@json_option
@quiet_option
def command(
    scenario: Path,
    out: Path | None,
    jobs: int | None,
    overrides: dict[str, str],
    no_cache: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Search for what prevents the overstress in SCENARIO.

    Exit code: 0 when a cure keeps every limit, or nothing needs one; 1 when none does; 3 when
    there is no verdict without any cure.
    """
    from simkit.run.cache import default_store
    from simkit.studies.inputs.loading import load_scenario
    from simkit.studies.output.report_place import check_target
    from simkit.studies.protect.result import document
    from simkit.studies.protect.study import Searcher

    loaded, machine = load_scenario(scenario, overrides)
    folder = out or Path("reports") / f"protect-{loaded.model.name}"
    check_target(folder, mark=MARK)
    store = None if no_cache else default_store("cases")
    talk = not (quiet or as_json)
    with progress_bar("protect", not talk) as progress, workers(None, jobs or cores()) as crew:
        found = Searcher(crew, store, progress).protect(machine.model, loaded.model)
    result = document(found, loaded, machine)
    _write(folder, found, result)
    return tell(result, _table, folder, as_json, quiet)


def _write(folder: Path, found: Any, result: dict[str, Any]) -> Path:
    from simkit.studies.output.folder import report_folder
    from simkit.studies.protect.page import write_protection
    from simkit.studies.protect.view import protect_view

    return report_folder(
        folder, MARK, result, lambda fresh: write_protection(fresh, protect_view(found, result))
    )


def _table(result: dict[str, Any]) -> None:
    base = result["without"]
    if result["cures"]:
        print(f"  {'':4} {'as it is':55} {'':55} {_share(base['worst_ratio'])}")
    for row in result["cures"]:
        kept = "some" if row["cured"] else "no"
        kept = "yes" if row["verdict"] == "within_limits" else kept
        print(f"  {kept:4} {row['title']:55} {row['amount']:55} {_share(row['worst_ratio'])}")
    if result["cures"]:
        print("  (yes: every limit kept; some: some of what was over; last: its worst share)")
    print(result["reason"])
    if result["clamp"]:
        print(result["clamp"])


def _share(worst: float | None) -> str:
    return "not evaluated" if worst is None else f"{worst:.2f}"
