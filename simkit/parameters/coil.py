"""The work coil, alone and with a piece in it, as the circuit sees them."""

from typing import Annotated

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section, Text


class Load(Section):
    """Inductance and resistance seen at the coil's ends, as one would measure them."""

    inductance: Annotated[float, Quantity("H", "Coil with its leads", gt=0, lt=1e-3)]
    resistance: Annotated[float, Quantity("ohm", "Coil with what it heats", gt=0, lt=100)]


class Coil(Section):
    """The work coil with nothing in it."""

    inductance: Annotated[float, Quantity("H", "Coil with its leads", gt=0, lt=1e-3)]
    resistance: Annotated[float, Quantity("ohm", "Coil and leads, AC", gt=0, lt=100)]

    def as_load(self) -> Load:
        """The empty coil as a load."""
        return Load(inductance=self.inductance, resistance=self.resistance)


class Workpiece(Load):
    """A piece in the coil: what the coil's ends measure then."""

    title: Text
    travel: Annotated[
        float, Quantity("m", "Way from fully in to fully out of the field", gt=0, lt=10)
    ]
