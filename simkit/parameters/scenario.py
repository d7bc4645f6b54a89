"""The scenario file: what happens to a machine, and when.

The run starts settled, with one load in the coil, at one frequency and one supply voltage.
Then events follow, each with a start (counted from the end of the settled part) and a duration
over which the change proceeds along a smooth profile.
"""

from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, StringConstraints, model_validator

from simkit.parameters.aftermath import Aftermath, Precharge
from simkit.parameters.events import Event
from simkit.parameters.fields import Quantity
from simkit.parameters.goal import Goal
from simkit.parameters.machine import Name, Section, Text
from simkit.parameters.section import titled
from simkit.parameters.varying import MapPlan

__all__ = ["Event", "Scenario", "Start"]

MachinePath = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_./-]+\.toml$", max_length=200)]


class Start(Section):
    """The settled state before the first event."""

    load: Name
    frequency: Annotated[float, Quantity("Hz", "Drive frequency", gt=0, lt=1e7)] | None = None
    margin: (
        Annotated[
            float,
            Quantity(
                "1",
                "Drive above the resonance of margin_of, as a share; drive.working_margin if "
                "neither it nor a frequency is given",
                gt=-0.5,
                lt=2,
            ),
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
    tracks: bool = False
    """Whether the drive follows the resonance and keeps its margin while the load changes."""

    @model_validator(mode="after")
    def _one_way_to_say_frequency(self) -> Self:
        if self.frequency is None:  # without a margin it is the machine's drive.working_margin
            return self
        if self.margin is not None:
            raise ValueError("give either frequency or margin")
        if self.margin_of is not None:
            raise ValueError("margin_of goes with margin")
        if self.tracks:
            raise ValueError("tracks goes with margin: it is the margin that is kept")
        return self


class Scenario(Section):
    """One rehearsal."""

    DEFAULT_SOURCE: ClassVar[str] = "design choice"
    """What happens in a rehearsal is chosen, not measured; a value may say otherwise."""

    name: Name
    title: Text = ""
    """Its name where none is written."""
    description: Text = ""
    machine: MachinePath
    instead: Annotated[
        dict[str, Any],
        Field(
            default_factory=dict,
            description='Values of the machine file replaced, by dotted key; "absent" removes.',
        ),
    ]
    start: Start
    events: tuple[Event, ...] = ()
    tail: Annotated[float, Quantity("s", "Time after the last event", gt=0, lt=0.1)]
    ends: (
        Annotated[
            float,
            Quantity("s", "End of the run, after the settled part; may cut events", gt=0, lt=100),
        ]
        | None
    ) = None
    aftermath: Aftermath | None = None
    precharge: Precharge | None = None
    map: MapPlan | None = None
    goal: Goal | None = None
    """What advice must keep."""

    @model_validator(mode="before")
    @classmethod
    def _has_title(cls, raw: Any) -> Any:
        return titled(raw)

    @model_validator(mode="after")
    def _gates_come_on_once(self) -> Self:
        kinds = [e.kind for e in sorted(self.events, key=lambda e: e.at)]
        if "start" in kinds and (
            kinds.count("start") > 1 or "trip" in kinds[: kinds.index("start")]
        ):
            raise ValueError("start comes once, with everything at rest before it")
        if "restart" in kinds and "trip" not in kinds[: kinds.index("restart")]:
            raise ValueError("restart comes after a trip: nothing has gone off before it")
        return self
