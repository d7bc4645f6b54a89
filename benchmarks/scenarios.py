"""What the benchmarks rehearse, built from the shipped machines."""

from __future__ import annotations

from typing import Any

from simkit.data import scenario_folder
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.inputs.loading import load_machine, load_scenario

CHISEL, CRUCIBLE = "chisel-brazing", "copper-casting"


def machine(name: str) -> Machine:
    """A shipped machine."""
    return load_machine(scenario_folder() / name / "machine.toml").model


def shipped(name: str, scenario: str) -> Scenario:
    """A shipped scenario."""
    return load_scenario(scenario_folder() / name / f"{scenario}.toml")[0].model


def shaken(scenario: Scenario, seconds: float = 2e-3) -> Scenario:
    """The same with every piece that moves out or in within so long [s]: short enough to be run
    whole, and slow against the tank all the same."""
    data = scenario.model_dump(exclude_none=True)
    for event in data["events"]:
        if event.pop("speed", None) is not None:
            event["duration"] = seconds
    return Scenario.model_validate(data)


def pull_out(settled: float, duration: float, tail: float) -> Scenario:
    """The shipped shank shaken loose, with other times [s]."""
    data = shipped(CHISEL, "pull-out-shaken").model_dump(exclude_none=True)
    data["start"]["settled"], data["tail"] = settled, tail
    data["events"][0]["duration"] = duration
    return Scenario.model_validate(data)


def long_pull_out() -> Scenario:
    """The pull-out of figure 1: 5 ms, about 400 cycles."""
    return pull_out(settled=0.5e-3, duration=2.5e-3, tail=2.0e-3)


def steady(load: str, **start: Any) -> Scenario:
    """Half a millisecond at one point, nothing happening."""
    begin = {"load": load, "settled": 0.25e-3, **start}
    return Scenario.model_validate(
        {"name": "steady", "title": "", "machine": "machine.toml", "tail": 0.25e-3, "start": begin}
    )
