"""Loading of the files a person writes: TOML in, a frozen model and the origin of every value out.

A value may be a text with a unit, a number in SI, or an inline table with `value`, `source`,
`tolerance`, `note`. A table's own `source` holds for everything in it that names none. All
problems of a file are reported at once, each with line, field, value, rule and the nearest name.
"""

import difflib
import hashlib
import json
import re
import tomllib
import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from simkit.errors import InputError, Problem
from simkit.parameters.fields import Quantity, field_of, model_of
from simkit.parameters.lines import line_table, nearest_line
from simkit.units import UnitError, format_quantity, parse_quantity

M = TypeVar("M", bound=BaseModel)
SOURCES = (
    "datasheet class", "measured", "estimated", "fitted", "computed", "design choice", "standard",
    "common practice",
)  # fmt: skip
OVERRIDDEN = "overridden on the command line"
MAX_BYTES = 1_000_000
MAX_DEPTH = 12
CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u200b-\u200f\u202a-\u202e\u2066-\u2069]")
"""Characters that no name or text of a file may hold: controls and invisible direction marks."""
VALUE_KEYS = ("value", "source", "tolerance", "note")


@dataclass(frozen=True)
class Origin:
    """Where one value came from."""

    source: str
    note: str
    tolerance: float | None
    """As a share [1]."""
    file: str
    line: int | None
    written: str


@dataclass(frozen=True)
class Loaded(Generic[M]):
    """A loaded file."""

    model: M
    origins: Mapping[str, Origin]
    """By dotted key."""
    file: Path
    digest: str
    """Of the content after overrides."""
    warnings: tuple[str, ...]
    lines: Mapping[str, int] = field(default_factory=dict, repr=False)

    def line_of(self, key: str) -> int | None:
        """Line a dotted key was written on, or that of the table around it."""
        return nearest_line(dict(self.lines), key)


@dataclass
class _Walk:
    """What is gathered while a raw document is held against a model."""

    file: str
    lines: dict[str, int]
    overridden: frozenset[str]
    problems: list[Problem] = field(default_factory=list)
    origins: dict[str, Origin] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)

    def blame(self, key: str, value: object, rule: str, hint: str = "") -> None:
        """Add one problem."""
        given = any(key == o or key.startswith(o + ".") for o in self.overridden)
        file, line = ("--set", None) if given else (self.file, nearest_line(self.lines, key))
        self.problems.append(Problem(file, line, key, _written(value), rule, hint))


def load_file(path: Path, model: type[M], overrides: Mapping[str, str] | None = None) -> Loaded[M]:
    """Load a TOML file against a model.

    Errors: InputError with every problem found; nothing is half loaded.
    """
    name = str(path)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError([Problem(name, None, "", "", f"larger than {MAX_BYTES} bytes")])
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise InputError([Problem(name, line, "", "", "not UTF-8 text")]) from None
    except OSError as error:
        reason = "there is no such file" if isinstance(error, FileNotFoundError) else error.strerror
        raise InputError([Problem(name, None, "", "", str(reason))]) from None
    return load_text(text, name, model, overrides)


def load_text(
    text: str, name: str, model: type[M], overrides: Mapping[str, str] | None = None
) -> Loaded[M]:
    """Load TOML text against a model; as `load_file`."""
    overrides = overrides or {}
    text = text.replace("\r\n", "\n")
    raw = _parsed(text, name)
    lines = line_table(text)
    walk = _Walk(name, lines, frozenset(overrides))
    for key, value in overrides.items():
        _override(raw, key, value)
    plain = _table(walk, raw, model, "", getattr(model, "DEFAULT_SOURCE", None))
    built = _validated(walk, plain, model)
    if walk.problems or built is None:
        raise InputError(sorted(walk.problems, key=lambda p: (p.line or 0, p.field)))
    digest = hashlib.sha256(json.dumps(raw, sort_keys=True, default=str).encode()).hexdigest()
    return Loaded(built, walk.origins, Path(name), digest, tuple(walk.warnings), lines)


def _parsed(text: str, name: str) -> dict[str, Any]:
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line = int(found.group(1)) if found else text.count("\n") + 1
        said = str(error).split(" (at ")[0]
        raise InputError([Problem(name, line, "", "", f"not valid TOML: {said}")]) from None
    except RecursionError:
        raise InputError([Problem(name, None, "", "", "nested too deeply")]) from None
    if _depth(raw) > MAX_DEPTH:
        raise InputError([Problem(name, None, "", "", f"nested deeper than {MAX_DEPTH} tables")])
    return raw


def _depth(value: Any) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max((_depth(v) for v in inner), default=0)


def _override(raw: dict[str, Any], key: str, text: str) -> None:
    *path, last = key.split(".")
    here: Any = raw
    for part in path:
        if isinstance(here, list):
            here = here[int(part)] if part.isdigit() and int(part) < len(here) else {}
        elif isinstance(here.get(part), dict | list):
            here = here[part]
        else:
            here[part] = {}
            here = here[part]
    try:
        value = tomllib.loads(f"x = {text}")["x"]
    except tomllib.TOMLDecodeError:
        value = text
    if isinstance(here, dict):
        here[last] = value


def _table(
    walk: _Walk, raw: Any, model: type[BaseModel], prefix: str, source: str | None
) -> dict[str, Any]:
    """Plain values of one table of a model; problems, origins and warnings go to the walk."""
    if not isinstance(raw, dict):
        walk.blame(prefix.rstrip("."), raw, "must be a table")
        return {}
    fields = model.model_fields
    source = _table_source(walk, raw, prefix, source)
    out = {}
    for key, value in raw.items():
        if key == "source" and key not in fields:
            continue
        if key not in fields:
            near = difflib.get_close_matches(key, fields, 1)
            hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(fields)}"
            walk.blame(prefix + key, "", "there is no such name", hint)
            continue
        out[key] = _value(walk, value, model, key, prefix, source)
    for key, info in fields.items():
        if key not in raw and info.is_required():
            walk.blame(prefix + key, "", f"is missing{_meaning(model, key)}")
    return out


def _meaning(model: type[BaseModel], key: str) -> str:
    quantity = field_of(model, key)
    if quantity is not None:
        return f" ({quantity.description}, in {quantity.unit})"
    return " (a table)" if model_of(model.model_fields[key].annotation) else ""


def _table_source(walk: _Walk, raw: dict[str, Any], prefix: str, source: str | None) -> str | None:
    own = raw.get("source")
    return source if own is None else _checked_source(walk, own, prefix + "source")


def _checked_source(walk: _Walk, text: object, key: str) -> str:
    if text in SOURCES:
        return str(text)
    near = difflib.get_close_matches(str(text), SOURCES, 1)
    hint = f"did you mean {near[0]!r}?" if near else f"one of: {', '.join(SOURCES)}"
    walk.blame(key, text, "is no known kind of source", hint)
    return "estimated"


def _value(
    walk: _Walk, value: Any, model: type[BaseModel], key: str, prefix: str, source: str | None
) -> Any:
    annotation = model.model_fields[key].annotation
    inner = model_of(annotation)
    if inner is not None:
        return _nested(walk, value, annotation, inner, prefix + key, source)
    quantity = field_of(model, key)
    if quantity is not None:
        return _quantity(walk, value, quantity, prefix + key, source)
    if isinstance(value, str) and CONTROL.search(value):
        walk.blame(prefix + key, value, "must not hold control characters")
    return value


def _nested(
    walk: _Walk, value: Any, annotation: Any, inner: type[BaseModel], key: str, source: str | None
) -> Any:
    many = typing.get_origin(annotation)
    if many is dict:
        if not isinstance(value, dict):
            walk.blame(key, value, "must be a table of tables")
            return {}
        own = _table_source(walk, value, key + ".", source)
        items = {k: v for k, v in value.items() if not (k == "source" and isinstance(v, str))}
        return {k: _table(walk, v, inner, f"{key}.{k}.", own) for k, v in items.items()}
    if many is tuple:
        if not isinstance(value, list):
            walk.blame(key, value, "must be an array of tables")
            return ()
        return tuple(_table(walk, v, inner, f"{key}.{n}.", source) for n, v in enumerate(value))
    return _table(walk, value, inner, key + ".", source)


def _quantity(
    walk: _Walk, value: Any, quantity: Quantity, key: str, source: str | None
) -> Any:
    note, tolerance = "", None
    written = value
    if isinstance(value, dict):
        for name in value:
            if name not in VALUE_KEYS:
                near = difflib.get_close_matches(name, VALUE_KEYS, 1)
                hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(VALUE_KEYS)}"
                walk.blame(f"{key}.{name}", "", "there is no such name", hint)
        if "value" not in value:
            walk.blame(key, "", "is missing its value")
        if "source" in value:
            source = _checked_source(walk, value["source"], key + ".source")
        note = _note(walk, value.get("note", ""), key)
        tolerance = _tolerance(walk, value.get("tolerance"), key)
        written = value.get("value", 0)
    if key in walk.overridden:
        source = OVERRIDDEN
    if source is None:
        walk.blame(key, written, "names no source", f"add source: {', '.join(SOURCES)}")
    line = nearest_line(walk.lines, key)
    walk.origins[key] = Origin(source or "", note, tolerance, walk.file, line, _written(written))
    _warn(walk, written, quantity, key)
    return written


def _note(walk: _Walk, note: object, key: str) -> str:
    if not isinstance(note, str) or len(note) > 400 or CONTROL.search(note):
        walk.blame(key + ".note", note, "must be a short text")
        return ""
    return note


def _tolerance(walk: _Walk, text: object, key: str) -> float | None:
    if text is None:
        return None
    try:
        share = parse_quantity(text, "1")
    except UnitError as error:
        walk.blame(key + ".tolerance", text, error.rule, 'for example "5 %"')
        return None
    if not 0.0 <= share <= 1.0:
        walk.blame(key + ".tolerance", text, "must be between 0 and 100 %")
    return share


def _warn(walk: _Walk, written: object, quantity: Quantity, key: str) -> None:
    if quantity.usual is None:
        return
    try:
        value = parse_quantity(written, quantity.unit)
    except UnitError:
        return
    low, high = (format_quantity(x, quantity.unit) for x in quantity.usual)
    if not quantity.usual[0] <= value <= quantity.usual[1]:
        shown = format_quantity(value, quantity.unit)
        walk.warnings.append(f"{key} = {shown} is unusual: most machines have {low} to {high}")


def _validated(walk: _Walk, plain: dict[str, Any], model: type[M]) -> M | None:
    try:
        return model.model_validate(plain)
    except ValidationError as error:
        for item in error.errors(include_url=False):
            # Missing and unknown names were reported with their lines already.
            if item["type"] not in ("missing", "extra_forbidden"):
                _blame_item(walk, item)
        return None


def _blame_item(walk: _Walk, item: Any) -> None:
    where = [str(p) for p in item["loc"] if p not in ("function-plain", "[key]")]
    key = ".".join(where)
    context = item.get("ctx", {})
    if item["type"] == "value_error":
        walk.blame(key, "", str(context.get("error", item["msg"])))
    elif item["type"] == "literal_error":
        options = re.findall(r"'([^']*)'", str(context.get("expected", "")))
        near = difflib.get_close_matches(str(item["input"]), options, 1)
        hint = f"did you mean {near[0]!r}?" if near else ""
        walk.blame(key, item["input"], f"must be one of {', '.join(options)}", hint)
    elif item["type"] == "string_pattern_mismatch":
        rule = "must be lower-case letters, digits and single hyphens, beginning with a letter"
        if str(context.get("pattern", "")).endswith(r"\.toml$"):
            rule = "must be a relative path to a .toml file"
        walk.blame(key, item["input"], rule)
    else:
        walk.blame(key, item["input"], item["msg"], context.get("hint", ""))


def _written(value: object) -> str:
    if value == "":
        return ""
    text = json.dumps(value, ensure_ascii=True, default=str)
    return text if len(text) <= 80 else text[:77] + "..."
