"""Machine and scenario files written out with a comment on every key, taken from the schema."""

import json
from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import Any

from pydantic import BaseModel

from simkit.parameters.fields import Shape, field_shape
from simkit.parameters.origins import fitting
from simkit.studies.explain.study import PLAIN

WIDTH = 98
PARTS = {"value", "source", "note", "tolerance"}


def commented(model: type[BaseModel], raw: Mapping[str, Any], source: str = "") -> str:
    """A file of a model with the values given, TOML text; tables in the schema's order.

    A comment before every key says meaning, unit and allowed range; optional keys that are not
    there are named. `source` is written into every table of the top level.
    """
    lines = [*_keys(model, raw), *_left_out(model, raw, "")]
    for name, info in model.model_fields.items():
        if name in raw and _is_table(raw[name]):
            lines += _table(field_shape(info), raw[name], name, source)
        elif name in raw and _is_list_of_tables(raw[name], field_shape(info), name):
            lines += _tables(field_shape(info), raw[name], name)
    return "\n".join(lines) + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) and not ("value" in value and value.keys() <= PARTS)


def _is_list_of_tables(value: Any, shape: Shape, name: str) -> bool:
    # Curves stay lists of short tables; events are tables of their own.
    return isinstance(value, list) and name == "events" and shape.each is not None


def _tables(shape: Shape, raw: list[dict[str, Any]], key: str) -> Iterator[str]:
    models = shape.each.models if shape.each else ()
    for item in raw:
        model = fitting(item, models)
        yield ""
        yield from _comment(_about(model))
        yield f"[[{key}]]"
        yield from _keys(model, item)
        yield from _left_out(model, item, key)


def _table(shape: Shape, raw: dict[str, Any], key: str, source: str = "") -> Iterator[str]:
    if shape.named is not None:
        for name, inner in raw.items():
            yield from _table(shape.named, inner, f"{key}.{name}", source)
        return
    model = fitting(raw, shape.models)
    yield ""
    yield from _comment(_about(model))
    yield f"[{key}]"
    if source:
        yield f"source = {json.dumps(source)}"
    yield from _keys(model, raw)
    yield from _left_out(model, raw, key)
    for name, info in model.model_fields.items():
        if name in raw and _is_table(raw[name]):
            yield from _table(field_shape(info), raw[name], f"{key}.{name}")


def _about(model: type[BaseModel]) -> str:
    """First sentence of what a table describes."""
    text = " ".join((model.__doc__ or "").split())
    return text.split(". ")[0].rstrip(".") + "." if text else ""


def _keys(model: type[BaseModel], raw: Mapping[str, Any]) -> Iterator[str]:
    """The plain keys of a table, each after its comment."""
    for name, info in model.model_fields.items():
        shape = field_shape(info)
        if (
            name in raw
            and not _is_table(raw[name])
            and not _is_list_of_tables(raw[name], shape, name)
        ):
            yield from _comment(_meaning(shape) or PLAIN.get(name, ""))
            yield f"{name} = {_toml(raw[name])}"


def _meaning(shape: Shape) -> str:
    if shape.quantity is not None:
        quantity = shape.quantity
        unit = f" [{quantity.unit}]" if quantity.unit != "1" else ""
        return f"{quantity.description}{unit}; {quantity.range_text()}."
    if shape.choices:
        return f"One of: {', '.join(shape.choices)}."
    if shape.each is not None and shape.each.models:
        fields = shape.each.models[0].model_fields
        inner = (field_shape(info).quantity for info in fields.values())
        said = [f"{n}: {q.description} [{q.unit}]" for n, q in zip(fields, inner, strict=True) if q]
        return "; ".join(said) + "." if said else ""
    return ""


def _left_out(model: type[BaseModel], raw: Mapping[str, Any], key: str) -> Iterator[str]:
    """A line that names the optional keys which are not there."""
    names = [n for n, i in model.model_fields.items() if n not in raw and not i.is_required()]
    if names:
        where = f"`simkit explain {key}` says more" if key else "`simkit explain` says more"
        yield from _comment(f"Also possible here: {', '.join(names)}; {where}.")


def _comment(text: str) -> Iterator[str]:
    yield from (f"# {line}" for line in wrap(text, WIDTH - 2, break_on_hyphens=False))


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        inner = [f"  {_toml(item)}," for item in value]
        return "\n".join(["[", *inner, "]"])
    # A JSON text without control characters is a TOML basic string, and numbers are alike.
    return json.dumps(value, ensure_ascii=False)
