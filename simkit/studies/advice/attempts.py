"""What was rehearsed, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simkit.parameters.goal import Goal
from simkit.studies.advice.changes import Change
from simkit.studies.advice.search import Option, is_asked, kept_share

CLEAR = 0.01
"""Share of a limit by which a figure must rise to be told as worse [1]."""
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Attempt:
    """A combination that was rehearsed: what was changed, and what its circuit runs found."""

    option: Option
    changes: tuple[Change, ...]
    row: Row
    before: Row
    goal: Goal | None

    @property
    def within(self) -> bool:
        """Whether every limit checked is kept, and not by a drive that trips now."""
        trips = self.row.get("tripped") and not self.before.get("tripped")
        return self.row["outcome"] == "within_limits" and not trips

    @property
    def power_kept(self) -> float | None:
        """Share of the settled power [1]; None where it is not known."""
        now, was = self.row["power"], self.before["power"]
        return now / was if now is not None and was is not None and was > 0.0 else None

    @property
    def keeps_goal(self) -> bool:
        """Whether as much power is kept as is wished for."""
        kept = self.power_kept
        return kept is not None and kept >= kept_share(self.goal)

    @property
    def worst(self) -> tuple[float | None, str]:
        """Largest share of a limit [1] and its quantity."""
        rows = {q: r["ratio"] for q, r in self.row["limits"].items()}
        if not rows or any(r is None for r in rows.values()):
            return None, ""
        name = max(rows, key=lambda q: rows[q])
        return float(rows[name]), name

    @property
    def worse(self) -> tuple[str, ...]:
        """Quantities that use clearly more of their limit than before, the worst first."""
        found = {}
        for name, after in self.row["limits"].items():
            before = self.before["limits"].get(name)
            if before is None or after["ratio"] is None or before["ratio"] is None:
                continue
            rise = after["ratio"] - before["ratio"]
            if rise > max(CLEAR, (after["error"] or 0.0) + (before["error"] or 0.0)):
                found[name] = after["ratio"]
        return tuple(sorted(found, key=lambda q: -found[q]))

    @property
    def rank(self) -> tuple[bool, bool, float]:
        """Within and as much power as wished for first, then the least change; of those that are
        not within, what misses least."""
        if self.within:
            return False, not self.keeps_goal, self.option.cost
        worst = self.worst[0]
        return True, True, float("inf") if worst is None else worst


@dataclass(frozen=True)
class Advised:
    """What was tried, best first; looked: combinations and steps the fast model looked at."""

    attempts: tuple[Attempt, ...]
    looked: int
    goal: Goal | None
    why_not: str = ""
    """Why nothing was tried; empty where something was."""

    @property
    def less(self) -> Attempt | None:
        """Where nothing keeps the power that was asked for: what is within with less of it."""
        within = [a for a in self.attempts if a.within] if self.best is None else []
        return within[0] if within else None

    @property
    def best(self) -> Attempt | None:
        """The one to take: within the limits checked, and the power as asked; None without one."""
        for attempt in self.attempts:
            if attempt.within and (attempt.keeps_goal or not is_asked(self.goal)):
                return attempt
        return None
