"""The matching transformer between bridge and tank."""

from math import pi
from typing import Annotated, Self

from pydantic import model_validator

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
    core_path: (
        Annotated[
            float,
            Quantity(
                "m", "Effective path length of the core: with it, the core saturates", gt=0, lt=10
            ),
        ]
        | None
    ) = None

    @model_validator(mode="after")
    def _core_helps(self) -> Self:
        if self.core_path is not None:
            air = 4e-7 * pi * self.primary_turns**2 * self.core_area / self.core_path
            if air >= self.magnetising_inductance:
                raise ValueError(
                    "magnetising_inductance must exceed what the winding has without its core, "
                    f"{air:.3g} H from primary_turns, core_area and core_path"
                )
        return self

    @property
    def ratio(self) -> float:
        """Primary turns over secondary turns [1]."""
        return self.primary_turns / self.secondary_turns
