"""One design number of `simkit check`, and what makes a row of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan

from simkit.judge.limits import Limit


@dataclass(frozen=True)
class CheckRow:
    """One design number; value and limit in `unit`."""

    load: str
    """Name of the workpiece, "empty" for the coil alone, "machine" for what no load changes."""
    quantity: str
    unit: str
    value: float
    """NaN where it could not be had."""
    limit: float | None
    low: bool
    """Whether the limit is a least value instead of a largest."""
    source: str

    @property
    def status(self) -> str:
        """ok, over, not_evaluated, or "" where there is no limit."""
        if isnan(self.value) or (self.limit is not None and isnan(self.limit)):
            return "not_evaluated"
        if self.limit is None:
            return ""
        return "over" if (self.value < self.limit) == self.low else "ok"


@dataclass(frozen=True)
class Rows:
    """Makes the rows of one load."""

    load: str
    limits: Mapping[str, Limit]

    def plain(self, quantity: str, unit: str, value: float, source: str) -> CheckRow:
        """A number without a limit."""
        return CheckRow(self.load, quantity, unit, value, None, False, source)

    def judged(self, quantity: str, unit: str, value: float, limit: str) -> CheckRow:
        """A number beside one of the machine's limits, by the limit's name."""
        bound = self.limits[limit]
        return CheckRow(self.load, quantity, unit, value, bound.bound, False, bound.source)

    def most(
        self, quantity: str, unit: str, value: float, bound: float | None, source: str
    ) -> CheckRow:
        """A number beside the largest it may be; None where nobody gave one."""
        return CheckRow(self.load, quantity, unit, value, bound, False, source)

    def least(self, quantity: str, unit: str, value: float, bound: float, source: str) -> CheckRow:
        """A number beside the least it may be."""
        return CheckRow(self.load, quantity, unit, value, bound, True, source)
