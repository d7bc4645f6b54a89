"""The registry of published checks.

Every module in this folder holds a tuple `CHECKS` of `Check`. `tests/reference/test_checks.py`
runs each as a test, and `python -m tests.reference.checks` computes them all and writes
`docs/validation.md`, so that the figures in the table are measured, never typed.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    """One quantity computed by the project beside a figure from outside it.

    Fields
    ------
    id : short unique name, for example "IND-05"
    quantity : what is compared, in words, with its unit in brackets
    inputs : the inputs, in words
    expected : the figure from outside, in the unit of `quantity`
    tolerance : allowed |computed - expected|, relative to |expected| unless `absolute`
    reason : why the tolerance is what it is, in words
    source : where `expected` comes from; says "recalled from memory" when it was
    compute : returns the project's figure, in the unit of `quantity`
    absolute : the tolerance is in the unit of `quantity`, not a ratio
    """

    id: str
    quantity: str
    inputs: str
    expected: float
    tolerance: float
    reason: str
    source: str
    compute: Callable[[], float]
    absolute: bool = False


@dataclass(frozen=True)
class Outcome:
    """A check with what was measured.

    Fields
    ------
    check : the check
    computed : the project's figure, in the unit of `check.quantity`
    difference : |computed - expected|, a ratio, or in the unit when the check is absolute
    within : whether the difference is within the tolerance
    """

    check: Check
    computed: float
    difference: float
    within: bool


def run_check(check: Check) -> Outcome:
    """Compute one check and compare it with the figure from outside."""
    computed = float(check.compute())
    difference = abs(computed - check.expected)
    if not check.absolute:
        if check.expected == 0.0:
            raise ValueError(f"{check.id}: expected 0 needs an absolute tolerance")
        difference /= abs(check.expected)
    # A NaN must fail, so the comparison is written this way round.
    return Outcome(check, computed, difference, within=bool(difference <= check.tolerance))


def collect() -> tuple[Check, ...]:
    """All checks of all modules in this folder, by module name; refuses an id used twice."""
    found: list[Check] = []
    for info in sorted(pkgutil.iter_modules(__path__), key=lambda module: module.name):
        if not info.name.startswith("_"):
            found.extend(importlib.import_module(f"{__name__}.{info.name}").CHECKS)
    ids = [check.id for check in found]
    twice = sorted({one for one in ids if ids.count(one) > 1})
    if twice:
        raise ValueError(f"check ids used twice: {', '.join(twice)}")
    return tuple(found)


def __getattr__(name: str) -> tuple[Check, ...]:
    """`ALL`, collected when first asked for: the modules import `Check` from here."""
    if name != "ALL":
        raise AttributeError(name)
    return collect()
