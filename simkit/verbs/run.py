"""`simkit run`: simulate, measure, judge, report."""

import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simkit.errors import InputError, Problem
from simkit.verbs.common import (
    CODES,
    cache_option,
    caution,
    cores,
    json_option,
    note,
    progress_bar,
    quiet_option,
    set_option,
)

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.studies.scenario.study import Answer, Order

ENGINES = ("ngspice", "neospice")
"""As run/engines.py knows them; that module is not for a start that only prints help."""


@dataclass(frozen=True)
class Voice:
    """What is said beside the result."""

    talk: bool
    """Whether to print for people."""
    progress: bool


@click.command("run")
@click.argument("scenarios", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Circuit runs at a time.")
@click.option("--whole", is_flag=True, help="Run the circuit through the whole event.")
@click.option(
    "--all-faults", is_flag=True, help="Every known situation on the MACHINE file given instead."
)
@click.option("--csv", is_flag=True, help="Leave waveforms.csv too.")
@click.option("--no-advice", is_flag=True, help="Over a limit, do not search for what to change.")
@click.option("--keep-power", metavar="SHARE", help="Least share of the power that advice keeps, "
              'e.g. "90 %".')  # fmt: skip
@click.option(
    "--no-tolerance", is_flag=True, help="Leave out what the files' tolerances make of the verdict."
)
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0, min_open=True),
    default=600.0,
    show_default=True,
    help="Seconds one engine run may take.",
)
@click.option(
    "--engine",
    type=click.Choice(ENGINES),
    default="ngspice",
    show_default=True,
    help="What runs the circuit.",
)
@click.option(
    "--second-opinion", is_flag=True, help="Repeat what decides on another engine; the differences."
)
@set_option
@cache_option
@json_option
@quiet_option
def command(
    scenarios: tuple[Path, ...],
    out: Path | None,
    jobs: int | None,
    whole: bool,
    all_faults: bool,
    csv: bool,
    no_tolerance: bool,
    no_advice: bool,
    keep_power: str | None,
    time_limit: float,
    engine: str,
    second_opinion: bool,
    overrides: dict[str, str],
    no_cache: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Rehearse SCENARIOS; exit 0 within the limits checked, 1 over a limit, 3 no verdict."""
    from simkit.rehearsal.settings import Settings
    from simkit.run.backend import Budget
    from simkit.studies.scenario.study import Order, recalled

    if out is not None and len(scenarios) > 1:
        raise InputError([Problem("--out", None, "", "", "goes with a single scenario")])
    order = Order(
        settings=Settings(whole=whole, jobs=jobs or cores()),
        budget=Budget(wall=time_limit, cpu=1.5 * time_limit),
        engine=engine,
        second_opinion=second_opinion,
        cache=not no_cache,
        csv=csv,
        tolerance=not no_tolerance,
        advice=not (no_advice or all_faults),
    )
    if keep_power is not None:
        overrides = overrides | {"goal.keep_power": keep_power}
    if all_faults:
        from simkit.verbs.all_faults import run_all

        return run_all(scenarios, overrides, out, order, as_json=as_json, quiet=quiet)
    voice = Voice(talk=not as_json, progress=not quiet)
    found = [recalled(path, overrides, out, order) for path in scenarios]
    if any(answer is None for answer in found):
        results = _loaded(scenarios, overrides, out, order, voice)
    else:
        results = [said(name, answer, voice) for name, answer in filter(None, found)]
    if out is None:
        _index(Path("reports"))
    if as_json:
        print(json.dumps(results[0] if len(results) == 1 else results, indent=1))
    else:
        caution()
    return max((CODES[r["verdict"]] for r in results), key=_gravity)


def _loaded(
    scenarios: tuple[Path, ...],
    overrides: dict[str, str],
    out: Path | None,
    order: "Order",
    voice: Voice,
) -> list[dict[str, Any]]:
    """Load every scenario, so that nothing runs while one is wrong; then rehearse them."""
    from simkit.parameters.reading import noting
    from simkit.studies.inputs.loading import load_scenario
    from simkit.studies.output.report_place import check_target
    from simkit.studies.scenario.study import remember

    loaded, opened = [], []
    for path in scenarios:
        with noting() as files:
            loaded.append(load_scenario(path, overrides))
        opened.append(files)
    folders = [out or Path("reports") / scenario.model.name for scenario, _ in loaded]
    for folder in folders:
        check_target(folder)
    results = []
    for path, (scenario, machine), files, folder in zip(
        scenarios, loaded, opened, folders, strict=True
    ):
        results.append(one(scenario, machine, folder, order, voice))
        if order.cache:
            remember(path, overrides, files, scenario, machine)
    return results


def _index(reports: Path) -> None:
    """Renew the index of the common folder of reports; without one there is nothing to list."""
    from simkit.figures.table import titles
    from simkit.report.index import write_index

    if reports.is_dir():
        write_index(reports, titles())


def _gravity(code: int) -> int:
    # No verdict outweighs over a limit, which outweighs within limits.
    return {0: 0, 1: 1, 3: 2}[code]


def one(
    scenario: "Loaded[Scenario]",
    machine: "Loaded[Machine]",
    folder: Path,
    order: "Order",
    voice: Voice,
) -> dict[str, Any]:
    """Rehearse one scenario, or find it rehearsed, and leave its folder; the result document."""
    from simkit.studies.scenario.study import rehearsed

    name = scenario.model.name
    started = time.perf_counter()
    if voice.progress and machine.model.switch.model is not None:
        from simkit.studies.part.dearness import dear

        if said_first := dear(machine.model):
            note(f"note: {said_first}", quiet=False)
    with progress_bar(name, not voice.progress) as progress:
        answer = rehearsed(scenario, machine, folder, order, progress)
    said(name, answer, voice)
    note(f"{time.perf_counter() - started:.1f} s in all", not voice.progress)
    return answer.result


def first_limit(result: dict[str, Any]) -> str:
    """What is at its limit first if the last state goes on; empty where nothing is."""
    from simkit.units import format_quantity

    for part in result.get("if_it_went_on") or ():
        seconds = part["time_to_limit_s"]
        if seconds is not None:
            after = f"after {format_quantity(seconds, 's', 3)}" if seconds else "by the end of it"
            return f"if the last state goes on: {part['part']} at its limit {after}"
    return ""


def said(name: str, answer: "Answer", voice: Voice) -> dict[str, Any]:
    """Say what became of a scenario; its result."""
    from simkit.judge.words import WORDS

    if voice.talk:
        print(f"{name}: {WORDS[answer.result['verdict']]}. {answer.result['reason']}")
        if (answer.result.get("tolerance") or {}).get("turns"):
            print("this verdict turns within the tolerances")
        if count := len(answer.result.get("unrated") or ()):
            print(f"no rating given for {count} figure{'s' if count > 1 else ''} of parts")
        if line := first_limit(answer.result):
            print(line)
        if advice := answer.result.get("advice_note"):
            print(f"advice: {advice}")
        if answer.folder:
            print(f"report: {answer.folder / 'index.html'}")
    if answer.cached:
        made = answer.result["cache"]["made"]
        note(f"from the cache, where it was put on {made}; --no-cache runs it anew",
             not voice.progress)  # fmt: skip
    return answer.result
