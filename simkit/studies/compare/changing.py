"""A machine with changes laid over it, checked as the machine file itself is checked."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from simkit.errors import InputError, Problem
from simkit.parameters.change import (
    TOGETHER,
    ChangeFile,
    Overlay,
    joined,
    overlays,
    quarrels,
    toml,
)
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.paths import named_file
from simkit.parameters.place import COMMAND_LINE
from simkit.studies.inputs.loading import load_machine


@dataclass(frozen=True)
class Variant:
    """A machine with one change, or with several."""

    name: str
    title: str
    values: Mapping[str, str]
    """What was laid over the machine file, by dotted key, as TOML text."""
    machine: Loaded[Machine]


def variants(
    machine: Path, changes: Loaded[ChangeFile], overrides: Mapping[str, str]
) -> tuple[tuple[Variant, ...], str]:
    """Each change alone, then those that go together; and what is to be said about the latter.

    Errors: InputError that names the change file for everything a change got wrong.
    """
    parts = overlays(changes.model)
    if TOGETHER in changes.model.changes:
        raise InputError([_problem(changes, f"changes.{TOGETHER}", "this name is taken")])
    group, said = together(changes, parts)
    wanted = [*parts, *([joined(group)] if len(group) > 1 else [])]
    problems: list[Problem] = []
    made = []
    for part in wanted:
        try:
            made.append(varied(machine, changes, part, overrides))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return tuple(made), said


def together(
    changes: Loaded[ChangeFile], parts: tuple[Overlay, ...]
) -> tuple[tuple[Overlay, ...], str]:
    """Changes that are made at once, and why some or all are not."""
    named = changes.model.together
    known = {part.name: part for part in parts}
    for name in named or ():
        if name not in known:
            rule = f"there is no change named {name}"
            raise InputError([_problem(changes, "together", rule, ", ".join(known))])
    group = parts if named is None else tuple(known[name] for name in named)
    clashes = quarrels(group)
    if not clashes:
        return group, ""
    first, second, key = clashes[0]
    if named is not None:
        raise InputError([_problem(changes, "together", f"{first} and {second} both set {key}")])
    said = f"All together was left out: {first} and {second} both set {key}."
    return (), f"{said} Name those that go together: together = [...]."


def varied(
    machine: Path, changes: Loaded[ChangeFile], part: Overlay, overrides: Mapping[str, str]
) -> Variant:
    """A machine with one overlay; values of the command line hold beneath it."""
    values = dict(part.values)
    if values.get("switch", "").startswith('"'):
        values["switch"] = switch_text(changes, part)
    try:
        loaded = load_machine(machine, {**overrides, **values})
    except InputError as error:
        raise InputError(_placed(problem, changes, part) for problem in error.problems) from None
    return Variant(part.name, part.title, part.values, loaded)


def switch_text(changes: Loaded[ChangeFile], asked: Overlay) -> str:
    """The switch made from the part file a change names, as TOML text.

    Errors: InputError when the file cannot be read, or its figures cannot be together.
    """
    import tomllib

    from simkit.parts.switches import load_part, switch_of

    named = tomllib.loads(f"x = {asked.values['switch']}")["x"]
    path = change_file(changes, asked.places["switch"], named)
    part = load_part(path)
    try:
        switch = switch_of(part.model)
    except ValueError as error:
        raise InputError([Problem(str(path), None, "", "", str(error))]) from None
    return toml(switch.model_dump(exclude_none=True))


def scenario_files(changes: Loaded[ChangeFile]) -> list[Path]:
    """The scenarios that a change file names.

    Errors: InputError with every one that cannot be reached.
    """
    found: list[Path] = []
    problems: list[Problem] = []
    for number, named in enumerate(changes.model.scenarios):
        try:
            found.append(change_file(changes, f"scenarios.{number}", named))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return found


def change_file(changes: Loaded[ChangeFile], field: str, named: str) -> Path:
    """Path of a file that a change file names at a field.

    Errors: InputError at the change file's line.
    """
    try:
        return named_file(changes.file, named)
    except ValueError as error:
        line = changes.line_of(field)
        raise InputError([Problem(str(changes.file), line, field, named, str(error))]) from None


def _placed(problem: Problem, changes: Loaded[ChangeFile], part: Overlay) -> Problem:
    """A problem of a laid-over value, at its place in the change file."""
    if problem.file != COMMAND_LINE:
        return problem
    near = [k for k in part.places if problem.field == k or problem.field.startswith(f"{k}.")]
    near += [k for k in part.places if k.startswith(f"{problem.field}.")]
    if not near:
        return problem
    field = part.places[near[0]]
    return replace(problem, file=str(changes.file), line=changes.line_of(field), field=field)


def _problem(changes: Loaded[ChangeFile], field: str, rule: str, hint: str = "") -> Problem:
    return Problem(str(changes.file), changes.line_of(field), field, "", rule, hint)
