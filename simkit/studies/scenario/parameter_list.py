"""Every value of a machine file with its meaning and origin, as a report lists them."""

from collections.abc import Iterator, Mapping
from math import exp
from typing import Any

from pydantic import BaseModel

from simkit.parameters.fields import Quantity, field_of
from simkit.parameters.load import Loaded, Origin
from simkit.parameters.machine import Machine
from simkit.report import view as page
from simkit.studies.inputs.uncertain_values import COVERAGE, value_at
from simkit.units import format_quantity

TABLES = ("levels", "fit")
"""Worked out point by point from values that are listed, or the numbers of a fit's joint
uncertainty; nobody reads them one by one."""


def parameters(
    model: BaseModel, origins: Mapping[str, Origin], prefix: str = ""
) -> Iterator[page.Parameter]:
    """Every value of the machine file, in its order, with where it came from."""
    for name in type(model).model_fields:
        value, key = getattr(model, name), prefix + name
        if name in TABLES:
            continue
        if isinstance(value, BaseModel):
            yield from parameters(value, origins, key + ".")
        elif isinstance(value, dict):
            for inner, item in value.items():
                yield from parameters(item, origins, f"{key}.{inner}.")
        elif isinstance(value, tuple):
            for number, item in enumerate(value):
                yield from parameters(item, origins, f"{key}.{number}.")
        elif value is not None and value != "":
            yield _parameter(key, value, field_of(type(model), name), origins.get(key))


def _parameter(
    key: str, value: object, quantity: Quantity | None, origin: Origin | None
) -> page.Parameter:
    shown = str(value)
    if quantity is not None and isinstance(value, int | float):
        shown = format_quantity(float(value), quantity.unit)
        shown = shown.removesuffix(" 1")
    tolerance = origin.tolerance if origin else None
    return page.Parameter(
        section=key.split(".")[0] if "." in key else "",
        key=key,
        meaning=quantity.description if quantity else "",
        value=shown,
        source=origin.source if origin else "",
        tolerance="" if tolerance is None else f"± {100.0 * tolerance:.3g} %",
        note=origin.note if origin else "",
        line=origin.line if origin else None,
    )


def fitted(machine: Loaded[Machine]) -> Iterator[page.Fitted]:
    """Values whose source is a fit, each with its 95 % interval and the readings it is from.

    The interval is that of the file's `[fit]`, a normal distribution of the logarithm; of the
    value's own tolerance where `[fit]` does not name it.
    """
    record = machine.model.fit
    known = dict(zip(record.parameters, record.deviation, strict=True)) if record else {}
    for key, origin in machine.origins.items():
        value = value_at(machine.model, key)
        if origin.source != "fitted" or not isinstance(value, float):
            continue
        wide = COVERAGE * known[key] if key in known else origin.tolerance or 0.0
        unit = _unit(machine.model, key)
        low, high = (format_quantity(value * exp(s * wide), unit, 4) for s in (-1.0, 1.0))
        yield page.Fitted(key, format_quantity(value, unit, 4), low, high, origin.note)


def _unit(model: Any, key: str) -> str:
    table, _, name = key.rpartition(".")
    quantity = field_of(type(value_at(model, table) if table else model), name)
    return quantity.unit if quantity else "1"
