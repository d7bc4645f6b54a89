"""The netlist of a scenario as it is handed over: that of the whole run, for any ngspice.

It is the deck that `run --whole` begins with: switches at the temperature their own loss makes,
started in the way that the engine takes, followed as far after the last event as a rise would be
seen. What plain `ngspice -b` needs in order to say something, measurements, stands at its end.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck, machine_deck
from simkit.errors import EngineError
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.warming import warmed_machine
from simkit.rehearsal.driving import driven_line, whole_line
from simkit.rehearsal.job import RUN_IN, WORKING, DoorRunner, Job
from simkit.rehearsal.ladder import LADDER
from simkit.rehearsal.rehearse import planned
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.warming import expected

TRIED = 1.5
"""Cycles in which a start that the engine does not take has failed [1]: it does so at once."""
MEASURED = (
    ("tank_voltage_max", "max v(x)"), ("tank_voltage_min", "min v(x)"),
    ("link_voltage_max", "max v(link)"), ("link_voltage_min", "min v(link)"),
    ("channel_current_max", "max @m.xq1.m1[id]"),
)  # fmt: skip
"""What plain `ngspice -b` prints of a whole run; it runs nothing without such a line."""


@dataclass(frozen=True)
class Exported:
    """A netlist to hand over."""

    deck: Deck
    """As the engine is given it, and measurements."""
    junction: float | None
    """Temperature that the switches are taken at [degC]; None where they say nothing of it."""
    note: str
    """How that and the start were found."""


def scenario_deck(machine: Machine, scenario: Scenario, analysis: Analysis = WORKING) -> Deck:
    """Deck of the whole run of a scenario with the switches as the machine has them."""
    line = driven_line(machine, scenario)
    part = whole_line(line).stretch(-RUN_IN / line.frequency.first, line.end)
    return machine_deck(machine, part, scouted(machine, line).seed(part.begin), analysis)


def exported(machine: Machine, scenario: Scenario, runner: DoorRunner | None) -> Exported:
    """The netlist of a scenario's whole run; without an engine, as far as the fast model knows it.

    Errors: EngineError when the engine takes none of its starts.
    """
    if runner is None:
        return _unasked(machine, scenario)
    job, warm = planned(machine, scenario, runner)
    part, seed, _ = job.whole_part()
    name, change = _taken(job, runner)
    deck = machine_deck(job.machine, part, seed, change(WORKING))
    at = warm.switch_at_c if warm else None
    return Exported(replace(deck, text=measured(deck.text)), at, f"tried by the engine: {name}")


def _taken(job: Job, runner: DoorRunner) -> tuple[str, Callable[[Analysis], Analysis]]:
    """The first rung of the ladder whose start the engine takes."""
    part, seed, _ = job.whole_part()
    short = replace(part, stop=part.begin + TRIED / part.frequency.first)
    last: EngineError | None = None
    for name, change in LADDER:
        try:
            runner(machine_deck(job.machine, short, seed, change(WORKING)), None)
            return name, change
        except EngineError as error:
            if not error.retry:
                raise
            last = error
    assert last is not None
    raise last


def _unasked(machine: Machine, scenario: Scenario) -> Exported:
    line, at = driven_line(machine, scenario), None
    if machine.switch.warming is not None:
        at = min(expected(machine, line), machine.switch.ratings.junction_temperature)
        machine = warmed_machine(machine, at)
    # Nodes from zero: not every channel takes its voltages, and nobody has tried this one.
    deck = scenario_deck(machine, scenario, replace(WORKING, start_nodes=False))
    return Exported(replace(deck, text=measured(deck.text)), at, "not tried by an engine")


def measured(text: str) -> str:
    """A deck's text with the measurements that plain `ngspice -b` prints."""
    head, end, _ = text.rpartition(".end")
    return f"{head}{chr(10).join(_lines())}\n{end}\n"


def _lines() -> Iterator[str]:
    yield "* what plain ngspice -b prints; all above is the deck that the engine is given"
    for name, what in MEASURED:
        yield f".meas tran {name} {what}"
