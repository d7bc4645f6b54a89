"""How a field of a schema says its unit, meaning and range.

`capacitance: Annotated[float, Quantity("F", "Capacitance of one can", gt=0)]` reads "1.8 uF" or a
plain number in the field's unit, refuses other units and values out of range, and carries the
description into the JSON Schema. After loading the value is a plain float.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from simkit.units import UNITS, UnitError, format_quantity, parse_quantity

SOURCES = (
    "datasheet class",
    "measured",
    "estimated",
    "fitted",
    "computed",
    "design choice",
    "standard",
    "common practice",
)
"""Where a value may come from."""
BROKEN = "quantity"
"""Type of the validation error of a quantity; its context has `rule` and `hint`."""


@dataclass(frozen=True)
class Quantity:
    """Unit, meaning and range of a field; the bounds are in that unit.

    Outside gt, ge, lt, le a value is refused: it cannot be meant. Outside `usual`, lowest and
    highest, it is let through with a warning.
    """

    unit: str
    description: str
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    usual: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        """Refuse a unit outside the closed set when the schema is written, not when it is used."""
        if self.unit not in UNITS:
            raise ValueError(f"{self.unit!r} is not among simkit.units.UNITS")

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Read text or number before, check the range after the field's own type."""
        reader = self._read_whole if source is int else self._read
        read = core_schema.no_info_before_validator_function(reader, handler(source))
        return core_schema.no_info_after_validator_function(self._check, read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """A number in the unit, text with a unit, or a table of value and where it came from."""
        inner = handler(schema)
        bounds = {
            "exclusiveMinimum": self.gt,
            "minimum": self.ge,
            "exclusiveMaximum": self.lt,
            "maximum": self.le,
        }
        number = {"type": inner.get("type", "number")}
        number |= {name: bound for name, bound in bounds.items() if bound is not None}
        shown: dict[str, Any] = {
            "anyOf": [number, {"type": "string"}, _table_schema(number)],
            "description": f"{self.description} [{self.unit}]",
            "x-unit": self.unit,
        }
        return shown | ({"x-usual": list(self.usual)} if self.usual else {})

    def range_text(self) -> str:
        """The allowed range in words, such as "above 0 F and below 1 F"."""
        words = (
            ("above", self.gt),
            ("at least", self.ge),
            ("below", self.lt),
            ("at most", self.le),
        )
        said = [f"{word} {self.show(bound)}" for word, bound in words if bound is not None]
        return " and ".join(said)

    def show(self, value: float) -> str:
        """A value of this field with its unit."""
        return format_quantity(value, self.unit)

    def _read(self, value: Any) -> float:
        try:
            return parse_quantity(value, self.unit)
        except UnitError as error:
            raise PydanticCustomError(
                BROKEN, "{rule}", {"rule": error.rule, "hint": error.hint}
            ) from None

    def _read_whole(self, value: Any) -> float:
        """As `_read`, for a count: the hint is no share."""
        try:
            return parse_quantity(value, self.unit)
        except UnitError as error:
            rule = error.rule.replace("a plain number", "a whole number")
            least = self.usual[0] if self.usual else self.ge
            hint = f"for example {1 if least is None else ceil(least)}"
            raise PydanticCustomError(BROKEN, "{rule}", {"rule": rule, "hint": hint}) from None

    def _check(self, value: float) -> float:
        inside = (
            (self.gt is None or value > self.gt)
            and (self.ge is None or value >= self.ge)
            and (self.lt is None or value < self.lt)
            and (self.le is None or value <= self.le)
        )
        if not inside:
            context = {
                "rule": f"must be {self.range_text()}",
                "hint": f"read as {self.show(value)}",
            }
            raise PydanticCustomError(BROKEN, "{rule}", context)
        return value


def _table_schema(number: dict[str, Any]) -> dict[str, Any]:
    properties = {
        "value": {"anyOf": [number, {"type": "string"}]},
        "source": {"enum": list(SOURCES)},
        "tolerance": {"type": ["number", "string"]},
        "note": {"type": "string"},
    }
    return {
        "type": "object",
        "required": ["value"],
        "properties": properties,
        "additionalProperties": False,
    }


@dataclass(frozen=True)
class Shape:
    """What may stand at one place of a file, taken from the schema.

    At most one is set: a quantity, the choices of a text, the models of a table, the shape of each
    element of a list, or of each value of a table with free names. None of them: a plain value.
    """

    quantity: Quantity | None = None
    choices: tuple[str, ...] = ()
    models: tuple[type[BaseModel], ...] = ()
    each: "Shape | None" = None
    named: "Shape | None" = None


def field_shape(field: FieldInfo) -> Shape:
    """Shape of a model's field."""
    quantity = next((m for m in field.metadata if isinstance(m, Quantity)), None)
    return Shape(quantity=quantity) if quantity else shape_of(field.annotation)


def field_of(model: type[BaseModel], name: str) -> Quantity | None:
    """Quantity of a model's field, None when it holds none."""
    return field_shape(model.model_fields[name]).quantity


def shape_of(annotation: Any) -> Shape:
    """Shape of an annotation; optional and annotated types are looked through."""
    origin, args = get_origin(annotation), get_args(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return Shape(models=(annotation,))
    if origin is Annotated:
        quantity = next((m for m in args[1:] if isinstance(m, Quantity)), None)
        return Shape(quantity=quantity) if quantity else shape_of(args[0])
    if origin in (Union, UnionType):
        return _either([shape_of(a) for a in args if a is not type(None)])
    if origin is Literal:
        return Shape(choices=tuple(str(a) for a in args))
    if origin in (tuple, list):
        return Shape(each=shape_of(args[0]))
    return Shape(named=shape_of(args[1])) if origin is dict else Shape()


def _either(shapes: list[Shape]) -> Shape:
    models = tuple(model for shape in shapes for model in shape.models)
    if models:
        return Shape(models=models)
    return next((shape for shape in shapes if shape != Shape()), Shape())


def quantities(model: type[BaseModel]) -> dict[str, Quantity]:
    """Every quantity of a model and its nested models by dotted key.

    A star stands for a free name or a place in a list: `workpieces.*.travel`.
    """
    return dict(_walk(Shape(models=(model,)), ""))


def _walk(shape: Shape, key: str) -> Iterator[tuple[str, Quantity]]:
    if shape.quantity is not None:
        yield key, shape.quantity
    for model in shape.models:
        for name, field in model.model_fields.items():
            yield from _walk(field_shape(field), f"{key}.{name}" if key else name)
    for inner in (shape.each, shape.named):
        if inner is not None:
            yield from _walk(inner, f"{key}.*" if key else "*")


def field_units(model: type[BaseModel]) -> dict[str, str]:
    """Unit of every quantity of a model by dotted key, for reports and documents."""
    return {key: quantity.unit for key, quantity in quantities(model).items()}
