"""Advice of a run: tried while there is time, told in the result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from simkit.figures.terms import in_terms
from simkit.parameters.machine import Machine
from simkit.result.document import Result
from simkit.run.backend import Budget, Progress
from simkit.run.workers import Workers
from simkit.studies.advice.attempts import Advised
from simkit.studies.advice.study import TOLD, Adviser
from simkit.studies.advice.telling import advice_of, note
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps.cases import row_of

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.rehearsal.findings import Rehearsal
    from simkit.rehearsal.rehearser import Rehearser

MOST = 3
"""Rehearsals beside a run's own [1]. A number, not a time, so that the same files give the same
advice."""
LONGEST = 4.0
"""Times the run's own time that one rehearsal of a change may take [1]; two share the machine."""
LEAST = 60.0
"""The same, at least [s]."""


def with_advice(
    result: Result,
    rehearsal: Rehearsal,
    scenario: Loaded[Scenario],
    machine: Loaded[Machine],
    bench: Rehearser,
    seconds: float,
    progress: Progress | None = None,
) -> Result:
    """The result with what was tried on the run's bench; `seconds`: what the rehearsal took [s].

    Progress begins anew: the rehearsal's own was at its end.
    """
    wall = min(bench.budget.wall, max(LONGEST * seconds, LEAST))
    now = machine.overridden | scenario.overridden

    def rebuilt(changes: Mapping[str, str]) -> tuple[Machine, Scenario]:
        loaded = load_scenario(scenario.file, {**now, **changes})
        return loaded[1].model, loaded[0].model

    adviser = Adviser(
        engine=bench.engine.name,
        whole=bench.settings.whole,
        budget=Budget(wall=wall, cpu=1.5 * wall),
        rebuilt=rebuilt,
        written=frozenset(machine.origins),
        most=MOST,
        progress=progress,
    )
    if progress:
        progress(0.0)
    try:
        with Workers(bench.settings.jobs) as crew:
            adviser.executor = crew if bench.settings.jobs > 1 else None
            found = adviser.advise(machine.model, scenario.model, row_of(rehearsal))
    except Exception as error:  # noqa: BLE001 - the run's own verdict stands without advice
        said = f"the search for it failed: {type(error).__name__}: {error}"
        found = Advised((), 0, scenario.model.goal, said)
    return advised(result, found, machine.model)


def advised(result: Result, found: Advised, machine: Machine) -> Result:
    """The result with the first few of what was tried, and what that comes to in a sentence."""
    listed = tuple(advice_of(a) for a in found.attempts[:TOLD])
    said = in_terms(machine, note(found))
    return replace(result, advice=listed if found.attempts else None, advice_note=said)
