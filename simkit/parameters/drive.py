"""Oscillator, drivers and gate loops."""

from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.loop import Loop
from simkit.parameters.protection import Desaturation, Trip
from simkit.parameters.section import Section


class GateTransformer(Section):
    """Gate-drive transformer, 1:1, seen from its driver."""

    magnetising_inductance: Annotated[float, Quantity("H", "Magnetising inductance", gt=0, lt=1)]
    leakage_inductance: Annotated[float, Quantity("H", "Leakage inductance", gt=0, lt=1e-3)]
    winding_resistance: Annotated[float, Quantity("ohm", "Both windings together", gt=0, lt=100)]
    coupling_capacitance: Annotated[
        float, Quantity("F", "Capacitor that keeps DC out of the primary", gt=0, lt=1e-3)
    ]


class Drive(Section):
    """Oscillator, drivers and gate loops; every gate loop is alike."""

    frequency_min: Annotated[
        float, Quantity("Hz", "Lowest frequency the oscillator reaches", gt=0, lt=1e7)
    ]
    frequency_max: Annotated[
        float, Quantity("Hz", "Highest frequency the oscillator reaches", gt=0, lt=1e7)
    ]
    working_margin: Annotated[
        float,
        Quantity(
            "1",
            "How far above the loaded resonance the heater is run, as a share",
            gt=0,
            lt=1,
            usual=(0.005, 0.3),
        ),
    ]
    dead_time: Annotated[
        float,
        Quantity("s", "One gate command off to the other on", gt=0, lt=1e-4, usual=(5e-8, 5e-6)),
    ]
    voltage_on: Annotated[float, Quantity("V", "Driver output, switch on", gt=0, lt=40)]
    voltage_off: Annotated[float, Quantity("V", "Driver output, switch off", ge=-30, le=0)]
    edge_time: Annotated[
        float, Quantity("s", "Driver output from one level to the other", gt=0, lt=1e-6)
    ]
    source_resistance: Annotated[float, Quantity("ohm", "Driver output, sourcing", gt=0, lt=1e3)]
    sink_resistance: Annotated[float, Quantity("ohm", "Driver output, sinking", gt=0, lt=1e3)]
    gate_resistor: Annotated[
        float, Quantity("ohm", "Resistor at each gate", gt=0, lt=1e4, usual=(1, 200))
    ]
    turn_off_resistor: (
        Annotated[
            float, Quantity("ohm", "Second resistor, through a diode, at turn-off", gt=0, lt=1e4)
        ]
        | None
    ) = None
    loop_inductance: Annotated[float, Quantity("H", "Gate loop, leads and back", gt=0, lt=1e-5)]
    bleed_resistor: Annotated[
        float, Quantity("ohm", "From gate to source at the switch", gt=0, lt=1e9)
    ]
    isolation: Literal["ideal", "transformer"]
    transformer: GateTransformer | None = None
    loop: Loop | None = None
    trip: Trip | None = None
    desaturation: Desaturation | None = None
    lock_out: (
        Annotated[
            float,
            Quantity("V", "Drivers' supply below which they hold every gate off", gt=0, lt=40),
        ]
        | None
    ) = None
    delay_spread: (
        Annotated[
            float,
            Quantity("s", "By which switch 1 is switched later than the others", ge=0, lt=1e-5),
        ]
        | None
    ) = None

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.frequency_min >= self.frequency_max:
            raise ValueError("frequency_min must be below frequency_max")
        if (self.isolation == "transformer") != (self.transformer is not None):
            raise ValueError('isolation = "transformer" goes with a [drive.transformer] table')
        if 2 * (self.dead_time + self.edge_time) >= 0.5 / self.frequency_max:
            raise ValueError("dead_time leaves no room for an on-time at frequency_max")
        if self.edge_time >= self.dead_time:
            raise ValueError("edge_time must be shorter than dead_time")
        if self.lock_out is not None and self.lock_out >= self.voltage_on:
            raise ValueError(
                f"lock_out = {self.lock_out:g} V is not below voltage_on: the drivers would never "
                "switch"
            )
        return self

    @model_validator(mode="after")
    def _loop_fits(self) -> Self:
        if self.loop is None:
            return self
        width, late = self.loop.bandwidth, self.loop.delay
        if width is not None and width > 0.1 * self.frequency_min:
            raise ValueError(
                f"loop.bandwidth = {width:g} Hz is above a tenth of frequency_min: a "
                "detector knows the phase only once every half period, and faster than that "
                "nothing can be held"
            )
        if late is not None and late >= 0.5 / self.frequency_max:
            raise ValueError("loop.delay must be shorter than half a period at frequency_max")
        least = 0.5 * self.dead_time + self.edge_time
        if self.loop.by == "self-oscillating" and (late or 0.0) < least:
            raise ValueError(
                f"loop.delay must be at least {least:.3g} s: half the dead time and an edge lie "
                "between the current's zero and the middle of the dead time"
            )
        return self
