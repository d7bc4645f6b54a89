"""The verdict of a pull-out against the workpiece's temperature: one line each, as Markdown.

`python -m benchmarks.pull_out_temperature`, two minutes on two cores.
"""

from pathlib import Path

from simkit.errors import EngineError
from simkit.judge.verdict import leading
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.settings import Settings
from simkit.studies.inputs.loading import load_scenario

SCENARIO = Path(__file__).resolve().parents[1] / "scenarios/bar-heating/pull-out-temperature.toml"
KEY = "workpieces.cold-bar.geometry.temperature"
TEMPERATURES = (20, 300, 600, 700, 740, 760, 780, 1000)
"""Closer below the Curie point, where L and R change most [degC]."""


def line(celsius: float) -> str:
    """One row of the table."""
    scenario, machine = load_scenario(SCENARIO, {KEY: f"{celsius:g} degC"})
    load = machine.model.load("cold-bar")
    row = f"| {celsius:g} | {load.inductance * 1e6:.4g} | {load.resistance * 1e3:.3g} |"
    try:
        found = Rehearser(settings=Settings(jobs=2)).rehearse(machine.model, scenario.model)
    except EngineError as error:
        return f"{row} no verdict | {error.reason[:60]} | |"
    first = leading(found.rows)
    closest = max((r for r in found.rows if r.ratio is not None), key=lambda r: r.ratio or 0.0)
    shown = first or closest
    peak = next(r.value for r in found.rows if r.quantity == "channel_current_peak")
    said = found.verdict.outcome.replace("_", " ")
    return f"{row} {said} | {shown.quantity} {shown.ratio:.2f} | {peak:.3g} |"


if __name__ == "__main__":
    print("| piece, degC | L, uH | R, mohm | verdict | leading limit, share | channel peak, A |")
    print("| --- | --- | --- | --- | --- | --- |")
    for one in TEMPERATURES:
        print(line(one), flush=True)
