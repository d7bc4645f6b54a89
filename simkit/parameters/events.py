"""Events of a scenario file: everything that may change, go wrong or break while a heater runs.

A newcomer adds a kind by one row of `KINDS` and one name in `Event.kind`; where the circuit takes
part, by what it does to the timeline (circuit/timeline.py) or the gates (circuit/commands.py).
"""

from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section

EDGE = 2e-7
"""How long a contact takes to open or to close when no duration is given [s]; a numerical choice:
far below a half period, far above the engine's steps."""


@dataclass(frozen=True)
class Kind:
    """What one kind of event is about."""

    changes: str
    """The thing it changes; two events on one thing may not overlap in time."""
    needs: tuple[str, ...] = ()
    """Fields it must have; "a|b" stands for exactly one of a and b."""
    may: tuple[str, ...] = ()
    """Fields it may have."""
    pace: Literal["moves", "takes", "instant"] = "instant"
    """moves: needs duration or speed; takes: needs a duration; instant: may have a duration."""
    fast: bool = False
    """Whether the fast model can follow it; else the circuit runs through the whole event."""


KINDS: dict[str, Kind] = {
    "pull-out": Kind("load", may=("share",), pace="moves", fast=True),
    "drop-in": Kind("load", needs=("load",), pace="moves", fast=True),
    "becomes": Kind("load", needs=("load",), pace="takes", fast=True),
    "coil": Kind("load", may=("inductance_factor", "resistance_factor"), pace="takes", fast=True),
    "shorted-turn": Kind(
        "load", needs=("turns", "coupling"), may=("resistance",), pace="takes", fast=True
    ),
    "clamp-resistance": Kind("load", needs=("resistance",), pace="takes", fast=True),
    "frequency": Kind("frequency", needs=("frequency|factor",), pace="takes", fast=True),
    "supply": Kind("voltage", needs=("voltage",), pace="takes", fast=True),
    "gate-open": Kind("gates", needs=("switches",)),
    "gate-reversed": Kind("gates", needs=("switches",)),
    "gates-together": Kind("gates", needs=("leg",)),
    "driver-unpowered": Kind("drivers"),
    "driver-supply": Kind("drivers", needs=("voltage",), pace="takes"),
    "trip": Kind("gates"),
    "start": Kind("gates", may=("first_half",)),
    "restart": Kind("gates", may=("first_half",)),
    "dead-time": Kind("gates", needs=("dead_time",)),
    "turn-off-delay": Kind("gates", needs=("switches", "delay")),
    "can-open": Kind("bank", needs=("cans",)),
    "link-capacitor-open": Kind("link"),
    "fuse": Kind("source"),
    "ground-fault": Kind("earth", needs=("resistance",)),
}
"""Every kind of event by name."""

ALWAYS = frozenset({"kind", "at", "duration", "speed"})


class Event(Section):
    """One change; what the circuit is told follows a smooth profile."""

    kind: Literal[
        "pull-out", "drop-in", "becomes", "coil", "shorted-turn", "clamp-resistance",
        "frequency", "supply", "gate-open", "gate-reversed", "gates-together",
        "driver-unpowered", "trip", "dead-time", "turn-off-delay", "can-open",
        "link-capacitor-open", "fuse", "ground-fault", "start",
        "restart", "driver-supply",
    ]  # fmt: skip
    at: Annotated[float, Quantity("s", "Start, after the settled part", ge=0, lt=100)]
    duration: Annotated[float, Quantity("s", "How long the change takes", gt=0, lt=100)] | None = (
        None
    )
    speed: (
        Annotated[
            float,
            Quantity(
                "m/s",
                "Of the piece on its way out or in, instead of a duration: its travel (a "
                "share of it, where it comes out in part) over this; a hand lifts at about 1",
                gt=0,
                lt=100,
            ),
        ]
        | None
    ) = None
    load: Name | None = None
    share: (
        Annotated[float, Quantity("1", "How far out: 1 is wholly out of the field", gt=0, le=1)]
        | None
    ) = None
    inductance_factor: (
        Annotated[float, Quantity("1", "Coil inductance afterwards over before", gt=0.05, lt=20)]
        | None
    ) = None
    resistance_factor: (
        Annotated[float, Quantity("1", "Coil resistance afterwards over before", gt=0.05, lt=100)]
        | None
    ) = None
    turns: Annotated[int, Quantity("1", "Turns of the coil", ge=2, le=100)] | None = None
    coupling: (
        Annotated[float, Quantity("1", "Coupling between any two turns of the coil", gt=0, lt=1)]
        | None
    ) = None
    resistance: Annotated[float, Quantity("ohm", "Of the faulty contact", gt=0, lt=1e6)] | None = (
        None
    )
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
    switches: Annotated[tuple[int, ...], Field(min_length=1, max_length=4)] | None = None
    """Numbers of the switches it happens to: 1 and 2 leg a, 3 and 4 leg b, odd ones above."""
    leg: Literal["a", "b"] | None = None
    first_half: Literal["full", "halved"] | None = None
    """Length of the first half period of a start: from the change-over on, or from its middle."""
    dead_time: Annotated[float, Quantity("s", "Dead time afterwards", ge=0, lt=1e-4)] | None = None
    delay: Annotated[float, Quantity("s", "By which gates go off late", gt=0, lt=1e-4)] | None = (
        None
    )
    cans: Annotated[int, Quantity("1", "Capacitor cans that fail open", ge=1, le=999)] | None = None

    @property
    def about(self) -> Kind:
        """What its kind is about."""
        return KINDS[self.kind]

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> Self:
        given = {n for n in type(self).model_fields if getattr(self, n) is not None} - ALWAYS
        for need in self.about.needs:
            one_of_them(self.kind, need, given)
        allowed = {n for need in self.about.needs for n in need.split("|")} | set(self.about.may)
        extra = sorted(given - allowed)
        if extra:
            raise ValueError(f"{', '.join(extra)} does not belong to a {self.kind} event")
        if self.kind == "coil" and not given:
            raise ValueError("a coil event needs inductance_factor or resistance_factor")
        return self

    @model_validator(mode="after")
    def _has_its_pace(self) -> Self:
        pace = self.about.pace
        if self.speed is not None and pace != "moves":
            raise ValueError("speed belongs to pull-out and drop-in")
        if self.speed is not None and self.duration is not None:
            raise ValueError("duration and speed say the same thing: give only one of them")
        if pace == "moves" and self.duration is None and self.speed is None:
            raise ValueError("give either duration or speed")
        if pace == "takes" and self.duration is None:
            raise ValueError(f"a {self.kind} event needs a duration")
        return self


def one_of_them(kind: str, need: str, given: set[str]) -> None:
    """ValueError unless exactly one field of "a|b" is given."""
    names = need.split("|")
    found = [name for name in names if name in given]
    if not found:
        raise ValueError(f"a {kind} event needs {' or '.join(names)}")
    if len(found) > 1:
        raise ValueError(f"a {kind} event has one target: give {' or '.join(found)}, not both")
