"""A command that was typed wrongly, in words: what is missing or unknown, and how it is written."""

import difflib
from pathlib import Path

import click

FILES = {
    "MACHINE": "machine file",
    "SCENARIO": "scenario",
    "SCENARIOS": "scenario",
    "PART_FILE": "part file",
    "READINGS": "readings file",
    "CHANGE": "change file",
}
"""What an argument is to be, by its name in the usage line."""
NEAR = 0.7
"""How like the nearest option must be to be named [1]; --out is not meant to be --quiet."""


def said(error: click.ClickException) -> str:
    """What to tell the person, in lines; the last says where to read more."""
    context = getattr(error, "ctx", None)
    path = context.command_path if context else "simkit"
    lines = [_mistake(error)]
    if context and isinstance(error, click.MissingParameter):
        pieces = context.command.collect_usage_pieces(context)
        lines.append(f"written: {path} {' '.join(pieces)}")
    return "\n".join([*lines, f"more: {path} --help"])


def _mistake(error: click.ClickException) -> str:
    if isinstance(error, click.MissingParameter) and error.param is not None:
        return _missing(error.param)
    if isinstance(error, click.NoSuchOption):
        return _unknown_option(error)
    if isinstance(error, click.BadParameter) and error.param is not None:
        return f"{_name(error.param)}: {_rule(error, error.param)}"
    return " ".join(error.format_message().split())


def _missing(param: click.Parameter) -> str:
    """What is missing, and which file here would do."""
    name = _name(param)
    if isinstance(param.type, click.Choice):
        return f"{name} is missing: one of {_choices(param.type)}"
    return f"{name} is missing" + (
        f": a {FILES[name]}{_here(FILES[name])}" if name in FILES else ""
    )


def _here(called: str) -> str:
    from simkit.parameters.kinds import files_here

    return files_here(Path(), called)


def _unknown_option(error: click.NoSuchOption) -> str:
    known = error.ctx.command.params if error.ctx else []
    names = [o for p in known for o in p.opts]
    near = difflib.get_close_matches(error.option_name, names, 1, NEAR)
    return f"there is no option {error.option_name}" + (
        f"; did you mean {near[0]}?" if near else ""
    )


def _rule(error: click.BadParameter, param: click.Parameter) -> str:
    kind = param.type
    if isinstance(kind, click.Choice):
        return f"must be one of {_choices(kind)}; {error.message.split(' is not one of')[0]} is not"
    if isinstance(kind, click.IntRange | click.FloatRange):
        number = "whole number" if isinstance(kind, click.IntRange) else "number"
        return (
            f"must be a {number}, {_range(kind)}; {error.message.partition(' is not ')[0]} is not"
        )
    return error.message.removesuffix(".")


def _range(kind: click.IntRange | click.FloatRange) -> str:
    low = "above" if kind.min_open else "from"
    if kind.max is None:
        return f"{low} {kind.min}" + ("" if kind.min_open else " up")
    return f"{low} {kind.min} to {kind.max}"


def _choices(kind: "click.Choice[str]") -> str:
    return ", ".join(str(c) for c in kind.choices)


def _name(param: click.Parameter) -> str:
    if isinstance(param, click.Argument):
        return str(param.name).upper()
    return max(param.opts, key=len)
