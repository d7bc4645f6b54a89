"""Loading of the files a person writes: TOML in; a frozen model and each value's origin out.

All problems of a file are reported at once, each with line, field, written value, rule in plain
words and the nearest valid name. Nothing is half loaded.
"""

import copy
import hashlib
import json
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from simkit.errors import InputError, Problem
from simkit.parameters.explain import explain
from simkit.parameters.fields import SOURCES
from simkit.parameters.kinds import absent, empty, folder_given, mistaken
from simkit.parameters.lines import line_table, nearest_line
from simkit.parameters.origins import (
    DEEPEST,
    OVERRIDDEN,
    Origin,
    Split,
    depth,
    hidden_characters,
    size,
)
from simkit.parameters.place import COMMAND_LINE, Place, written
from simkit.parameters.reading import Missing, Unreadable, file_text

__all__ = [
    "Loaded",
    "Origin",
    "OVERRIDDEN",
    "SOURCES",
    "digest",
    "load_file",
    "load_text",
    "read_text",
    "top_values",
]

M = TypeVar("M", bound=BaseModel)
LONGEST_LINE = 1000
"""Characters [1]; a dotted key as long as a file would keep the parser busy for minutes."""
MOST_VALUES = 2000
"""Values, tables and lists in a file [1]; ten times what the fullest machine needs."""
_NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class Loaded(Generic[M]):
    """A loaded file."""

    model: M
    origins: Mapping[str, Origin]
    """Origin of every quantity that was written, by dotted key."""
    file: Path
    digest: str
    """SHA-256 of the values after overrides: equal for "1.8 uF" and 1.8e-6."""
    warnings: tuple[str, ...]
    lines: Mapping[str, int] = field(default_factory=dict, repr=False)

    @property
    def overridden(self) -> dict[str, str]:
        """Values that the command line put in place of the file's, as they were written there."""
        return {k: o.written for k, o in self.origins.items() if o.source == OVERRIDDEN}

    def line_of(self, key: str) -> int | None:
        """Line a dotted key was written on, or that of the table around it."""
        return nearest_line(self.lines, key)


def load_file(path: Path, model: type[M], overrides: Mapping[str, str] = _NOTHING) -> Loaded[M]:
    """Load a TOML file against a model; overrides replace values by dotted key.

    Errors: InputError with every problem found.
    """
    return load_text(read_text(path, model), str(path), model, overrides)


def load_text(
    text: str, name: str, model: type[M], overrides: Mapping[str, str] = _NOTHING
) -> Loaded[M]:
    """Load TOML text against a model, as `load_file` does; `name` stands for the file."""
    raw, lines = _parse(text, name)
    if not raw:
        raise InputError([empty(name, model)])
    place = Place(name, lines, overrides)
    problems = [*_override(raw, overrides), *hidden_characters(raw, place)]
    split = Split(place)
    plain = split.document(raw, model)
    problems += split.problems
    try:
        built = model.model_validate(plain)
    except ValidationError as error:
        problems += explain(error, plain, model, place)
    if problems:
        other = mistaken(raw, model, name)
        raise InputError([other] if other else sorted(set(problems), key=_order))
    origins, known = MappingProxyType(split.origins), MappingProxyType(lines)
    return Loaded(built, origins, Path(name), digest(built), tuple(split.warnings), known)


def top_values(path: Path, model: type[BaseModel]) -> dict[str, Any]:
    """What stands at the top of a TOML file, unchecked: by it is chosen what the file is read as.

    Errors: InputError as `load_file`, where it cannot be read at all.
    """
    return _parse(read_text(path, model), str(path))[0]


def digest(model: BaseModel) -> str:
    """SHA-256 of a model's values in canonical form; what is absent does not count."""
    content = model.model_dump(mode="json", exclude_none=True)
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _order(problem: Problem) -> tuple[int, str, str]:
    return problem.line or 0, problem.field, problem.rule


def read_text(path: Path, model: type[BaseModel] | None = None) -> str:
    """Text of a file a person wrote, which is to be read into a model.

    Errors: InputError for what is no file, too large or not UTF-8.
    """
    try:
        return file_text(path)
    except Missing:
        raise absent(path, model) from None
    except Unreadable as error:
        if os.path.isdir(path):
            raise folder_given(path, model) from None
        raise _unreadable(path, str(error), error.line) from None


def _unreadable(path: Path, rule: str, line: int | None = None) -> InputError:
    return InputError([Problem(str(path), line, "", "", rule)])


def _parse(text: str, name: str) -> tuple[dict[str, Any], dict[str, int]]:
    text = text.replace("\r\n", "\n")
    _refuse_long_lines(text, name)
    too_deep = Problem(name, None, "", "", f"is nested deeper than {DEEPEST} levels")
    try:
        raw = tomllib.loads(text)
        if depth(raw) > DEEPEST:
            raise InputError([too_deep])
        if size(raw) > MOST_VALUES:
            rule = f"holds more than the {MOST_VALUES} values a file may have"
            raise InputError([Problem(name, None, "", "", rule)])
    except RecursionError:
        raise InputError([too_deep]) from None
    except ValueError as error:  # tomllib's own error, or a number with thousands of digits
        raise InputError([_syntax(str(error), text, name)]) from None
    return raw, line_table(text)


def _refuse_long_lines(text: str, name: str) -> None:
    for number, row in enumerate(text.split("\n"), start=1):
        if len(row) > LONGEST_LINE:
            rule = f"the line is longer than the {LONGEST_LINE} characters a line may have"
            raise InputError([Problem(name, number, "", written(row.strip()), rule)])


_HINTS = (
    (
        r"after a statement|[Uu]nclosed",
        r"=\s*[-+.\d]+\s*[A-Za-z%\u00b5\u03bc\u03a9\u00b0]",
        'a quantity with a unit stands in quotes: "0.6 us"',
    ),
    (r"Invalid value", r"=\s*[A-Za-z]", "a text stands in quotes"),
    (r"Invalid value", r"=\s*(#.*)?$", "its value is missing"),
    (r"", r"[\u2018-\u201f]", 'quotes are straight ones: "0.6 us"'),
    (r"Expected '='", r"^\s*[\w.-]+\s*:", "a name and its value are joined by =, not by a colon"),
    (r"after a statement", r"=\s*([\"\']).*\1\s*\S", "a remark begins with #"),
    (r"overwrite|declare|mutate|redefine", r"", "this name was given before"),
    (r"", r"=\s*\d+,\d", "a number has a decimal point, not a comma"),
)
"""Pattern of the parser's message, pattern of the line, and what to tell the person."""


def _syntax(message: str, text: str, name: str) -> Problem:
    found = re.search(r"\(at line (\d+), column (\d+)\)", message)
    rows = text.split("\n")
    number = int(found.group(1)) if found else len(rows)
    said = re.sub(r"\((?:'[^']*',? ?)+\)", _dotted, message.split(" (at ")[0])
    row, key, number = _statement(rows, min(number, len(rows)), said)
    hint = next((h for m, r, h in _HINTS if re.search(m, said) and re.search(r, row)), "")
    rule = f"is not valid TOML: {said[:1].lower()}{said[1:]}"
    return Problem(name, number, key, written(row.strip()), rule, hint)


def _dotted(names: re.Match[str]) -> str:
    """A table's name as it is written, in place of the parser's tuple."""
    return "[" + ".".join(re.findall(r"'([^']*)'", names.group())) + "]"


def _statement(rows: list[str], number: int, said: str) -> tuple[str, str, int]:
    # A name given twice is noticed at the end of its line, which may already be the next one.
    row = rows[number - 1]
    if not row.strip() and "overwrite" in said and number > 1:
        number -= 1
        row = rows[number - 1]
    key = re.match(r"\s*([A-Za-z0-9_.\-]+)\s*=", row)
    return row, key.group(1) if key else "", number


def _override(raw: dict[str, Any], overrides: Mapping[str, str]) -> list[Problem]:
    """Put the command line's values into a raw document; what has no place is a problem."""
    problems = []
    for key, text in overrides.items():
        if not _put(raw, key.split("."), _scalar(text)):
            rule = "there is no such place in the file"
            problems.append(Problem(COMMAND_LINE, None, key, written(text), rule))
    return problems


def _put(raw: Any, parts: list[str], value: Any) -> bool:
    *path, last = parts
    for part in path:
        if isinstance(raw, dict):
            raw = raw.setdefault(part, {})
        elif isinstance(raw, list) and part.isdecimal() and int(part) < len(raw):
            raw = raw[int(part)]
        else:
            return False
    if isinstance(raw, list) and last.isdecimal() and int(last) < len(raw):
        raw[int(last)] = copy.deepcopy(value)
        return True
    if not isinstance(raw, dict) or not last:
        return False
    raw[last] = value
    return True


def _scalar(text: str) -> Any:
    """A TOML value where the text is one, such as 18 or true; else the text itself."""
    try:
        return tomllib.loads(f"x = {text}")["x"] if "\n" not in text else text
    except (ValueError, RecursionError):
        return text
