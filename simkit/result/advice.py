"""A change of values and what it came to, as the result has it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from simkit.judge.verdict import Outcome


@dataclass(frozen=True)
class ChangedValue:
    """A value of machine or scenario file, before and after, in `unit`."""

    key: str
    before: float | str | None
    after: float | str
    unit: str


@dataclass(frozen=True)
class Advice:
    """A change of values and what it came to."""

    change: Mapping[str, str]
    """Key and new value as the file has it, for `--set`."""
    values: tuple[ChangedValue, ...]
    said: str
    """The change in words."""
    verdict: Outcome
    reason: str
    worst_share: float | None
    worst_quantity: str | None
    before: Mapping[str, float | None]
    """Shares of limits without the change, of what was over or became worse."""
    after: Mapping[str, float | None]
    """The same with it."""
    power_before_w: float | None
    power_after_w: float | None
    power_share: float | None
    """Share of the settled power that is kept."""
    keeps_goal: bool
    """Whether that is as much as was asked for."""
    became_worse: tuple[str, ...]
    """Quantities that use clearly more of their limit than before."""
    tried: Literal["circuit", "fast", False]
