"""What comes before and after a rehearsal's milliseconds: minutes of heating, and the precharge.

No circuit runs through minutes. What is judged here is marched at its own time scale with formulae
of parts/, from what the circuit run of the scenario lost and drew; results say so.
"""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section


class Water(Section):
    """Cooling water of the coil."""

    volume: Annotated[float, Quantity("m^3", "Water inside the coil and its leads", gt=0, lt=0.1)]
    inlet: Annotated[float, Quantity("degC", "Water coming in", gt=0, lt=60)]
    flow: Annotated[float, Quantity("m^3/s", "Flow; left out: the pump stands", gt=0, lt=0.1)] | (
        None
    ) = None
    copper: Annotated[float, Quantity("kg", "Copper of the coil that heats with it", ge=0, lt=100)]


class Charge(Section):
    """What is to be heated or melted, at one temperature throughout."""

    material: Name
    mass: Annotated[float, Quantity("kg", "Mass of the charge", gt=0, lt=1000)]
    start: Annotated[float, Quantity("degC", "At the beginning", gt=-40, lt=3000)]
    target: Annotated[float, Quantity("degC", "Wanted in the end", gt=0, lt=3000)]
    radiating_area: Annotated[float, Quantity("m^2", "Surface that radiates", ge=0, lt=10)]
    emissivity: Annotated[float, Quantity("1", "Of that surface", ge=0, le=1)]
    insulation: Annotated[float, Quantity("K/W", "Through the insulation", gt=0, lt=1e6)]
    moisture: (
        Annotated[
            float,
            Quantity("kg", "Water in crucible, lining and charge, to be dried out", gt=0, lt=100),
        ]
        | None
    ) = None


class Aftermath(Section):
    """The last state of the run goes on for a while."""

    time: Annotated[float, Quantity("s", "How long it goes on", gt=0, lt=1e6)]
    begins: Literal["cold", "settled"]
    """Heatsink at the air's temperature, or as warm as the state before the events makes it."""
    heatsink_heat_capacity: (
        Annotated[
            float,
            Quantity("J/K", "Heatsink with all that is bolted to it; none: cooling's own", gt=0,
                     lt=1e6),
        ]
        | None
    ) = None  # fmt: skip
    heatsink_resistance: (
        Annotated[float, Quantity("K/W", "Heatsink to air from now on", gt=0, lt=100)] | None
    ) = None
    water: Water | None = None
    charge: Charge | None = None


class Precharge(Section):
    """How the link is charged before anything switches."""

    mains_frequency: Annotated[float, Quantity("Hz", "Of the mains", gt=10, lt=1000)]
    diode_drop: Annotated[float, Quantity("V", "One rectifier diode; two conduct", ge=0, lt=5)]
    resistor: Annotated[float, Quantity("ohm", "Limiting resistor", gt=0, lt=1e5)] | None = None
    lamp_voltage: Annotated[float, Quantity("V", "Rating of the lamp", gt=0, lt=1000)] | None = None
    lamp_power: Annotated[float, Quantity("W", "Rating of the lamp", gt=0, lt=1e4)] | None = None

    @model_validator(mode="after")
    def _one_limiter(self) -> Self:
        lamp = self.lamp_voltage is not None, self.lamp_power is not None
        if any(lamp) != all(lamp):
            raise ValueError("lamp_voltage and lamp_power go together")
        if any(lamp) == (self.resistor is not None):
            raise ValueError("give either resistor, or lamp_voltage and lamp_power")
        return self
