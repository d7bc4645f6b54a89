"""What the drive does to protect its switches: trips, lock-out, a slow limit of the current."""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section

BLANKED = Quantity("s", "After each turn-on, in which the comparator is not heard", ge=0, lt=1e-3)
LATE = Quantity("s", "Of the whole chain, from the comparator to all gates off", ge=0, lt=0.1)


class Trip(Section):
    """Overcurrent trip: all gates go off when a current has passed its level."""

    senses: Literal["output", "link"]
    """output: the bridge's output current, as a current transformer there sees it, of either sign;
    link: the current from the link into the bridge's upper switches, which a short through a leg
    passes through and the output does not."""
    level: Annotated[float, Quantity("A", "Current at which the comparator turns", gt=0, lt=1e5)]
    blanking: Annotated[float, BLANKED]
    delay: Annotated[float, LATE]
    retry_after: (
        Annotated[
            float,
            Quantity("s", "Gates off to on again; latched when left out", gt=0, lt=100),
        ]
        | None
    ) = None
    retries: (
        Annotated[int, Quantity("1", "How often it tries again before it latches", ge=1, le=5)]
        | None
    ) = None

    @model_validator(mode="after")
    def _retries_go_together(self) -> Self:
        if (self.retry_after is None) != (self.retries is None):
            raise ValueError("retry_after and retries go together; without them the trip latches")
        return self


class Desaturation(Section):
    """Trip on the voltage across a switch that is told to be on; latched."""

    level: Annotated[
        float, Quantity("V", "Across a switch that is told on, lead to lead", gt=0, lt=100)
    ]
    blanking: Annotated[float, BLANKED]
    delay: Annotated[float, LATE]
