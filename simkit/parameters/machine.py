"""The machine file: one induction heater, described once.

Every quantity is a plain SI float after loading; its unit and meaning stand beside the field.
A section describes one thing a person can touch. No field has a default that stands in for a
physical quantity: what is optional is a part that a machine may lack (a snubber, a blocking
capacitor), and then the absence is what is modelled.
"""

from math import pi, sqrt
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section, Text
from simkit.parameters.switch import (
    BodyDiode,
    Channel,
    Package,
    Switch,
    SwitchRatings,
    TransientPoint,
)

__all__ = [
    "BodyDiode",
    "Bridge",
    "Capacitor",
    "Channel",
    "Coil",
    "Cooling",
    "Derating",
    "Drive",
    "GateTransformer",
    "Limits",
    "Load",
    "Machine",
    "Matching",
    "Name",
    "Package",
    "Section",
    "Snubber",
    "Supply",
    "Switch",
    "SwitchRatings",
    "Tank",
    "Text",
    "Transformer",
    "TransientPoint",
    "Workpiece",
]


class Capacitor(Section):
    """A capacitor with the two parasitics that matter at a switching edge."""

    capacitance: Annotated[float, Quantity("F", "Capacitance", gt=0, lt=1)]
    esr: Annotated[float, Quantity("ohm", "Equivalent series resistance", gt=0, lt=1e3)]
    esl: Annotated[float, Quantity("H", "Equivalent series inductance", gt=0, lt=1e-5)]


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


class Snubber(Section):
    """Resistor and capacitor in series, across each switch or across each leg."""

    place: Literal["switch", "leg"]
    resistance: Annotated[float, Quantity("ohm", "Snubber resistor", gt=0, lt=1e5)]
    capacitance: Annotated[float, Quantity("F", "Snubber capacitor", gt=0, lt=1e-5)]


class Bridge(Section):
    """One or two legs of switches and the loop that closes their commutation."""

    topology: Literal["full", "half-split", "half-blocking"]
    loop_inductance: Annotated[
        float,
        Quantity("H", "Film capacitor to bridge and back", gt=0, lt=1e-5, usual=(5e-9, 5e-7)),
    ]
    loop_damping: Annotated[
        float,
        Quantity("ohm", "Resistance that damps the loop inductance, in parallel", gt=0, lt=1e4),
    ]
    split_capacitance: (
        Annotated[float, Quantity("F", "Each of the two midpoint capacitors", gt=0, lt=0.1)] | None
    ) = None
    split_esr: (
        Annotated[float, Quantity("ohm", "ESR of each midpoint capacitor", gt=0, lt=100)] | None
    ) = None
    snubber: Snubber | None = None

    @model_validator(mode="after")
    def _split_needs_capacitors(self) -> Self:
        split = self.topology == "half-split"
        given = (self.split_capacitance is not None, self.split_esr is not None)
        if split and not all(given):
            raise ValueError("half-split needs split_capacitance and split_esr")
        if not split and any(given):
            raise ValueError("split_capacitance and split_esr belong to half-split only")
        return self


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
        return self


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


class Cooling(Section):
    """How the switches get rid of their heat."""

    ambient: Annotated[float, Quantity("degC", "Air at the heatsink", gt=-40, lt=80)]
    pad_resistance: Annotated[float, Quantity("K/W", "Insulating pad, per switch", gt=0, lt=100)]
    heatsink_resistance: Annotated[
        float, Quantity("K/W", "Heatsink to air, all switches together", gt=0, lt=100)
    ]


class Derating(Section):
    """What share of each rating this machine may use."""

    drain_voltage: Annotated[float, Quantity("1", "Of V_DSS", gt=0, le=1)]
    current: Annotated[float, Quantity("1", "Of I_D and I_DM", gt=0, le=1)]
    gate_voltage: Annotated[float, Quantity("1", "Of the V_GS rating", gt=0, le=1)]
    recovery: Annotated[float, Quantity("1", "Of recovery dv/dt and di/dt", gt=0, le=1)]
    junction_rise: Annotated[
        float, Quantity("1", "Of the rise from ambient to T_J max", gt=0, le=1)
    ]
    capacitor: Annotated[float, Quantity("1", "Of a can's voltage and current", gt=0, le=1)]
    flux: Annotated[float, Quantity("1", "Of the saturation flux", gt=0, le=1)]


class Limits(Section):
    """Limits of the machine as a whole, and the derating of its parts."""

    supply_current: Annotated[
        float, Quantity("A", "Average supply current allowed (fuse, wiring)", gt=0, lt=1e3)
    ]
    hold_time: Annotated[
        float,
        Quantity("s", "How long the last state must be bearable for the junction", gt=0, lt=1e4),
    ]
    threshold_margin: Annotated[
        float, Quantity("V", "Gate of an off switch must stay this far below threshold", ge=0)
    ]
    derating: Derating


class Machine(Section):
    """One induction heater."""

    name: Name
    title: Text
    description: Text = ""
    supply: Supply
    bridge: Bridge
    switch: Switch
    drive: Drive
    transformer: Transformer
    tank: Tank
    coil: Coil
    workpieces: dict[Name, Workpiece]
    cooling: Cooling
    limits: Limits

    def load(self, name: str) -> Load:
        """Load by the name of a workpiece, or "empty" for the coil alone."""
        if name == "empty":
            return self.coil.as_load()
        return self.workpieces[name]

    def resonance(self, coil_inductance: float) -> float:
        """Frequency at which bridge voltage and current are in phase, losses left out [Hz].

        Loop-fed: 1/(2 pi sqrt((L + L_leak/n^2) C)); shunt-fed, with the matching inductor and the
        leakage as L_m: 1/(2 pi sqrt(C L L_m/(L + L_m))), where the inductive shunt-fed tank turns
        (both from the reactance of the lossless network being zero).
        """
        stray = self.transformer.leakage_inductance / self.transformer.ratio**2
        if self.tank.matching is None:
            inductance = coil_inductance + stray
        else:
            matching = self.tank.matching.inductance + stray
            inductance = coil_inductance * matching / (coil_inductance + matching)
        return 1.0 / (2.0 * pi * sqrt(inductance * self.tank.capacitance))

    @model_validator(mode="after")
    def _half_blocking_needs_capacitor(self) -> Self:
        if self.bridge.topology == "half-blocking" and not self.transformer.blocking_capacitance:
            raise ValueError("half-blocking needs transformer.blocking_capacitance")
        if "empty" in self.workpieces:
            raise ValueError('workpieces.empty: the name "empty" means the coil alone')
        return self
