"""`simkit map`: many cases of a scenario, parallel; how often limits are exceeded, and where."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

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

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine
    from simkit.studies.maps.study import Mapped

MARK = "map.json"
CASES = 128
"""Cases of a sample when nothing says how many [1]."""


@click.command("map")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--vary", multiple=True, metavar="KEY=RANGE",
              help="Vary this too, or otherwise: KEY='5 %', KEY='5 % normal', "
              "KEY='0.4 us..1 us/9'; KEY+KEY='5 %' together.")  # fmt: skip
@click.option("--only", is_flag=True, help="Vary only what --vary names.")
@click.option("--sample", type=click.Choice(["full", "latin-hypercube", "sobol"]),
              help="full: every combination of the steps.")  # fmt: skip
@click.option("--cases", type=click.IntRange(1, 1_000_000), help="Cases of a sample.")
@click.option("--full", "all_full", is_flag=True, help="Every case by circuit runs.")
@click.option("--refine", type=click.IntRange(0, 6), default=2, show_default=True,
              help="How often the boundary's cells are split, on a map of two.")  # fmt: skip
@click.option("--gate-resistor", is_flag=True,
              help="SCENARIO is a machine: sweep its gate resistor, suggest a band.")  # fmt: skip
@click.option("--scheduler", metavar="ADDRESS", help="Run the cases on this dask cluster.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the report.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Cases at a time.")
@set_option
@cache_option
@json_option
@quiet_option
def command(
    scenario: Path,
    vary: tuple[str, ...],
    only: bool,
    sample: str | None,
    cases: int | None,
    all_full: bool,
    refine: int,
    gate_resistor: bool,
    scheduler: str | None,
    out: Path | None,
    jobs: int | None,
    overrides: dict[str, str],
    no_cache: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Map SCENARIO over what varies in it: tolerances of the machine file, its [map], --vary.

    Exit code: 1 when any case is over a limit, else 3 when any has no verdict, else 0. Cases are
    kept: a larger sample continues a smaller one, and a map that was stopped carries on.

    With --gate-resistor: nine resistances, a tenth to ten times a machine's own, each in a settled
    circuit run; exit code of the machine's own.
    """
    if gate_resistor:
        from simkit.verbs.gate_resistor import refuse, run_sweep

        refuse({"vary": vary, "only": only, "sample": sample, "cases": cases, "full": all_full})
        return run_sweep(scenario, overrides, out, jobs, scheduler, cache=not no_cache,
                         as_json=as_json, quiet=quiet)  # fmt: skip
    from simkit.parameters.varying import MapPlan, parse_vary
    from simkit.run.cache import default_store
    from simkit.studies.inputs.loading import load_scenario
    from simkit.studies.maps.space import space_of
    from simkit.studies.maps.study import Mapper
    from simkit.studies.output.report_place import check_target

    asked = [parse_vary(text) for text in vary]
    loaded, machine = load_scenario(scenario, overrides)
    plan = loaded.model.map or MapPlan()
    if only:
        plan = MapPlan(sample=plan.sample, cases=plan.cases, tolerances=False)

    def rebuilt(more: Mapping[str, str]) -> "Machine":
        return load_scenario(scenario, {**overrides, **more})[1].model

    space = space_of(machine, loaded, plan, asked, rebuilt)
    kind = sample or plan.sample
    folder = out or Path("reports") / f"map-{loaded.model.name}"
    check_target(folder, mark=MARK)
    talk = not (quiet or as_json)
    store = None if no_cache else default_store("cases")
    with progress_bar("map", not talk) as progress, workers(scheduler, jobs or cores()) as crew:
        mapper = Mapper(space, crew, store, progress)
        found = mapper.run(kind, cases or plan.cases or CASES, all_full)
        cells: Any = ()
        if kind == "full" and len(space.axes) == 2:
            from simkit.studies.maps.boundary import refined

            cells, found = refined(mapper, found, refine)
    arguments = [*(f"--vary={text}" for text in vary), *(["--only"] if only else []),
                 f"--sample={kind}"]  # fmt: skip
    return _told(found, cells, (loaded, machine), arguments, folder, as_json, quiet)


def _told(
    found: "Mapped", cells: Any, files: Any, arguments: list[str], folder: Path,
    as_json: bool, quiet: bool,
) -> int:  # fmt: skip
    from simkit.studies.maps.result import document

    scenario, machine = files
    result = document(found, cells, scenario, machine)
    _write(folder, found, cells, result, arguments)
    return tell(result, _table, folder, as_json, quiet)


def _write(
    folder: Path, found: "Mapped", cells: Any, result: dict[str, Any], arguments: list[str]
) -> Path:
    from simkit.studies.maps.page import write_map
    from simkit.studies.maps.result import write_cases
    from simkit.studies.maps.view import map_view
    from simkit.studies.output.folder import report_folder

    def page(fresh: Path) -> None:
        write_cases(fresh / "cases.csv", found)
        write_map(fresh, map_view(found, cells, result, arguments))

    return report_folder(folder, MARK, result, page)


def _table(result: dict[str, Any]) -> None:
    from simkit.figures.table import full_name
    from simkit.report.text import percent

    for name, chance in (result["probabilities"] or {}).items():
        if chance["over"] or chance["undecided"]:
            words = name if name == "any limit" else full_name(name)
            low, high = percent(chance["low"], 2), percent(chance["high"], 2)
            print(f"  {words:60} {100 * chance['value']:6.2f} %  ({low} to {high})")
    for weight in sorted(result["importance"], key=lambda w: -(w["total"] or 0.0)):
        if weight["total"] is not None:
            print(f"  {weight['name']:60} {100 * weight['total']:5.1f} % of the variance")
    print(result["reason"])
