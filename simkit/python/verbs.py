"""The command's verbs as functions: the document that each prints with `--json`, as a dict.

Arguments are the command's: paths in order, options by name with `_` for `-`, a flag as True, an
option that may be given several times as a list, `set` as a mapping of keys to values. They raise
what the command says on the terminal; a verdict is a key of the document, never an exception.

`simkit bench` serves a page until it is stopped, which is for a terminal: it is left out.
"""

from __future__ import annotations

import io
import json
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import redirect_stdout
from os import PathLike
from typing import Any, Protocol

import click

from simkit.errors import InputError, Problem
from simkit.python.files import written

_ONE_AT_A_TIME = threading.Lock()
"""Standard output is a process's own: two verbs at once would print into each other's document."""


class Verb(Protocol):
    """A verb as a function."""

    def __call__(self, *arguments: str | PathLike[str], **options: Any) -> Any:
        """The document of the verb. Errors: InputError, EngineError, NotWritten."""


def ask(verb: str, *arguments: str | PathLike[str], **options: Any) -> Any:
    """The document that a verb prints with `--json`.

    Errors: InputError, EngineError, NotWritten.
    """
    from simkit.cli import group
    from simkit.verbs.usage import said

    line = [verb, *(str(a) for a in arguments), *worded(options), "--json"]
    told = io.StringIO()
    try:
        with _ONE_AT_A_TIME, redirect_stdout(told):
            group.main(line, prog_name="simkit", standalone_mode=False)
    except click.ClickException as error:
        rule = "; ".join(said(error).splitlines())
        raise InputError([Problem(f"simkit.{verb}", None, "", "", rule)]) from None
    return json.loads(told.getvalue())


def worded(options: Mapping[str, Any]) -> Iterator[str]:
    """Options as the command takes them."""
    for name, value in options.items():
        flag = f"--{name.replace('_', '-')}"
        if isinstance(value, Mapping):
            yield from (f"{flag}={key}={written(each)}" for key, each in value.items())
        elif isinstance(value, list | tuple):
            yield from (f"{flag}={each}" for each in value)
        elif value is True:
            yield flag
        elif value is not None and value is not False:
            yield f"{flag}={value}"


def _verb(name: str) -> Verb:
    def function(*arguments: str | PathLike[str], **options: Any) -> Any:
        return ask(name, *arguments, **options)

    function.__name__ = function.__qualname__ = name.replace("-", "_")
    function.__doc__ = f"`simkit {name}` as a function: the document it prints with `--json`."
    return function


VERBS: Mapping[str, Callable[..., Any]] = {
    name.replace("-", "_"): _verb(name)
    for name in ("doctor", "check", "deck", "run", "part", "compare", "map", "bring-up", "fit",
                 "protect", "new", "explain", "schema")
}  # fmt: skip
"""By name; each is an attribute of the package."""
