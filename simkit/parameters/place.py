"""Where in a file something is wrong, and how a written value is shown."""

import difflib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from simkit.errors import Problem, visible
from simkit.parameters.lines import nearest_line

COMMAND_LINE = "--set"
SHOWN = 80
"""Characters of a written value that a message shows."""


@dataclass(frozen=True)
class Place:
    """One file being read: its name, the line of each key, and what the command line replaced."""

    file: str
    lines: Mapping[str, int]
    overrides: Mapping[str, str] = field(default_factory=dict)

    def overridden(self, key: str) -> bool:
        """Whether the value at a dotted key came from the command line."""
        return any(key == given or key.startswith(f"{given}.") for given in self.overrides)

    def of(self, key: str) -> tuple[str, int | None]:
        """File and line a dotted key was written in."""
        above = [given for given in self.overrides if given.startswith(f"{key}.")]
        if self.overridden(key) or (above and key not in self.lines):
            return COMMAND_LINE, None
        return self.file, nearest_line(self.lines, key)

    def problem(self, key: str, value: Any, rule: str, hint: str = "") -> Problem:
        """A problem at a dotted key; the value is shown as it was written."""
        file, line = self.of(key)
        return Problem(file, line, key, written(value), rule, hint)


ABSENT = object()
"""Stands for a value that was not written."""


def written(value: Any) -> str:
    """A value as it stands in a file, shortened; a table is only named as one."""
    if value is ABSENT:
        return ""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, (str, bool)) else str(value)
    text = visible(text)
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


def nearest(name: str, known: Iterable[str], of: str = "known here") -> str:
    """Hint that offers the nearest valid name, or all of them when none is near."""
    names = list(known)
    lower = {n.lower(): n for n in reversed(names)}
    near = difflib.get_close_matches(name.lower(), lower, 1)
    if near:
        return f"did you mean {lower[near[0]]}?"
    return f"{of}: {', '.join(names)}" if names else ""
