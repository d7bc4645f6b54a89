"""The readings file: what instruments showed at a low supply voltage, each with its uncertainty.

A point is one setting of the machine (load, supply voltage, drive frequency) with what was read
there. An uncertainty is the half-width of the interval in which the person would bet 19 to 1 that
the true value lies; half of it counts as the standard deviation (coverage factor 2, ISO/IEC Guide
98-3, 6.2). A trace is a scope's export of a ring-down or of an edge, in the same folder.
"""

from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field, StringConstraints

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section, Text

TraceFile = Annotated[
    str, StringConstraints(pattern=r"^[A-Za-z0-9_-][A-Za-z0-9_.-]*\.csv$", max_length=100)
]
"""A file of the readings' own folder: no folders, no way up."""


class Amperes(Section):
    """A current."""

    value: Annotated[float, Quantity("A", "As read", ge=0, lt=1e5)]
    uncertainty: Annotated[float, Quantity("A", "Half-width at 95 %", gt=0, lt=1e5)]


class Volts(Section):
    """A voltage."""

    value: Annotated[float, Quantity("V", "As read", ge=0, lt=1e5)]
    uncertainty: Annotated[float, Quantity("V", "Half-width at 95 %", gt=0, lt=1e5)]


class Hertz(Section):
    """A frequency."""

    value: Annotated[float, Quantity("Hz", "As read", gt=0, lt=1e9)]
    uncertainty: Annotated[float, Quantity("Hz", "Half-width at 95 %", gt=0, lt=1e9)]


class Degrees(Section):
    """A phase."""

    value: Annotated[float, Quantity("deg", "As read", ge=-180, le=180)]
    uncertainty: Annotated[float, Quantity("deg", "Half-width at 95 %", gt=0, lt=180)]


class Seconds(Section):
    """A time."""

    value: Annotated[float, Quantity("s", "As read", gt=0, lt=1)]
    uncertainty: Annotated[float, Quantity("s", "Half-width at 95 %", gt=0, lt=1)]


class Number(Section):
    """A plain number."""

    value: Annotated[float, Quantity("1", "As read", gt=0, lt=1e6)]
    uncertainty: Annotated[float, Quantity("1", "Half-width at 95 %", gt=0, lt=1e6)]


class Celsius(Section):
    """A temperature."""

    value: Annotated[float, Quantity("degC", "As read", gt=-60, lt=2000)]
    uncertainty: Annotated[float, Quantity("K", "Half-width at 95 %", gt=0, lt=500)]


class Point(Section):
    """One setting, and what was read at it; what was not read is left out."""

    load: Name
    supply_voltage: Annotated[float, Quantity("V", "At the bridge's supply", gt=0, le=1000)]
    frequency: Annotated[float, Quantity("Hz", "Drive frequency", gt=0, lt=1e7)] | None = None
    note: Text = ""
    supply_current: Amperes | None = None
    tank_voltage: Volts | None = None
    tank_scope: Volts | None = None
    primary_current: Amperes | None = None
    current_scope: Volts | None = None
    phase: Degrees | None = None
    resonance: Hertz | None = None
    ring_down_frequency: Hertz | None = None
    ring_down_q: Number | None = None
    node_ringing_frequency: Hertz | None = None
    node_ringing_decay: Seconds | None = None
    gate_ringing_frequency: Hertz | None = None
    dead_time: Seconds | None = None
    gate_voltage: Volts | None = None
    heatsink: Celsius | None = None

    def read(self) -> Iterator[tuple[str, float, float]]:
        """Name, value and uncertainty of everything that was read, in the reading's own unit."""
        for name in READINGS:
            found = getattr(self, name)
            if found is not None:
                yield name, found.value, found.uncertainty


READINGS = {
    "supply_current": "Average current out of the supply",
    "tank_voltage": "Peak voltage across the coil's ends",
    "tank_scope": "The same as the scope shows it, behind probes.tank_divider",
    "primary_current": "Peak current out of the bridge",
    "current_scope": "The same as the scope shows it across the current transformer's burden",
    "phase": "Bridge current behind bridge voltage, fundamentals",
    "resonance": "Drive frequency at which bridge current and voltage are in phase",
    "ring_down_frequency": "Tank ringing by itself, secondary bridged (loop) or off (shunt)",
    "ring_down_q": "Q of the same ring-down, pi times cycles to fall to 1/e",
    "node_ringing_frequency": "Ringing of the bridge node after an edge",
    "node_ringing_decay": "Time in which that ringing falls to 1/e",
    "gate_ringing_frequency": "Ringing of the gate after its edge",
    "dead_time": "One gate command off to the other on",
    "gate_voltage": "Gate-source when on, bridge without power",
    "heatsink": "Heatsink once it no longer rises",
}
"""Every reading and what is meant by it."""
NEEDS_FREQUENCY = frozenset(
    {"supply_current", "tank_voltage", "tank_scope", "primary_current", "current_scope", "phase",
     "heatsink"}
)  # fmt: skip


class Trace(Section):
    """A scope's export of a ring-down of the tank, or of the bridge node after an edge."""

    kind: Literal["ring-down", "edge"]
    file: TraceFile
    load: Name
    supply_voltage: Annotated[float, Quantity("V", "At the bridge's supply", gt=0, le=1000)]
    start: (
        Annotated[float, Quantity("s", "Where the ringing begins, on the file's clock")] | None
    ) = None
    frequency_uncertainty: Annotated[
        float, Quantity("1", "Of the scope's time base, half-width at 95 %", gt=0, lt=1)
    ]


class Channel(Section):
    """One column of a capture, after the time."""

    column: Annotated[int, Quantity("1", "Counted from the time, which is 0", ge=1, le=4)]
    shows: Literal["node", "current", "tank"]
    """Bridge node a (its edge aligns the picture), bridge current, coil voltage."""
    unit: Literal["V", "mV", "A", "mA"]
    """Of the numbers in the file; amperes where the scope was told of the current probe."""
    factor: Annotated[float, Quantity("1", "Divider that the scope does not know of", gt=0, lt=1e6)]
    skew: Annotated[float, Quantity("s", "By which it comes late", gt=-1e-3, lt=1e-3)] = 0.0


class Capture(Section):
    """A scope's export of steady operation: time and up to four channels, under any header."""

    file: TraceFile
    load: Name
    supply_voltage: Annotated[float, Quantity("V", "At the bridge's supply", gt=0, le=1000)]
    frequency: Annotated[float, Quantity("Hz", "Drive frequency", gt=0, lt=1e7)] | None = None
    """Taken from the file where it is not given."""
    time_unit: Literal["s", "ms", "us", "ns"]
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=4)]
    amplitude_uncertainty: Annotated[
        float, Quantity("1", "Of every channel, half-width at 95 %", gt=0, lt=1)
    ]
    phase_uncertainty: Annotated[
        float, Quantity("deg", "Between two channels, half-width at 95 %", gt=0, lt=90)
    ] = 2.0


class Readings(Section):
    """Everything that was read in one session."""

    DEFAULT_SOURCE: ClassVar[str] = "measured"

    machine: Text = ""
    """Name of the machine that was measured, for people."""
    note: Text = ""
    points: Annotated[tuple[Point, ...], Field(max_length=200)] = ()
    traces: Annotated[tuple[Trace, ...], Field(max_length=20)] = ()
    captures: Annotated[tuple[Capture, ...], Field(max_length=20)] = ()
