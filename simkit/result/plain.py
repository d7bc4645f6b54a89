"""Figures that are no finite number become None, in types and in data for JSON."""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np


def finite(value: Any) -> Any:
    """The same types with None for every figure that is no finite number."""
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: finite(getattr(value, f.name)) for f in fields(value)})
    if isinstance(value, tuple):
        return tuple(finite(v) for v in value)
    if isinstance(value, Mapping):
        return {k: finite(v) for k, v in value.items()}
    return plain(value)


def plain(value: Any) -> Any:
    """The same data for JSON: what is not a finite number becomes null."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
