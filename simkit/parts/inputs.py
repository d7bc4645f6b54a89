"""One wording for values no part can have."""

from __future__ import annotations

import math


def positive(**values: float) -> None:
    """Refuse, with its name, any value not greater than 0 and finite (ValueError)."""
    for name, value in values.items():
        if not (value > 0.0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value:g}; it must be greater than 0 and finite")


def not_negative(**values: float) -> None:
    """Refuse, with its name, any value below 0 or not finite (ValueError)."""
    for name, value in values.items():
        if not (value >= 0.0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value:g}; it must be 0 or more, and finite")
