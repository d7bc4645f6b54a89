"""A scenario with its machine, loaded and held against each other."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from simkit.errors import InputError, Problem
from simkit.parameters.instead import Instead, replaced
from simkit.parameters.kinds import instead_of
from simkit.parameters.load import Loaded, digest, load_file
from simkit.parameters.machine import Machine
from simkit.parameters.paths import named_file
from simkit.parameters.scenario import Scenario
from simkit.parameters.written import MachineFile
from simkit.studies.inputs.contradictions import contradictions
from simkit.studies.inputs.loop_fits import loop_misfits

SAID = "replaced by the scenario"


def load_machine(path: Path, overrides: Mapping[str, str] | None = None) -> Loaded[Machine]:
    """A machine file, with all that follows from its part files and geometry worked out.

    Errors: InputError with every problem found, `build`'s included.
    """
    from simkit.parts.build import build

    return build(load_file(path, MachineFile, overrides or {}))


def load_scenario(
    path: Path, overrides: Mapping[str, str] | None = None
) -> tuple[Loaded[Scenario], Loaded[Machine]]:
    """A scenario and the machine it names; overrides go to the file that has the key.

    Errors: InputError for either file, and for a scenario that does not fit its machine.
    """
    ours, theirs = divided(overrides or {})
    scenario = load_file(path, Scenario, ours)
    machine = with_instead(scenario, load_machine(machine_file(path, scenario), theirs))
    problems = list(misfits(scenario, machine.model))
    if problems:
        raise InputError(problems)
    return _with_warnings(scenario, machine.model), machine


SCENARIO_TABLES = ("start", "goal")
"""Tables of a scenario file whose values may be overridden; no machine file has them."""


def divided(overrides: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Overrides of the scenario's values, and of the machine's."""
    ours = {k: v for k, v in overrides.items() if k.split(".")[0] in SCENARIO_TABLES}
    return ours, {k: v for k, v in overrides.items() if k not in ours}


def _with_warnings(scenario: Loaded[Scenario], machine: Machine) -> Loaded[Scenario]:
    """The scenario with what is to be said of its events."""
    from simkit.circuit.timeline import timeline

    cut = timeline(machine, scenario.model).cut
    said = tuple(
        f"{scenario.file}: {e.name} takes until {e.end * 1e3:.4g} ms, but the run ends before: "
        "no verdict can be within the limits checked; leave `ends` out for the whole event"
        for e in cut
    )
    return replace(scenario, warnings=(*scenario.warnings, *said)) if said else scenario


def machine_file(path: Path, scenario: Loaded[Scenario]) -> Path:
    """The machine file that a scenario file names.

    Errors: InputError at the scenario's line.
    """
    named = scenario.model.machine
    try:
        return named_file(path, named)
    except ValueError as error:
        # Only the scenario's own folder is looked into, wherever the name leads.
        hint = instead_of(path.parent / Path(named).name, MachineFile)
        raise InputError([problem(scenario, "machine", f'"{named}"', str(error), hint)]) from None


def with_instead(scenario: Loaded[Scenario], machine: Loaded[Machine]) -> Loaded[Machine]:
    """The machine with the scenario's replaced values, which are shown as such.

    Errors: InputError at the scenario's line for a key or value the machine cannot have.
    """
    if not scenario.model.instead:
        return machine
    try:
        changed = replaced(machine.model, scenario.model.instead)
    except Instead as error:
        raise InputError(
            [problem(scenario, f"instead.{error.key}", error.value, error.rule)]
        ) from None
    origins = dict(machine.origins)
    for key in scenario.model.instead:
        if key in origins:
            origins[key] = replace(origins[key], source="design choice", note=SAID)
    return replace(machine, model=changed, origins=origins, digest=digest(changed))


def misfits(scenario: Loaded[Scenario], machine: Machine) -> list[Problem]:
    """Everything in a scenario that its machine cannot do."""
    found = _unknown_loads(scenario, machine) + _unknown_material(scenario)
    if found:
        return found
    found = [
        problem(scenario, f"events.{k}.{field}", value, rule)
        for k, field, value, rule in contradictions(machine, scenario.model)
    ]
    found += _never_seen(scenario, machine) + _out_of_reach(scenario, machine)
    return found or [problem(scenario, *told) for told in loop_misfits(machine, scenario.model)]


def _out_of_reach(scenario: Loaded[Scenario], machine: Machine) -> list[Problem]:
    from simkit.circuit.timeline import timeline

    line = timeline(machine, scenario.model)
    drive = machine.drive
    frequencies = [line.frequency.first, *(c.after for c in line.frequency.changes)]
    rule = (
        f"the drive reaches {drive.frequency_min / 1e3:g} to "
        f"{drive.frequency_max / 1e3:g} kHz (drive.frequency_min, frequency_max)"
    )
    return [
        problem(
            scenario, "start.frequency" if k == 0 else "events", f"{frequency / 1e3:.5g} kHz", rule
        )
        for k, frequency in enumerate(frequencies)
        if not drive.frequency_min <= frequency <= drive.frequency_max
    ]


def _never_seen(scenario: Loaded[Scenario], machine: Machine) -> list[Problem]:
    """Events that begin when the run is over, because of `ends`."""
    from simkit.circuit.timeline import timeline

    ends = scenario.model.ends
    if ends is None:
        return []
    end = timeline(machine, scenario.model).end - 1e-12
    settled = scenario.model.start.settled
    rule = f"begins when the run is over (ends = {ends * 1e3:g} ms after the settled part)"
    return [
        problem(scenario, f"events.{k}.at", f"{event.at * 1e3:g} ms", rule)
        for k, event in enumerate(scenario.model.events)
        if settled + event.at >= end
    ]


def _unknown_material(scenario: Loaded[Scenario]) -> list[Problem]:
    from simkit.parameters.place import nearest
    from simkit.parts.materials import materials

    after = scenario.model.aftermath
    charge = after.charge if after else None
    if charge is None or charge.material in materials():
        return []
    hint = nearest(charge.material, sorted(materials()), "known")
    rule = "is no material known here"
    return [problem(scenario, "aftermath.charge.material", charge.material, rule, hint)]


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
        found.append(problem(scenario, field, name, "the machine has no such workpiece", hint))
    for k, event in enumerate(scenario.model.events):
        if event.kind == "drop-in" and event.load == "empty":
            found.append(
                problem(scenario, f"events.{k}.load", "empty", "a drop-in needs a workpiece")
            )
    return found


def problem(
    scenario: Loaded[Scenario], field: str, value: str, rule: str, hint: str = ""
) -> Problem:
    """A problem at a field of the scenario's file."""
    origin = scenario.origins.get(field)
    line = origin.line if origin else scenario.line_of(field)
    return Problem(str(scenario.file), line, field, value, rule, hint)
