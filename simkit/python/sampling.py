"""Many cases of a scenario as a table: how often limits are exceeded, and where."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.studies.maps.study import Mapped


def mapped(
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
    vary: Sequence[str],
    cases: int,
    sample: str | None,
    jobs: int | None,
) -> pandas.DataFrame:
    """Cases over what varies: the file's tolerances and [map], or only what `vary` names.

    `vary` as on the command line: `"drive.dead_time=0.4 us..1 us/9"`.
    Errors: InputError for a key or range that cannot be varied.
    """
    from simkit.parameters.varying import MapPlan, parse_vary
    from simkit.run.cache import default_store
    from simkit.run.workers import Workers
    from simkit.studies.maps.space import space_of
    from simkit.studies.maps.study import Mapper
    from simkit.verbs.common import cores

    plan = scenario.model.map or MapPlan()
    if vary:
        plan = MapPlan(sample=plan.sample, cases=plan.cases, tolerances=False)
    space = space_of(machine, scenario, plan, [parse_vary(text) for text in vary])
    with Workers(jobs or cores()) as crew:
        found = Mapper(space, crew, default_store("cases"), None).run(
            sample or plan.sample, cases, False
        )
    return case_table(found)


def case_table(found: Mapped) -> pandas.DataFrame:
    """A row per case: what was varied, the verdict, how it was had, each share of a limit [1]."""
    import pandas

    names = [axis.name for axis in found.space.axes]
    rows = [
        {**dict(zip(names, p.values, strict=True)), "verdict": p.outcome, "method": p.method,
         "worst_share": p.worst, **p.ratios}
        for p in found.points
    ]  # fmt: skip
    frame = pandas.DataFrame(rows)
    frame.attrs["units"] = dict.fromkeys(names, "SI unit of the key") | {
        n: "1" for n in frame.columns if n not in (*names, "verdict", "method")
    }
    return frame
