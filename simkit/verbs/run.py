"""`simkit run`: simulate, measure, judge, report."""

import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simkit.errors import EngineError, InputError, Problem
from simkit.verbs.common import json_option, note, progress_bar, quiet_option, set_option

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario

CODES = {"within_limits": 0, "over_limit": 1, "no_verdict": 3}


@dataclass(frozen=True)
class Options:
    """What the command line asked for, beside the scenario."""

    csv: bool
    whole: bool
    jobs: int
    time_limit: float
    """[s]"""
    talk: bool
    """Whether to print for people."""
    progress: bool


@click.command("run")
@click.argument("scenarios", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Circuit runs at a time.")
@click.option("--whole", is_flag=True, help="Run the circuit through the whole event.")
@click.option("--csv", is_flag=True, help="Leave waveforms.csv too.")
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0, min_open=True),
    default=600.0,
    show_default=True,
    help="Seconds one engine run may take.",
)
@set_option
@json_option
@quiet_option
def command(
    scenarios: tuple[Path, ...],
    out: Path | None,
    jobs: int | None,
    whole: bool,
    csv: bool,
    time_limit: float,
    overrides: dict[str, str],
    as_json: bool,
    quiet: bool,
) -> int:
    """Rehearse SCENARIOS; exit 0 within the limits checked, 1 over a limit, 3 no verdict."""
    from simkit.studies.loading import load_scenario

    if out is not None and len(scenarios) > 1:
        raise InputError([Problem("--out", None, "", "", "goes with a single scenario")])
    options = Options(csv, whole, jobs or cores(), time_limit, not as_json, not (quiet or as_json))
    loaded = [load_scenario(path, overrides) for path in scenarios]
    results = [
        one(scenario, machine, out or Path("reports") / scenario.model.name, options)
        for scenario, machine in loaded
    ]
    if out is None:
        _index(Path("reports"))
    if as_json:
        print(json.dumps(results[0] if len(results) == 1 else results, indent=1))
    return max((CODES[r["verdict"]] for r in results), key=_gravity)


def _index(reports: Path) -> None:
    """Renew the index of the common folder of reports; without one there is nothing to list."""
    from simkit.judge.quantities import QUANTITIES
    from simkit.report.index import write_index

    if reports.is_dir():
        write_index(reports, {key: words.title for key, words in QUANTITIES.items()})


def cores() -> int:
    """Cores this process may use."""
    import os

    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else os.cpu_count() or 1


def _gravity(code: int) -> int:
    # No verdict outweighs over a limit, which outweighs within limits.
    return {0: 0, 1: 1, 3: 2}[code]


def one(
    scenario: "Loaded[Scenario]", machine: "Loaded[Machine]", folder: Path, options: Options
) -> dict[str, Any]:
    """Rehearse one scenario and leave its folder; the result document."""
    from simkit.judge.verdict import WORDS
    from simkit.run.backend import Budget
    from simkit.studies.event import Settings
    from simkit.studies.results import document, write_folder
    from simkit.studies.unanswered import unanswered
    from simkit.studies.workbench import Workbench

    workbench = Workbench(
        budget=Budget(wall=options.time_limit, cpu=1.5 * options.time_limit),
        settings=Settings(whole=options.whole, jobs=options.jobs),
    )
    name = scenario.model.name
    started = time.perf_counter()
    try:
        with progress_bar(name, not options.progress) as progress:
            rehearsal = workbench.rehearse(machine.model, scenario.model, progress)
    except EngineError as error:
        result = unanswered(scenario, machine, error, time.perf_counter() - started)
        if options.talk:
            print(f"{name}: {WORDS['no_verdict']}. {result['reason']}")
        return result
    result = document(rehearsal, machine, scenario, time.perf_counter() - started)

    def report(fresh: Path) -> None:
        from simkit.report.html import write_report
        from simkit.studies.view import report_view

        write_report(fresh, report_view(rehearsal, result, machine))

    folder = write_folder(folder, rehearsal, result, report, options.csv)
    if options.talk:
        print(f"{name}: {WORDS[result['verdict']]}. {result['reason']}")
        print(f"report: {folder / 'index.html'}")
    note(f"{time.perf_counter() - started:.1f} s in all", not options.progress)
    return result
