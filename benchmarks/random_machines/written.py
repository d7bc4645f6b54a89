"""TOML as a person writes it: quantities with a unit and three digits, tables in order."""

from __future__ import annotations

from collections.abc import Mapping
from math import floor, log10
from typing import Any

PREFIXES = {-12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M"}


def rounded(value: float, digits: int = 3) -> float:
    """To so many significant digits."""
    if value == 0.0:
        return 0.0
    return round(value, digits - 1 - floor(log10(abs(value))))


def quantity(value: float, unit: str, digits: int = 3) -> str:
    """A number with its unit in engineering prefixes: 4.7e-6, "F" is "4.7 uF"."""
    value = rounded(value, digits)
    if value == 0.0:
        return f"0 {unit}"
    power = min(max(3 * floor(log10(abs(value)) / 3), -12), 6)
    return f"{rounded(value / 10.0**power, digits):g} {PREFIXES[power]}{unit}"


def toml(table: Mapping[str, Any], place: str = "") -> str:
    """Text of a table: its values, then its tables, lists of tables as [[...]]."""
    values = {k: v for k, v in table.items() if not _is_table(v)}
    lines = [f"{key} = {_value(value)}" for key, value in values.items()]
    for key, value in table.items():
        name = f"{place}{key}"
        if isinstance(value, Mapping):
            lines += ["", f"[{name}]", toml(value, f"{name}.").rstrip("\n")]
        elif _is_table(value):
            for item in value:
                lines += ["", f"[[{name}]]", toml(item, f"{name}.").rstrip("\n")]
    return "\n".join(lines) + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)
    )


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):  # a row of inline tables, as a transient curve is written
        rows = (", ".join(f"{k} = {_value(v)}" for k, v in row.items()) for row in value)
        return "[" + ", ".join(f"{{ {row} }}" for row in rows) + "]"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return f"{value:g}" if isinstance(value, float) else str(value)
