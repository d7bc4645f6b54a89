"""A figure from a formula that holds only within a range, with notes when it was left.

Formulae that hold everywhere return a plain float; those fitted or derived for a range of
inputs return a `Figure`, so that a value obtained outside the range says so wherever it goes.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """A value with its unit, source, and what was outside the formula's range.

    Fields
    ------
    value : in `unit`
    unit : SI unit as text, "1" for a ratio
    source : where the formula is published
    outside : one note per input outside the range, each "outside the formula's range: ..."
    """

    value: float
    unit: str
    source: str
    outside: tuple[str, ...] = ()


def out_of_range(
    name: str, value: float, low: float, high: float, unit: str = ""
) -> tuple[str, ...]:
    """One note when `value` is not within [low, high], none when it is.

    `value`, `low` and `high` share the same unit, printed after the figures.
    """
    if low <= value <= high:
        return ()
    space = f" {unit}" if unit else ""
    limits = f"{low:.4g} to {high:.4g}{space}"
    return (f"outside the formula's range: {name} = {value:.4g}{space}, valid for {limits}",)
