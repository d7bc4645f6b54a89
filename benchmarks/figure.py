"""One figure of the benchmarks: what it is, what was measured, what it should be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True)
class Figure:
    """Fields: number and name; kind, whether value is a ratio or a value with a unit; value, None
    where it could not be had; goal, the largest allowed (the least, where at_least); note."""

    number: int
    name: str
    kind: Literal["ratio", "value"]
    value: float | None
    goal: float
    unit: str = "1"
    at_least: bool = False
    allowed: bool = True
    """Whether what the figure takes for granted holds, such as the accuracy it was had at."""
    note: str = ""
    points: tuple[dict[str, Any], ...] = ()
    """What was compared, one by one; `--write` puts them into docs/numerics.md."""

    @property
    def met(self) -> bool:
        """Whether the goal is met; what could not be had meets nothing."""
        if self.value is None or not self.allowed:
            return False
        # A figure computed with numpy compares to numpy's own bool, which JSON does not know.
        return bool(self.value >= self.goal if self.at_least else self.value <= self.goal)

    def as_json(self) -> dict[str, object]:
        """One entry of the document."""
        value = None if self.value is None else float(self.value)
        return {"name": self.name, self.kind: value, "unit": self.unit, "goal": self.goal,
                "met": self.met, "note": self.note}  # fmt: skip
