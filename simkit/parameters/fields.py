"""How a field of a file says what it is: unit, meaning, and the range that makes sense.

Used as `Annotated[float, Quantity("F", "Capacitance of one can", gt=0)]`. Validation takes a text
with a unit or a number in SI; the JSON Schema carries unit and meaning for editors.
"""

import types
import typing
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from simkit.units import UnitError, format_quantity, parse_quantity


@dataclass(frozen=True)
class Quantity:
    """Unit, meaning and range of one field; bounds and usual span in the field's SI unit."""

    unit: str
    description: str
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    usual: tuple[float, float] | None = None
    """Outside this span the file is accepted with a warning."""

    def rule(self) -> str:
        """The allowed range in words."""
        words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
        parts = [
            f"{word} {format_quantity(getattr(self, key), self.unit)}"
            for key, word in words.items()
            if getattr(self, key) is not None
        ]
        return "must be " + " and ".join(parts) if parts else f"must be in {self.unit}"

    def inside(self, value: float) -> bool:
        """Whether a value is in the allowed range."""
        return (
            (self.gt is None or value > self.gt)
            and (self.ge is None or value >= self.ge)
            and (self.lt is None or value < self.lt)
            and (self.le is None or value <= self.le)
        )

    def check(self, value: Any) -> float:
        """SI value of what was written; PydanticCustomError with the rule when it does not fit."""
        try:
            number = parse_quantity(value, self.unit)
        except UnitError as error:
            raise _error(error.rule, error.hint) from None
        if not self.inside(number):
            raise _error(self.rule(), "")
        return number

    def check_count(self, value: Any) -> int:
        """A whole number in range."""
        if isinstance(value, bool) or not isinstance(value, int):
            raise _error("must be a whole number", "")
        self.check(value)
        return value

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate through `check`, or `check_count` for whole numbers."""
        function = self.check_count if source is int else self.check
        return core_schema.no_info_plain_validator_function(function)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """A number or a text with a unit, or a table with value and source."""
        plain = [{"type": "number"}, {"type": "string"}]
        table = {
            "type": "object",
            "required": ["value"],
            "properties": {
                "value": {"anyOf": plain},
                "source": {"type": "string"},
                "tolerance": {"anyOf": plain},
                "note": {"type": "string"},
            },
            "additionalProperties": False,
        }
        text = f"{self.description} [{self.unit}]; {self.rule()}"
        return {"anyOf": [*plain, table], "description": text, "x-unit": self.unit}


def _error(rule: str, hint: str) -> PydanticCustomError:
    return PydanticCustomError("quantity", "{rule}", {"rule": rule, "hint": hint})


@dataclass(frozen=True)
class Leaf:
    """One field at the end of a dotted key."""

    key: str
    quantity: Quantity | None
    """None for texts and choices."""
    required: bool


def field_of(model: type[BaseModel], name: str) -> Quantity | None:
    """Quantity of a model's field, None when it holds no quantity."""
    info = model.model_fields[name]
    for candidate in (*info.metadata, *_inner_metadata(info.annotation)):
        if isinstance(candidate, Quantity):
            return candidate
    return None


def model_of(annotation: Any) -> type[BaseModel] | None:
    """The model inside an annotation (optional, tuple or dict of it), None when there is none."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        found = model_of(inner)
        if found is not None:
            return found
    return None


def _inner_metadata(annotation: Any) -> tuple[Any, ...]:
    if typing.get_origin(annotation) not in (typing.Union, types.UnionType):
        return ()
    return tuple(
        meta for part in typing.get_args(annotation) for meta in getattr(part, "__metadata__", ())
    )


def field_units(model: type[BaseModel], prefix: str = "") -> dict[str, str]:
    """Unit of every quantity by dotted key; `*` stands for a name or a number in the key."""
    return {leaf.key: leaf.quantity.unit for leaf in leaves(model, prefix) if leaf.quantity}


def leaves(model: type[BaseModel], prefix: str = "") -> list[Leaf]:
    """Every field at the end of a dotted key, in the order of the schema."""
    out: list[Leaf] = []
    for name, info in model.model_fields.items():
        inner = model_of(info.annotation)
        if inner is None:
            out.append(Leaf(prefix + name, field_of(model, name), info.is_required()))
            continue
        many = typing.get_origin(info.annotation) in (dict, tuple)
        out += leaves(inner, f"{prefix}{name}." + ("*." if many else ""))
    return out
