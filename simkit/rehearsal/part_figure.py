"""One figure of a part around the switches, and its rating in the machine file."""

from dataclasses import dataclass

from simkit.parameters.ratings import Ratings


@dataclass(frozen=True)
class PartFigure:
    """One figure of a part; value and rating in `unit`."""

    part: str
    quantity: str
    unit: str
    value: float
    error: float
    key: str
    """Of the machine file's rating."""
    rating: float | None
    share: float = 1.0
    """Of the rating that may be used [1]."""
    over: tuple[float, float] | None = None
    """From when to when it is a mean or an rms [s]; None for what is none."""
    note: str = ""
    """Why it has no value."""
    below: float = 0.0
    """By how much it may be told too large beyond its error, in `unit`."""


def rating_of(ratings: Ratings | None, key: str) -> float | None:
    """A rating by its key in the machine file, None where it is not given."""
    found: object = ratings
    for name in key.split(".")[1:]:
        found = None if found is None else getattr(found, name)
    return found if isinstance(found, float) else None
