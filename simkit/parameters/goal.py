"""What must be kept when advice is looked for: power, frequency, and parts that cannot change."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section

KEPT = 0.8
"""Share of the settled power that is kept where a scenario says nothing [1]: with a fifth less a
piece takes a quarter longer, and that is commonly borne (common practice, no source)."""


class Goal(Section):
    """What a change must leave as it is."""

    keep_power: (
        Annotated[
            float,
            Quantity("1", "Least share of the settled power that is kept; 80 % is wished for if "
                     "nothing is given", gt=0, le=1.5),
        ]
        | None
    ) = None  # fmt: skip
    frequency_min: (
        Annotated[float, Quantity("Hz", "Lowest drive frequency", gt=0, lt=1e7)] | None
    ) = None
    frequency_max: (
        Annotated[float, Quantity("Hz", "Highest drive frequency", gt=0, lt=1e7)] | None
    ) = None
    leave: Annotated[
        tuple[str, ...],
        Field(
            description="Keys of the machine or scenario file that stay as they are, such as "
            "transformer.primary_turns: parts that are not at hand"
        ),
    ] = ()
    most_cans: Annotated[int, Field(ge=1, le=10000, description="Tank capacitors at hand")] | (
        None
    ) = None

    @model_validator(mode="after")
    def _a_range(self) -> Self:
        low, high = self.frequency_min, self.frequency_max
        if low is not None and high is not None and low >= high:
            raise ValueError("frequency_min lies below frequency_max")
        return self
