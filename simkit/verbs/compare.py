"""`simkit compare`: the same rehearsals before and after a change to the machine."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simkit.errors import InputError, Problem
from simkit.verbs.common import cores, json_option, progress_bar, quiet_option, set_option, tell

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.parameters.scenario import Scenario

MARK = "compare.json"


@click.command("compare")
@click.argument("machine", type=click.Path(path_type=Path))
@click.argument("change", type=click.Path(path_type=Path))
@click.option("--scenario", "named", multiple=True, type=click.Path(path_type=Path),
              help="Rehearse this one; as often as wanted. Else those the change file names, "
              "else all beside the machine.")  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Rehearsals at a time.")
@set_option
@json_option
@quiet_option
def command(
    machine: Path,
    change: Path,
    named: tuple[Path, ...],
    out: Path | None,
    jobs: int | None,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Rehearse MACHINE as it is and with each change of the file CHANGE.

    Exit code by the states AFTER the changes, all of them: 0 within the limits checked, 1 one is
    over a limit, 3 one has no verdict.
    """
    from simkit.parameters.change import load_changes
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.rehearsal.settings import Settings
    from simkit.studies.compare import study as compare
    from simkit.studies.compare.changing import scenario_files, variants
    from simkit.studies.compare.words import sentences
    from simkit.studies.inputs.loading import load_machine
    from simkit.studies.output.report_place import check_target

    before = load_machine(machine, overrides)
    changes = load_changes(change)
    made, said = variants(machine, changes, overrides)
    inside = scenario_files(changes)
    scenarios = [_scenario(path) for path in (named or inside or beside(machine))]
    compare.fitting(scenarios, before, made)
    folder = out or Path("reports") / f"compare-{change.stem}"
    check_target(folder, mark=MARK)
    talk = not (quiet or as_json)
    bench = Rehearser(settings=Settings(onsets=False))  # states are compared, not moments
    with progress_bar("compare", not talk) as progress:
        held = compare.rehearsals(before, made, scenarios, bench, jobs or cores(), progress)
    found = compare.Comparison(held, said)
    words = sentences(held)
    result = compare.document(found, before, changes, words)
    _write(folder, found, result)
    return tell(result, _table, folder, as_json, quiet)


def _scenario(path: Path) -> "Loaded[Scenario]":
    from simkit.parameters.load import load_file
    from simkit.parameters.scenario import Scenario

    return load_file(path, Scenario)


def beside(machine: Path) -> list[Path]:
    """Scenario files beside a machine file that name it.

    Errors: InputError when there are none.
    """
    import tomllib

    from simkit.parameters.reading import file_text

    found = []
    for path in sorted(machine.parent.glob("*.toml")):
        try:
            said = tomllib.loads(file_text(path))
        except ValueError:
            continue  # not ours to complain about: the person named the machine only
        if path != machine and said.get("machine") == machine.name:
            found.append(path)
    if not found:
        rule = f"no scenario beside it names {machine.name}"
        raise InputError([Problem(str(machine), None, "", "", rule, "give --scenario FILE")])
    return found


def _write(folder: Path, found: Any, result: dict[str, Any]) -> Path:
    from simkit.studies.compare.page import write_comparison
    from simkit.studies.compare.view import comparison_view
    from simkit.studies.output.folder import report_folder

    return report_folder(
        folder, MARK, result, lambda fresh: write_comparison(fresh, comparison_view(found, result))
    )


def _table(result: dict[str, Any]) -> None:
    from simkit.judge.words import WORDS

    for row in result["results"]:
        print(f"{row['change']:24} {row['scenario']:20} {WORDS[row['after']['verdict']]}")
        print(f"    {row['conclusion']}")
    print(result["reason"])
    if result["note"]:
        print(result["note"])
