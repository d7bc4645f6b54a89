"""Where each value of a file came from: splits what a person wrote into values and origins.

A quantity may be written as a table, `{ value = "35 nH", source = "estimated", tolerance = "30 %",
note = "ruler" }`. A table's own `source` holds for everything in it that names none.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from simkit.errors import Problem
from simkit.parameters.fields import SOURCES, Quantity, Shape, field_shape
from simkit.parameters.place import ABSENT, Place, nearest, written
from simkit.units import UnitError, parse_quantity

OVERRIDDEN = "overridden on the command line"
"""Source of a value that --set replaced."""
LONGEST_TEXT = 400
DEEPEST = 12
_CONTROL = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u200b-\u200f\u202a-\u202e\u2066-\u2069\ufeff]"
)
"""Control characters, line breaks, and marks that change a text without being seen."""
_PARTS = ("value", "source", "tolerance", "note")


@dataclass(frozen=True)
class Origin:
    """Where one value came from."""

    source: str
    """One of SOURCES, or OVERRIDDEN."""
    note: str
    tolerance: float | None
    """Half-width as a share of the value [1]."""
    file: str
    line: int | None
    written: str
    """As it stands in the file."""


@dataclass
class Split:
    """Splits a raw document; what it finds gathers in its fields."""

    place: Place
    problems: list[Problem] = field(default_factory=list)
    origins: dict[str, Origin] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)

    def document(self, raw: dict[str, Any], model: type[BaseModel]) -> Any:
        """Plain values of a whole document."""
        return self._value(raw, Shape(models=(model,)), "", getattr(model, "DEFAULT_SOURCE", ""))

    def _value(self, raw: Any, shape: Shape, key: str, source: str) -> Any:
        """Plain value at a key; what does not fit the shape is passed on for validation."""
        if shape.quantity is not None:
            return self._quantity(raw, shape.quantity, key, source)
        if isinstance(raw, dict) and shape.models:
            return self._table(raw, shape.models, key, source)
        if isinstance(raw, dict) and shape.named is not None:
            own, rest = self._own_source(raw, key, source)
            named = shape.named
            return {k: self._value(v, named, _join(key, k), own) for k, v in rest.items()}
        if isinstance(raw, list) and shape.each is not None:
            each = shape.each
            return [self._value(v, each, _join(key, str(n)), source) for n, v in enumerate(raw)]
        return raw

    def _table(
        self, raw: dict[str, Any], models: tuple[type[BaseModel], ...], key: str, source: str
    ) -> dict[str, Any]:
        fields = fitting(raw, models).model_fields
        if "source" in fields:
            rest = raw
        else:
            source, rest = self._own_source(raw, key, source)
        shapes = {name: field_shape(info) for name, info in fields.items()}
        return {
            k: self._value(v, shapes.get(k, Shape()), _join(key, k), source)
            for k, v in rest.items()
        }

    def _own_source(self, raw: dict[str, Any], key: str, source: str) -> tuple[str, dict[str, Any]]:
        """A table's default source and the rest of the table."""
        if "source" not in raw or isinstance(raw["source"], dict):
            return source, raw
        rest = {k: v for k, v in raw.items() if k != "source"}
        return self._checked_source(raw["source"], _join(key, "source")), rest

    def _checked_source(self, raw: Any, key: str) -> str:
        if raw not in SOURCES:
            hint = nearest(str(raw), SOURCES, "one of")
            self._blame(key, raw, "is not a kind of source", hint)
        return str(raw)

    def _quantity(self, raw: Any, quantity: Quantity, key: str, source: str) -> Any:
        """The bare value of a quantity; its origin is kept."""
        value, note, tolerance = raw, "", None
        if isinstance(raw, dict):
            value = raw.get("value", ABSENT)
            source, note, tolerance = self._parts(raw, key, source)
        if self.place.overridden(key):
            source = OVERRIDDEN
        if not source:
            hint = f'add source = "..." to it or to its table, one of: {", ".join(SOURCES)}'
            self._blame(key, value, "every value names its source", hint)
        file, line = self.place.of(key)
        self.origins[key] = Origin(source, note, tolerance, file, line, written(value))
        self._warn(value, quantity, key)
        return value

    def _parts(self, raw: dict[str, Any], key: str, source: str) -> tuple[str, str, float | None]:
        """Source, note and tolerance of a quantity written as a table."""
        for name in raw:
            if name not in _PARTS:
                self._blame(
                    _join(key, name), raw[name], "is not a known name", nearest(name, _PARTS)
                )
        if "value" not in raw:
            self._blame(key, ABSENT, "has no value", 'write { value = "...", source = "..." }')
        if "source" in raw:
            source = self._checked_source(raw["source"], _join(key, "source"))
        return source, self._note(raw.get("note", ""), key), self._tolerance(raw, key)

    def _note(self, raw: Any, key: str) -> str:
        if isinstance(raw, str) and len(raw) <= LONGEST_TEXT:
            return raw
        rule = f"must be a text of at most {LONGEST_TEXT} characters"
        self._blame(_join(key, "note"), raw, rule)
        return ""

    def _tolerance(self, raw: dict[str, Any], key: str) -> float | None:
        if "tolerance" not in raw:
            return None
        rule, hint = "must be from 0 to 100 %", 'for example "5 %"'
        try:
            share = parse_quantity(raw["tolerance"], "1")
        except UnitError as error:
            share, rule, hint = -1.0, error.rule, error.hint
        if 0.0 <= share <= 1.0:
            return share
        self._blame(_join(key, "tolerance"), raw["tolerance"], rule, hint)
        return None

    def _warn(self, raw: Any, quantity: Quantity, key: str) -> None:
        """Warn when a value lies outside the usual span of its field."""
        try:
            value = parse_quantity(raw, quantity.unit)
        except UnitError:
            return
        if quantity.usual is None or quantity.usual[0] <= value <= quantity.usual[1]:
            return
        low, high = quantity.usual
        file, line = self.place.of(key)
        far = _times(value / high, "times the highest") if value > high else _below(low, value)
        self.warnings.append(
            f"{file}{f':{line}' if line else ''}: {key} = {quantity.show(value)} is {far}; "
            f"usual is {quantity.show(low)} to {quantity.show(high)}"
        )

    def _blame(self, key: str, value: Any, rule: str, hint: str = "") -> None:
        self.problems.append(self.place.problem(key, value, rule, hint))


def fitting(raw: Any, models: tuple[type[BaseModel], ...]) -> type[BaseModel]:
    """The model meant by a table, where a schema allows several: the one its choices fit."""
    if not isinstance(raw, dict):
        return models[0]
    marked = [model for model in models if getattr(model, "MARK", None) in raw]
    if marked:
        return marked[0]

    def misfits(model: type[BaseModel]) -> int:
        shapes = {name: field_shape(info) for name, info in model.model_fields.items()}
        wrong = sum(
            bool(shape.choices) and name in raw and raw[name] not in shape.choices
            for name, shape in shapes.items()
        )
        return 1000 * wrong + len(raw.keys() - shapes.keys())

    return min(models, key=misfits)


def texts(raw: Any, key: str = "") -> Iterator[tuple[str, str]]:
    """Every text in a document, names of keys included, with its dotted key."""
    if isinstance(raw, str):
        yield key, raw
    elif isinstance(raw, dict):
        for name, inner in raw.items():
            yield _join(key, name), name
            yield from texts(inner, _join(key, name))
    elif isinstance(raw, list):
        for number, inner in enumerate(raw):
            yield from texts(inner, _join(key, str(number)))


def hidden_characters(raw: Any, place: Place) -> list[Problem]:
    """A problem for every text that holds a character which cannot be seen."""
    rule = "must be one line without control or invisible characters"
    return [place.problem(key, text, rule) for key, text in texts(raw) if _CONTROL.search(text)]


def depth(raw: Any) -> int:
    """Levels of tables and lists in a document."""
    if not isinstance(raw, (dict, list)):
        return 0
    inner = raw.values() if isinstance(raw, dict) else raw
    return 1 + max((depth(value) for value in inner), default=0)


def size(raw: Any) -> int:
    """Values, tables and lists in a document, however deep."""
    if not isinstance(raw, (dict, list)):
        return 1
    return 1 + sum(size(value) for value in (raw.values() if isinstance(raw, dict) else raw))


def _join(key: str, name: str) -> str:
    return f"{key}.{name}" if key else name


def _times(ratio: float, what: str) -> str:
    count = f"{float(f'{ratio:.2g}'):,.0f}".replace(",", " ") if ratio >= 100 else f"{ratio:.2g}"
    return f"{count} {what}"


def _below(low: float, value: float) -> str:
    return _times(low / value, "times below the lowest") if value > 0 else "below the lowest"
