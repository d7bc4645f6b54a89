"""A scenario with its machine, loaded and held against each other."""

from collections.abc import Mapping
from pathlib import Path

from simkit.errors import InputError, Problem
from simkit.parameters.load import Loaded, load_file
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Event, Scenario
from simkit.parameters.written import MachineFile

MOVES = {"pull-out": "load", "drop-in": "load", "frequency": "frequency", "supply": "voltage"}
"""What each kind of event changes; two events on the same thing may not overlap."""


def load_machine(path: Path, overrides: Mapping[str, str] | None = None) -> Loaded[Machine]:
    """A machine file, with all that follows from its part files and geometry worked out.

    Errors: InputError with every problem found, `build`'s included.
    """
    from simkit.parts.build import build

    return build(load_file(path, MachineFile, overrides or {}))


def load_scenario(
    path: Path, overrides: Mapping[str, str] | None = None
) -> tuple[Loaded[Scenario], Loaded[Machine]]:
    """A scenario and the machine it names; overrides go to the machine.

    Errors: InputError for either file, and for a scenario that does not fit its machine.
    """
    scenario = load_file(path, Scenario)
    machine = load_machine(path.parent / scenario.model.machine, overrides)
    problems = list(misfits(scenario, machine.model))
    if problems:
        raise InputError(problems)
    return scenario, machine


def misfits(scenario: Loaded[Scenario], machine: Machine) -> list[Problem]:
    """Everything in a scenario that its machine cannot do."""
    from simkit.circuit.timeline import timeline

    model = scenario.model
    found = _unknown_loads(scenario, machine)
    if found:
        return found
    load = model.start.load
    until = dict.fromkeys(MOVES.values(), 0.0)
    line = timeline(machine, model)
    for k, event in sorted(enumerate(model.events), key=lambda pair: pair[1].at):
        field = f"events.{k}"
        if event.kind == "pull-out" and load == "empty":
            found.append(
                _problem(
                    scenario, f"{field}.kind", event.kind, "nothing is in the coil to pull out"
                )
            )
        if event.kind == "drop-in" and load != "empty":
            found.append(
                _problem(
                    scenario,
                    f"{field}.kind",
                    event.kind,
                    f"{load} is still in the coil; pull it out first",
                )
            )
        thing = MOVES[event.kind]
        if event.at < until[thing] - 1e-12:
            found.append(
                _problem(
                    scenario,
                    f"{field}.at",
                    f"{event.at:g} s",
                    f"the {thing} is still changing from the event before",
                )
            )
        until[thing] = event.at + _length(machine, event, load)
        load = {"pull-out": "empty", "drop-in": event.load or load}.get(event.kind, load)
    frequencies = [line.frequency.first, *(c.after for c in line.frequency.changes)]
    for frequency in frequencies:
        if not machine.drive.frequency_min <= frequency <= machine.drive.frequency_max:
            rule = (
                f"the drive reaches {machine.drive.frequency_min / 1e3:g} to "
                f"{machine.drive.frequency_max / 1e3:g} kHz (drive.frequency_min, frequency_max)"
            )
            found.append(
                _problem(
                    scenario,
                    "start.frequency" if frequency == frequencies[0] else "events",
                    f"{frequency / 1e3:.5g} kHz",
                    rule,
                )
            )
    return found


def _length(machine: Machine, event: Event, load: str) -> float:
    from simkit.circuit.timeline import event_duration

    return event_duration(machine, event, load)


def _unknown_loads(scenario: Loaded[Scenario], machine: Machine) -> list[Problem]:
    import difflib

    known = ["empty", *machine.workpieces]
    named = [
        ("start.load", scenario.model.start.load),
        ("start.margin_of", scenario.model.start.margin_of),
    ]
    named += [(f"events.{k}.load", e.load) for k, e in enumerate(scenario.model.events)]
    found = []
    for field, name in named:
        if name is None or name in known:
            continue
        near = difflib.get_close_matches(name, known, 1)
        hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"
        found.append(_problem(scenario, field, name, "the machine has no such workpiece", hint))
    for k, event in enumerate(scenario.model.events):
        if event.kind == "drop-in" and event.load == "empty":
            found.append(
                _problem(scenario, f"events.{k}.load", "empty", "a drop-in needs a workpiece")
            )
    return found


def _problem(
    scenario: Loaded[Scenario], field: str, value: str, rule: str, hint: str = ""
) -> Problem:
    origin = scenario.origins.get(field)
    line = origin.line if origin else scenario.line_of(field)
    return Problem(str(scenario.file), line, field, value, rule, hint)
