"""`simkit run`: simulate, measure, judge, report."""

import json
import time
from pathlib import Path

import click

from simkit.errors import EngineError, InputError, Problem
from simkit.verbs.common import json_option, note, progress_bar, quiet_option, set_option

CODES = {"within_limits": 0, "over_limit": 1, "no_verdict": 3}


@click.command("run")
@click.argument("scenarios", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--csv", is_flag=True, help="Leave waveforms.csv too.")
@click.option(
    "--time-limit", type=click.FloatRange(min=0.0, min_open=True), default=600.0,
    show_default=True, help="Seconds one engine run may take.",
)
@set_option
@json_option
@quiet_option
def command(
    scenarios: tuple[Path, ...],
    out: Path | None,
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
    loaded = [load_scenario(path, overrides) for path in scenarios]
    results = []
    for scenario, machine in loaded:
        folder = out or Path("reports") / scenario.model.name
        results.append(_one(scenario, machine, folder, csv, time_limit, as_json, quiet))
    if as_json:
        print(json.dumps(results[0] if len(results) == 1 else results, indent=1))
    return max((CODES[r["verdict"]] for r in results), key=_gravity)


def _gravity(code: int) -> int:
    # No verdict outweighs over a limit, which outweighs within limits.
    return {0: 0, 1: 1, 3: 2}[code]


def _one(scenario, machine, folder, csv, time_limit, as_json, quiet):  # type: ignore[no-untyped-def]
    from simkit.judge.verdict import WORDS
    from simkit.run.backend import Budget
    from simkit.run.process import NgspiceEngine
    from simkit.studies.event import rehearse
    from simkit.studies.results import document, write_folder
    from simkit.studies.unanswered import unanswered

    engine, budget = NgspiceEngine(), Budget(wall=time_limit, cpu=1.5 * time_limit)
    started = time.perf_counter()
    try:
        with progress_bar(scenario.model.name, quiet or as_json) as progress:
            rehearsal = rehearse(
                machine.model,
                scenario.model,
                lambda deck, report: engine.run(deck.text, deck.saved, deck.stop, budget, report),
                progress,
            )
    except EngineError as error:
        result = unanswered(scenario, machine, error, time.perf_counter() - started)
        if not as_json:
            print(f"{scenario.model.name}: {WORDS['no_verdict']}. {result['reason']}")
        return result
    result = document(rehearsal, machine, scenario, time.perf_counter() - started)

    def report(fresh: Path) -> None:
        from simkit.report.html import write_report
        from simkit.studies.view import report_view

        write_report(fresh, report_view(rehearsal, result, machine))

    folder = write_folder(folder, rehearsal, result, report, csv)
    if not as_json:
        print(f"{scenario.model.name}: {WORDS[result['verdict']]}. {result['reason']}")
        print(f"report: {folder / 'index.html'}")
    note(f"{result['numerics']['total_seconds']:.1f} s in all", quiet or as_json)
    return result
