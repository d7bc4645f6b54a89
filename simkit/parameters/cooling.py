"""How heat leaves the machine: air for the switches, water for the coil."""

from typing import Annotated, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Water(Section):
    """Cooling water through the coil's tube, leads included."""

    flow: Annotated[float, Quantity("m^3/s", "Through the tube", gt=0, lt=0.01)]
    inlet: Annotated[float, Quantity("degC", "Temperature it comes in with", ge=0, lt=100)]
    outlet_pressure: (
        Annotated[
            float,
            Quantity("Pa", "Absolute, where it leaves; none: open to the air", gt=1e4, lt=2e6),
        ]
        | None
    ) = None
    bore: (
        Annotated[float, Quantity("m", "Of the tube, where there is no geometry", gt=0, lt=0.1)]
        | None
    ) = None
    length: (
        Annotated[float, Quantity("m", "Of the tube, where there is no geometry", gt=0, lt=1e3)]
        | None
    ) = None

    @model_validator(mode="after")
    def _both_or_none(self) -> Self:
        if (self.bore is None) != (self.length is None):
            raise ValueError("bore goes with length")
        return self


class Cooling(Section):
    """How the switches get rid of their heat."""

    ambient: Annotated[float, Quantity("degC", "Air at the heatsink", gt=-40, lt=80)]
    pad_resistance: Annotated[float, Quantity("K/W", "Insulating pad, per switch", gt=0, lt=100)]
    heatsink_resistance: Annotated[
        float, Quantity("K/W", "Heatsink to air, all switches together", gt=0, lt=100)
    ]
    case_heat_capacity: (
        Annotated[
            float,
            Quantity("J/K", "Case of one switch; none: the hotter of nothing and endless", gt=0,
                     lt=1e4),
        ]
        | None
    ) = None  # fmt: skip
    heatsink_heat_capacity: (
        Annotated[
            float,
            Quantity("J/K", "Heatsink with all that is bolted to it; none: as the case", gt=0,
                     lt=1e6),
        ]
        | None
    ) = None  # fmt: skip
    water: Water | None = None
