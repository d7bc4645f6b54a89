"""The capacitor bank and how it is fed."""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Matching(Section):
    """Inductor between the secondary and a shunt-fed tank."""

    inductance: Annotated[float, Quantity("H", "Matching inductor", gt=0, lt=1e-2)]
    resistance: Annotated[float, Quantity("ohm", "Its winding, AC", gt=0, lt=100)]


class Tank(Section):
    """Capacitor bank parallel to the coil, and where the transformer sits."""

    feed: Literal["loop", "shunt"]
    can_capacitance: Annotated[float, Quantity("F", "One can", gt=0, lt=1e-3)]
    cans: Annotated[int, Quantity("1", "Cans in parallel", ge=1, le=1000)]
    can_esr: Annotated[float, Quantity("ohm", "ESR of one can at the frequency", gt=0, lt=10)]
    can_voltage: Annotated[float, Quantity("V", "Allowed rms voltage of a can", gt=0, lt=1e5)]
    can_current: Annotated[float, Quantity("A", "Allowed rms current of a can", gt=0, lt=1e3)]
    matching: Matching | None = None

    @model_validator(mode="after")
    def _shunt_needs_matching(self) -> Self:
        if (self.feed == "shunt") != (self.matching is not None):
            raise ValueError('feed = "shunt" goes with a [tank.matching] table')
        return self

    @property
    def capacitance(self) -> float:
        """Capacitance of the bank [F]."""
        return self.can_capacitance * self.cans

    @property
    def esr(self) -> float:
        """Equivalent series resistance of the bank [ohm]."""
        return self.can_esr / self.cans
