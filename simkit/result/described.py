"""JSON Schema and table of keys of the result, from its types and the words behind their fields."""

import ast
import inspect
import sys
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from simkit.figures.table import figures
from simkit.result.document import Result

PLAIN: dict[type, str] = {str: "string", float: "number", int: "integer", bool: "boolean"}


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the result: every key is required, null where unknown."""
    found = _of(Result)
    rows = found["properties"]["limits"]["items"]["properties"]
    rows["quantity"]["enum"] = list(figures())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found}


def keys() -> list[tuple[str, str]]:
    """The top-level keys and what each is, in the order of the document."""
    said = words(Result)
    return [(f.name, said.get(f.name, "")) for f in fields(Result)]


def table() -> str:
    """The table of docs/result.md."""
    rows = [f"| `{name}` | {said} |" for name, said in keys()]
    return "\n".join(["| key | what it is |", "| --- | --- |", *rows])


def words(kind: type) -> dict[str, str]:
    """What stands behind each field of a class, as written there."""
    tree = ast.parse(inspect.getsource(sys.modules[kind.__module__]))
    (found,) = (n for n in tree.body if isinstance(n, ast.ClassDef) and n.name == kind.__name__)
    out = {}
    for before, after in zip(found.body, found.body[1:], strict=False):
        if isinstance(before, ast.AnnAssign) and isinstance(before.target, ast.Name):
            text = after.value if isinstance(after, ast.Expr) else None
            if isinstance(text, ast.Constant) and isinstance(text.value, str):
                out[before.target.id] = " ".join(text.value.split())
    return out


def _of(kind: Any) -> dict[str, Any]:
    """Schema of a type as it stands in the types' annotations."""
    origin, inner = get_origin(kind), get_args(kind)
    if kind is NoneType:
        return {"type": "null"}
    if kind in PLAIN:
        # What is not finite is written as null.
        return {"type": [PLAIN[kind], "null"] if kind is float else PLAIN[kind]}
    if origin is Literal:
        return {"enum": list(inner)}
    if origin in (Union, UnionType):
        return _union([_of(one) for one in inner])
    if origin is tuple:
        many = len(inner) == 2 and inner[1] is Ellipsis
        size = {} if many else {"minItems": len(inner), "maxItems": len(inner)}
        return {"type": "array", "items": _of(inner[0]), **size}
    if origin is dict or origin is Mapping:
        return {"type": "object", "additionalProperties": _of(inner[1])}
    if is_dataclass(kind):
        return _object(kind)
    raise TypeError(f"no JSON Schema for {kind!r}")


def _union(options: list[dict[str, Any]]) -> dict[str, Any]:
    if all(set(one) == {"type"} for one in options):
        names = [[t] if isinstance(t := one["type"], str) else t for one in options]
        return {"type": list(dict.fromkeys(name for some in names for name in some))}
    return {"anyOf": options}


def _object(kind: Any) -> dict[str, Any]:
    hints, said = get_type_hints(kind), words(kind)
    properties = {}
    for one in fields(kind):
        properties[one.name] = _of(hints[one.name])
        if one.name in said:
            properties[one.name]["description"] = said[one.name]
    return {"type": "object", "required": list(properties), "properties": properties}
