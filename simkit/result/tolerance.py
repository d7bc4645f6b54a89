"""What a file's tolerances make of a verdict, as `result.json` has it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class PartFigure:
    """A quantity of a part."""

    part: str
    quantity: str


@dataclass(frozen=True)
class Driver:
    """How much of a spread one key of the file makes."""

    key: str
    share: float


@dataclass(frozen=True)
class Tolerance:
    """What the file's tolerances make of the verdict, by the fast model on the circuit's figures;
    null where nothing could be told, and `note` says why."""

    share_over: float | None
    """Of the machines drawn, those over a limit."""
    share_unknown: float | None
    """Of the machines drawn, those of which the fast model cannot tell."""
    error: float | None
    """Half of the 95 % interval of `share_over`, from the number of draws."""
    draws: int
    followed: int
    """How many of the limits the fast model follows: the share is of these."""
    worst: PartFigure | None
    """The figure over its limit most often, or nearest to it."""
    drivers: tuple[Driver, ...]
    """What moves that figure most."""
    assumed: bool
    """Whether the file states no tolerance, so that the usual ones of its sources stand."""
    turns: bool
    """Whether machines within the tolerances come to another verdict."""
    not_followed: tuple[PartFigure, ...]
    """Figures that the fast model does not follow: no interval."""
    note: str
    """Why there is none; empty where there is one."""
