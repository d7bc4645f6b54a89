"""The fitted machine file: comments and layout kept, each fitted value beside what it was."""

from typing import Any

import numpy as np

from simkit.parameters.fields import field_units
from simkit.parameters.machine import Machine
from simkit.studies.fit.study import Fit, FittedValue
from simkit.units import format_quantity


def fitted_text(text: str, found: Fit, readings: str) -> tuple[str, list[str]]:
    """Text of the machine file with the fitted values in it, and what could not be put there.

    `text` is the original file, `readings` the name of what was fitted to. A fitted value gets
    source "fitted", its tolerance, and a note with what stood there before; `[fit]` keeps the joint
    uncertainty. A value that follows from something else in the file (a geometry, a part file) has
    no place of its own; it is left as it is, and a sentence says so.
    """
    import tomlkit

    document = tomlkit.parse(text)
    lost = [v for v in found.values if v.fitted and not _place(document, v, readings)]
    document["fit"] = _record(found, readings, {v.key for v in lost})
    return tomlkit.dumps(document), [_no_place(v) for v in lost]


def unit_of(key: str) -> str:
    """Unit of a machine's value by dotted key."""
    units = field_units(Machine)
    head, _, rest = key.partition(".")
    star = f"{head}.*.{rest.partition('.')[2]}"
    return units.get(key) or units[star]


def _place(document: Any, value: FittedValue, readings: str) -> bool:
    """Put a value in place of the old one; whether it had a place."""
    import tomlkit

    *path, last = value.key.split(".")
    table = document
    for part in path:
        if part not in table:
            return False
        table = table[part]
    if last not in table:
        return False
    unit = unit_of(value.key)
    new = tomlkit.inline_table()
    half = 0.5 * (np.log(value.high) - np.log(value.low))
    new["value"] = format_quantity(value.after, unit, 5)
    new["source"] = "fitted"
    new["tolerance"] = f"{100.0 * half:.3g} %"
    new["note"] = f"was {format_quantity(value.before, unit)} ({value.source}); {readings}"
    table[last] = new
    return True


def _no_place(value: FittedValue) -> str:
    times = value.after / value.before
    return (
        f"{value.key}: the readings want {times:.4g} times what follows from elsewhere in "
        "the file; it has no place of its own there and was not written."
    )


def _record(found: Fit, readings: str, lost: set[str]) -> Any:
    """The table `[fit]`."""
    import tomlkit

    kept = [k for k, u in enumerate(found.chosen) if u.key not in lost]
    covariance = found.solution.covariance[np.ix_(kept, kept)]
    deviation = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(deviation, deviation)
    table = tomlkit.table()
    table.comment("joint uncertainty of the values, written by simkit fit")
    table["parameters"] = _many([found.chosen[k].key for k in kept])
    table["deviation"] = [float(f"{d:.4g}") for d in deviation]
    table["correlation"] = _many([[float(f"{x:.6f}") for x in row] for row in correlation])
    table["note"] = f"from {readings}; logarithms, normally distributed"
    return table


def _many(rows: list[Any]) -> Any:
    import tomlkit

    array = tomlkit.array()
    array.extend(rows)
    return array.multiline(True)
