"""What validation found, in plain words: line, field, written value, rule, nearest valid name."""

from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from simkit.errors import Problem
from simkit.parameters.fields import BROKEN, Shape, field_shape, quantities
from simkit.parameters.origins import fitting
from simkit.parameters.place import ABSENT, Place, nearest

NAMES = {
    r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$": (
        "must be small letters, digits and single hyphens, starting with a letter"
    ),
    r"^[A-Za-z0-9_./-]+\.toml$": "must be a relative path to a .toml file",
}
"""Patterns of the schema in words."""
_KINDS = {
    "string_type": "must be a text in quotes",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "finite_number": "must be a finite number",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "dict_type": "must be a table",
    "tuple_type": "must be a list",
    "list_type": "must be a list",
}


def explain(
    error: ValidationError, plain: Any, model: type[BaseModel], place: Place
) -> Iterable[Problem]:
    """One problem for each thing validation found in plain values."""
    for item in error.errors(include_url=False):
        if _is_echo(item) or item["input"] is ABSENT:  # said already
            continue
        yield _Finding(item, plain, model, place).problem()


def _is_echo(item: ErrorDetails) -> bool:
    """Whether a list counts as too short only because entries that are wrong were left out."""
    context: dict[str, Any] = item.get("ctx") or {}
    return item["type"] == "too_short" and len(item["input"]) >= context["min_length"]


class _Finding:
    """One item of a validation error, found again in the document."""

    def __init__(
        self, item: ErrorDetails, plain: Any, model: type[BaseModel], place: Place
    ) -> None:
        self.item, self.model, self.place = item, model, place
        self.context: dict[str, Any] = item.get("ctx") or {}
        self.around, self.shape, keys = _follow(item["loc"], plain, model)
        self.key = ".".join(keys)
        self.name = keys[-1] if keys else ""

    def problem(self) -> Problem:
        kind = self.item["type"]
        if kind == "missing":
            return self.missing()
        if kind == "value_error":
            return self.contradiction()
        if kind == "extra_forbidden":
            return self.unknown()
        if kind == BROKEN:
            rule, hint = self.context["rule"], self.context["hint"]
        elif kind == "literal_error":
            rule = f"must be one of {', '.join(self.shape.choices)}"
            hint = nearest(str(self.item["input"]), self.shape.choices)
            hint = hint if hint.startswith("did") else ""
        else:
            rule, hint = self.rule(kind), self.table() if "model" in kind else ""
        return self.place.problem(self.key, self.item["input"], rule, hint)

    def contradiction(self) -> Problem:
        """What a table's own check found; it may name the place as "key.inside: rule"."""
        rule = str(self.context.get("error", self.item["msg"]))
        inside, colon, rest = rule.partition(": ")
        key = f"{self.key}.{inside}" if self.key else inside
        if colon and key in self.place.lines:
            return self.place.problem(key, ABSENT, rest)
        return self.place.problem(self.key, ABSENT, rule)

    def rule(self, kind: str) -> str:
        if kind == "string_pattern_mismatch":
            pattern = str(self.context["pattern"])
            return NAMES.get(pattern, f"must match {pattern}")
        if kind == "string_too_long":
            return f"must be at most {self.context['max_length']} characters long"
        if kind in ("too_short", "too_long"):
            least = self.context.get("min_length")
            bound = f"least {least}" if least is not None else f"most {self.context['max_length']}"
            return f"must have at {bound} {'entry' if bound.endswith(' 1') else 'entries'}"
        said = self.item["msg"]
        return _KINDS.get(kind, said[:1].lower() + said[1:])

    def table(self) -> str:
        """How a table is written where something else was, by the names it must have."""
        if len(self.shape.models) != 1:
            return ""
        fields = self.shape.models[0].model_fields
        must = [f"{name} = ..." for name, info in fields.items() if info.is_required()]
        return f"write {{ {', '.join(must)} }}" if must else ""

    def missing(self) -> Problem:
        return self.place.problem(self.key, ABSENT, f"is missing: {self.meaning()}", self.how())

    def meaning(self) -> str:
        """What a missing name would have said."""
        if self.shape.quantity is not None:
            return f"{self.shape.quantity.description} [{self.shape.quantity.unit}]"
        if self.shape.choices:
            return f"one of {', '.join(self.shape.choices)}"
        if self.shape.models:
            lines = (self.shape.models[0].__doc__ or "").strip().splitlines()
            return f"a table. {lines[0]}" if lines else "a table"
        if self.shape.each is not None:
            return "a list"
        return "a table with names of your own" if self.shape.named is not None else "a text"

    def how(self) -> str:
        if self.shape.models or self.shape.named is not None:
            return f"add [{self.key}]"
        return ""

    def unknown(self) -> Problem:
        models = self.around.models
        table = self.item["input"]
        if not models:
            return self.place.problem(self.key, table, "is not a known name here")
        known = list(models[0].model_fields)
        hint = nearest(self.name, known)
        if not hint.startswith("did"):
            hint = self.elsewhere() or hint
        return self.place.problem(self.key, table, "is not a known name here", hint)

    def elsewhere(self) -> str:
        """Tables of the schema that do have this name."""
        keys = [k for k in quantities(self.model) if k.rpartition(".")[2] == self.name]
        return f"it belongs to {' or '.join(_table_of(k) for k in keys[:3])}" if keys else ""


def _table_of(key: str) -> str:
    return f"[{key.rpartition('.')[0].replace('.*', '.NAME')}]" if "." in key else "the top"


def _follow(
    loc: tuple[int | str, ...], plain: Any, model: type[BaseModel]
) -> tuple[Shape, Shape, list[str]]:
    """Shape around a place, shape at it, and its keys.

    A location may hold words that are no keys, such as the tag of a union's member; they are
    left out by following the location through the document itself.
    """
    around, shape, keys = Shape(), Shape(models=(model,)), []
    parts = [part for part in loc if part != "[key]"]
    for place, part in enumerate(parts):
        inside = _has(plain, part)
        if not inside and (place < len(parts) - 1 or not isinstance(plain, dict | list)):
            continue
        around, shape = shape, _inner(shape, plain, str(part))
        around = Shape(models=(fitting(plain, around.models),)) if around.models else around
        plain = plain[part] if inside else None
        keys.append(str(part))
    return around, shape, keys


def _has(plain: Any, part: int | str) -> bool:
    if isinstance(plain, dict):
        return part in plain
    return isinstance(plain, list) and isinstance(part, int) and part < len(plain)


def _inner(shape: Shape, plain: Any, part: str) -> Shape:
    if shape.models and isinstance(plain, dict):
        info = fitting(plain, shape.models).model_fields.get(part)
        return field_shape(info) if info else Shape()
    return shape.each or shape.named or Shape()
