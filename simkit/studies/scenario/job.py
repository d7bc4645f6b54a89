"""A rehearsal as plain data, so that any worker may do it and what it came to can be kept."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from simkit.errors import EngineError, EngineTimeout
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.result.plain import plain
from simkit.run.backend import Budget
from simkit.run.engines import engine


def job_of(
    machine: Machine, scenario: Scenario, engine_name: str, budget: Budget
) -> dict[str, Any]:
    """What a worker needs to rehearse a scenario."""
    return {
        "machine": machine.model_dump(mode="json", exclude_none=True),
        "scenario": scenario.model_dump(mode="json", exclude_none=True),
        "engine": engine_name,
        "budget": asdict(budget),
    }


def worked(
    job: Mapping[str, Any], tell: Callable[[Rehearsal], Mapping[str, Any]]
) -> dict[str, Any]:
    """What `tell` makes of the rehearsal, as plain data; runs in a worker.

    "no_verdict" and the reason when the engine has no answer; "timed_out" says that it ran out of
    time, which another machine need not.
    """
    machine = Machine.model_validate(job["machine"])
    scenario = Scenario.model_validate(job["scenario"])
    bench = Rehearser(engine(job["engine"]), Budget(**job["budget"]), Settings(every_figure=False))
    try:
        told: dict[str, Any] = plain(tell(bench.rehearse(machine, scenario)))
    except EngineError as error:
        timed_out = isinstance(error, EngineTimeout)
        return {"verdict": "no_verdict", "reason": error.reason, "timed_out": timed_out}
    return told | {"timed_out": False}
