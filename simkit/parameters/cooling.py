"""How heat leaves the machine."""

from typing import Annotated

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Cooling(Section):
    """How the switches get rid of their heat."""

    ambient: Annotated[float, Quantity("degC", "Air at the heatsink", gt=-40, lt=80)]
    pad_resistance: Annotated[float, Quantity("K/W", "Insulating pad, per switch", gt=0, lt=100)]
    heatsink_resistance: Annotated[
        float, Quantity("K/W", "Heatsink to air, all switches together", gt=0, lt=100)
    ]
