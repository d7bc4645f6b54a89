"""Where the bridge takes its energy from: mains, rectifier, link and film capacitor."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class Capacitor(Section):
    """A capacitor with the two parasitics that matter at a switching edge."""

    capacitance: Annotated[float, Quantity("F", "Capacitance", gt=0, lt=1)]
    esr: Annotated[float, Quantity("ohm", "Equivalent series resistance", gt=0, lt=1e3)]
    esl: Annotated[float, Quantity("H", "Equivalent series inductance", gt=0, lt=1e-5)]


class PrechargePath(Section):
    """What limits the charging current until it is by-passed: a resistor or a lamp."""

    resistor: Annotated[float, Quantity("ohm", "Charging resistor", gt=0, lt=1e6)] | None = None
    lamp_power: Annotated[float, Quantity("W", "Lamp's rating", gt=0, lt=5e3)] | None = None
    lamp_voltage: Annotated[float, Quantity("V", "Lamp's rating, rms", gt=0, lt=1e3)] | None = None
    close_share: Annotated[
        float, Quantity("1", "Relay closes at this share of the peak", gt=0, lt=1)
    ]

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if (self.lamp_power is None) != (self.lamp_voltage is None):
            raise ValueError("lamp_power goes with lamp_voltage")
        if (self.resistor is None) == (self.lamp_power is None):
            raise ValueError("give either resistor or lamp_power with lamp_voltage")
        return self


class Rectifier(Section):
    """Bridge rectifier in front of the link."""

    mains_voltage: Annotated[float, Quantity("V", "Mains, rms", gt=0, le=500)]
    mains_frequency: Annotated[float, Quantity("Hz", "Mains", ge=40, le=500)]
    line_resistance: Annotated[float, Quantity("ohm", "Line, filter and fuse", gt=0, lt=100)]
    line_inductance: (
        Annotated[float, Quantity("H", "Line, filter and choke", ge=0, lt=0.1)] | None
    ) = None
    phases: (
        Annotated[
            Literal[1, 3], Field(description="1: two wires; 3: mains_voltage between two phases")
        ]
        | None
    ) = None
    diode_drop: Annotated[float, Quantity("V", "One of two diodes that conduct", gt=0, lt=3)]
    surge_current: (
        Annotated[float, Quantity("A", "Largest single surge the diodes stand", gt=0, lt=1e5)]
        | None
    ) = None
    bleeder: Annotated[float, Quantity("ohm", "Across the link capacitor", gt=0, lt=1e8)] | None = (
        None
    )
    precharge: PrechargePath | None = None


class Supply(Section):
    """Rectified and smoothed mains, or a bench supply, as the bridge sees it."""

    voltage: Annotated[
        float, Quantity("V", "DC link voltage with no load", gt=0, le=1000, usual=(5, 420))
    ]
    source_resistance: Annotated[
        float,
        Quantity("ohm", "Resistance between the source and the link capacitor", gt=0, lt=1e3),
    ]
    link: Capacitor
    film: Capacitor
    bus_inductance: Annotated[
        float, Quantity("H", "Bus between link and film capacitor", gt=0, lt=1e-4)
    ]
    bus_damping: Annotated[
        float,
        Quantity("ohm", "Resistance that damps the bus inductance, in parallel", gt=0, lt=1e4),
    ]
    rectifier: Rectifier | None = None


class SupplyFile(Supply):
    """Where the bridge takes its energy from; the voltage as measured, or from [supply.rectifier].

    Measured and computed voltage may both be there: the measured one counts.
    """

    voltage: (
        Annotated[
            float, Quantity("V", "DC link voltage with no load", gt=0, le=1000, usual=(5, 420))
        ]
        | None
    ) = None  # type: ignore[assignment]  # as written, before it is worked out

    @model_validator(mode="after")
    def _voltage_is_given(self) -> Self:
        if self.voltage is None and self.rectifier is None:
            raise ValueError("give voltage, or [supply.rectifier]")
        return self
