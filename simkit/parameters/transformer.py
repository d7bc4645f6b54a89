"""The matching transformer between bridge and tank."""

from typing import Annotated

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Transformer(Section):
    """Matching transformer between the bridge and the tank."""

    primary_turns: Annotated[int, Quantity("1", "Turns on the bridge side", ge=1, le=1000)]
    secondary_turns: Annotated[int, Quantity("1", "Turns on the tank side", ge=1, le=1000)]
    magnetising_inductance: Annotated[float, Quantity("H", "Seen from the primary", gt=0, lt=10)]
    leakage_inductance: Annotated[float, Quantity("H", "Seen from the primary", gt=0, lt=1e-2)]
    primary_resistance: Annotated[float, Quantity("ohm", "Winding, AC", gt=0, lt=100)]
    secondary_resistance: Annotated[float, Quantity("ohm", "Winding, AC", gt=0, lt=100)]
    blocking_capacitance: (
        Annotated[float, Quantity("F", "Capacitor in series with the primary", gt=0, lt=1e-2)]
        | None
    ) = None
    core_area: Annotated[float, Quantity("m^2", "Effective area of the core", gt=0, lt=0.1)]
    saturation_flux: Annotated[float, Quantity("T", "At working temperature", gt=0, lt=3)]

    @property
    def ratio(self) -> float:
        """Primary turns over secondary turns [1]."""
        return self.primary_turns / self.secondary_turns
