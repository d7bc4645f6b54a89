"""Two results held against each other: what differs by more than both errors, and which way.

Intervals of value plus and minus error that overlap say nothing: "no difference" means none that
the numerics could tell, not that there is none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Literal

from simkit.judge.verdict import Judged

Mark = Literal["better", "worse", "higher", "lower", "no difference", "not evaluated"]


@dataclass(frozen=True)
class Reading:
    """A value with its numerical error; value, error and limit in the figure's unit."""

    value: float | None
    error: float | None
    limit: float | None
    status: str

    @property
    def ratio(self) -> float | None:
        """Value over limit [1]."""
        return None if self.value is None or self.limit is None else self.value / self.limit


@dataclass(frozen=True)
class Difference:
    """One figure before and after."""

    quantity: str
    part: str
    """Where it is worst afterwards."""
    unit: str
    before: Reading
    after: Reading
    mark: Mark

    @property
    def step(self) -> float:
        """Change as a share of the limit, else of the value before [1]; 0 when not known."""
        a, b = self.before, self.after
        if a.value is None or b.value is None:
            return 0.0
        if a.ratio is not None and b.ratio is not None:
            return b.ratio - a.ratio
        return (b.value - a.value) / abs(a.value) if a.value else 0.0


def of_limits(before: Sequence[Judged], after: Sequence[Judged]) -> tuple[Difference, ...]:
    """Every judged quantity before and after, as shares of the limit each machine has.

    A part with another rating moves the limit, so that volts alone would not tell; less of the
    limit used is better.
    """
    later = {row.quantity: row for row in after}
    return tuple(_of_rows(row, later[row.quantity]) for row in before if row.quantity in later)


def _of_rows(first: Judged, second: Judged) -> Difference:
    a, b = (Reading(r.value, r.error, r.limit, r.status) for r in (first, second))
    way = compare(a.ratio, _share(a), b.ratio, _share(b))
    mark: Mark = {"higher": "worse", "lower": "better"}.get(way, way)  # type: ignore[assignment]  # closed set
    return Difference(second.quantity, second.part, second.unit, a, b, mark)


def _share(reading: Reading) -> float | None:
    if reading.error is None or not reading.limit:
        return None
    return reading.error / abs(reading.limit)


SAME = 1e-4
"""Share of a figure below which two never differ, even two without a numerical error [1].

A driver's power follows from a datasheet's charge and the frequency, and no part is known so well.
"""


def compare(a: float | None, a_error: float | None, b: float | None, b_error: float | None) -> Mark:
    """Which way b lies from a, when further than both errors together.

    "not evaluated" where a figure or an error is missing, is no number, or an error is negative.
    """
    if a is None or a_error is None or b is None or b_error is None:
        return "not evaluated"
    step, room = b - a, a_error + b_error
    if not isfinite(step) or not isfinite(room) or min(a_error, b_error) < 0.0:
        return "not evaluated"
    if abs(step) <= max(room, SAME * max(abs(a), abs(b))):
        return "no difference"
    return "higher" if step > 0.0 else "lower"
