"""The scenario file: what happens to a machine, and when.

The run starts settled, with one load in the coil, at one frequency and one supply voltage.
Then events follow, each with a start (counted from the end of the settled part) and a duration
over which the change proceeds along a smooth profile.
"""

from typing import Annotated, ClassVar, Literal, Self

from pydantic import StringConstraints, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.machine import Name, Section, Text

MachinePath = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_./-]+\.toml$", max_length=200)]


class Start(Section):
    """The settled state before the first event."""

    load: Name
    frequency: Annotated[float, Quantity("Hz", "Drive frequency", gt=0, lt=1e7)] | None = None
    margin: (
        Annotated[
            float,
            Quantity("1", "Drive above the resonance of margin_of, as a share", gt=-0.5, lt=2),
        ]
        | None
    ) = None
    margin_of: Name | None = None
    supply_voltage: (
        Annotated[float, Quantity("V", "Instead of the machine's", gt=0, le=1000)] | None
    ) = None
    settled: Annotated[
        float, Quantity("s", "Length of the settled part that is shown", gt=0, lt=0.1)
    ]

    @model_validator(mode="after")
    def _one_way_to_say_frequency(self) -> Self:
        if (self.frequency is None) == (self.margin is None):
            raise ValueError("give either frequency or margin")
        if self.margin_of is not None and self.margin is None:
            raise ValueError("margin_of goes with margin")
        return self


class Event(Section):
    """One change along a smooth profile."""

    kind: Literal["pull-out", "drop-in", "frequency", "supply"]
    at: Annotated[float, Quantity("s", "Start, after the settled part", ge=0, lt=1)]
    duration: Annotated[float, Quantity("s", "How long the change takes", gt=0, lt=1)] | None = None
    speed: (
        Annotated[float, Quantity("m/s", "Speed of the piece over its travel", gt=0, lt=100)] | None
    ) = None
    load: Name | None = None
    frequency: (
        Annotated[float, Quantity("Hz", "Drive frequency afterwards", gt=0, lt=1e7)] | None
    ) = None
    factor: (
        Annotated[float, Quantity("1", "Drive frequency afterwards over that before", gt=0.2, lt=5)]
        | None
    ) = None
    voltage: Annotated[float, Quantity("V", "Supply voltage afterwards", gt=0, le=1000)] | None = (
        None
    )

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> Self:
        needs = {
            "pull-out": (),
            "drop-in": ("load",),
            "frequency": ("frequency", "factor"),
            "supply": ("voltage",),
        }[self.kind]
        if needs and sum(getattr(self, n) is not None for n in needs) != 1:
            raise ValueError(f"a {self.kind} event needs {' or '.join(needs)}")
        others = {"load", "frequency", "factor", "voltage"} - set(needs)
        extra = sorted(n for n in others if getattr(self, n) is not None)
        if extra:
            raise ValueError(f"{', '.join(extra)} does not belong to a {self.kind} event")
        moves = self.kind in ("pull-out", "drop-in")
        if (self.duration is None) == (self.speed is None):
            raise ValueError("give either duration or speed")
        if self.speed is not None and not moves:
            raise ValueError("speed belongs to pull-out and drop-in")
        return self


class Scenario(Section):
    """One rehearsal."""

    DEFAULT_SOURCE: ClassVar[str] = "design choice"
    """What happens in a rehearsal is chosen, not measured; a value may say otherwise."""

    name: Name
    title: Text
    description: Text = ""
    machine: MachinePath
    start: Start
    events: tuple[Event, ...] = ()
    tail: Annotated[float, Quantity("s", "Time after the last event", gt=0, lt=0.1)]
