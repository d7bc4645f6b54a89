"""The capacitor bank and how it is fed."""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Matching(Section):
    """Inductor between the secondary and a shunt-fed tank."""

    inductance: Annotated[float, Quantity("H", "Matching inductor", gt=0, lt=1e-2)]
    resistance: Annotated[float, Quantity("ohm", "Its winding, AC", gt=0, lt=100)]


class Can(Section):
    """One can of the bank by its data sheet: what it loses and what bounds it at a frequency."""

    loss_factor: Annotated[float, Quantity("1", "tan delta of the dielectric alone", gt=0, lt=0.1)]
    series_resistance: Annotated[float, Quantity("ohm", "Metal and contacts", gt=0, lt=1)]
    inductance: Annotated[float, Quantity("H", "ESL", gt=0, lt=1e-6)]
    thermal_resistance: Annotated[float, Quantity("K/W", "Hot spot to ambient", gt=0, lt=1e3)]
    allowed_rise: Annotated[float, Quantity("K", "Of the hot spot over ambient", gt=0, lt=150)]
    heat_capacity: (
        Annotated[float, Quantity("J/K", "Of a can; none: hot at once", gt=0, lt=1e5)] | None
    ) = None


class Bus(Section):
    """The rails the cans sit along."""

    inductance: Annotated[
        float, Quantity("H", "From one can to the next, both rails together", gt=0, lt=1e-6)
    ]
    feed: Literal["same-end", "opposite-ends"]


class Tank(Section):
    """Capacitor bank parallel to the coil, and where the transformer sits."""

    feed: Literal["loop", "shunt"]
    can_capacitance: Annotated[float, Quantity("F", "One can", gt=0, lt=1e-3)]
    cans: Annotated[int, Quantity("1", "Cans in parallel", ge=1, le=1000)]
    can_esr: Annotated[float, Quantity("ohm", "ESR of one can at the frequency", gt=0, lt=10)]
    can_voltage: Annotated[float, Quantity("V", "Allowed rms voltage of a can", gt=0, lt=1e5)]
    can_current: Annotated[float, Quantity("A", "Allowed rms current of a can", gt=0, lt=1e3)]
    matching: Matching | None = None
    can: Can | None = None
    bus: Bus | None = None

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


class TankFile(Tank):
    """Capacitor bank parallel to the coil; a can's ESR as measured, or from [tank.can]."""

    can_esr: (
        Annotated[float, Quantity("ohm", "ESR of one can at the frequency", gt=0, lt=10)] | None
    ) = None  # type: ignore[assignment]  # as written, before it is worked out

    @model_validator(mode="after")
    def _esr_is_given(self) -> Self:
        if self.can_esr is None and self.can is None:
            raise ValueError("give can_esr as measured, or [tank.can]")
        return self
