"""What a judged figure is: its limit, its words, how it is measured, how the fast model follows it.

Limits, errors, maps, the local page, `simkit explain` and the docs read the record; a figure is
added by one module here that declares it in `FIGURES`, and by its test.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from simkit.measure.periodic import Cycle
from simkit.measure.waveforms import Array, Waves
from simkit.parameters.machine import Machine

if TYPE_CHECKING:
    from simkit.scout.envelope import Cycles
    from simkit.scout.operating import OperatingPoint

FLAT = 0.01
"""What a course may rise above the samples without asking for one more [1]; the rise counts as
error."""


@dataclass(frozen=True)
class Bound:
    """Largest value allowed, derating included, and the keys of the machine file it comes from."""

    value: float
    source: str


@dataclass(frozen=True)
class Limit:
    """Largest value allowed for a quantity, after derating."""

    quantity: str
    unit: str
    bound: float
    source: str


@dataclass(frozen=True)
class Words:
    """What a person needs to be told."""

    title: str
    """Follows the part's name: "Q2: drain-source voltage, peak"."""
    what: str
    """What it is, on the bench."""
    why: str
    """Why it destroys."""
    how: str
    """How it is computed."""
    formula: str
    """In the symbols of the trade."""
    scope: str
    """Where to see it."""
    change: str
    """What to change."""
    moved_by: tuple[str, ...]
    """Keys of the machine file that move it most."""


@dataclass(frozen=True)
class FastEvent:
    """What the fast model knows of an event's whole cycles.

    Fields: machine; cycles, arrays over them; link and source, the voltage at the bridge and the
    no-load voltage behind it, at each cycle [V].
    """

    machine: Machine
    cycles: Cycles
    link: Array
    source: Array


@dataclass(frozen=True)
class Measured:
    """How a figure is read from waveforms: a value per cycle, by part."""

    values: Callable[[Waves, tuple[Cycle, ...]], Mapping[str, Array]]
    is_peak: bool
    """Whether a cycle counts that the end of the run cuts short: a peak may lie in it, while a
    mean needs the whole."""


@dataclass(frozen=True)
class Fast:
    """How the fast model follows a figure; nothing here is ever judged.

    `course` over an event is scaled to what circuit runs showed, so that any scale will do for it,
    the figure's own unit being best: a map begins with its largest value. What lies between the
    samples is told by it alone, so a figure without a course says in `none` why it needs none.
    """

    course: Callable[[FastEvent], Array] | None = None
    none: str = ""
    """Why there is no course."""
    above: Callable[[FastEvent], Array] | None = None
    """A known part that the course comes on top of, in the figure's unit."""
    flat: float = FLAT
    """What the course may rise above the samples without asking for one more [1]."""
    driver: Callable[[FastEvent], float] | None = None
    """What stands for the figure in a map, where not the course's largest value does."""
    point: Callable[[Machine, OperatingPoint], float] | None = None
    """The figure of steady operation, in its unit; None where the fast model has none."""
    only_forced: bool = False
    """Whether it is there only while a body diode is forced off."""


Gain = Literal["current", "square", "recovery"]
State = Literal["", "core", "gate", "link", "winding"]


@dataclass(frozen=True)
class Figure:
    """One judged figure; what it comes to is in `unit`, SI."""

    name: str
    part: str
    """What it is a figure of, where no single part is meant: "switch"."""
    unit: str
    words: Words
    place: str
    """Module of simkit that computes it."""
    limit: Callable[[Machine], Bound | None] | None
    """The bound of a machine, or None of it where the file gives no rating. Without a function the
    scenario says what it is held against: figures of the minutes before and after."""
    measured: Measured | None = None
    """None where it comes with its family: `simkit/measure`, or from the losses."""
    fast: Fast = Fast(none="follows from other figures")
    sudden: bool = False
    """Whether it destroys within one cycle; the others destroy by heat, which takes time."""
    gain: Gain = "current"
    """How it follows an error of the tank's state: one to one; a power with the square; a recovery
    with the root of the current at turn-on."""
    remembers: State = ""
    """A slow state beside the tank's that a start may leave in it: a core's offset, gates not yet
    settled, the link; of a gate's peak only what rings on the winding it hangs on."""
    offset: float = 0.0
    """Share of an offset of the magnetising current that enters it [1]."""
    of_loss: bool = False
    """Whether it follows from the switches' loss by the way of the heat."""
    swing: Callable[[Machine], float] | None = None
    """Swing of the waveform it is a small part of [V]: the engine's tolerance goes with that."""
    there: Callable[[Machine], bool] = lambda _machine: True
    """Whether a machine has what this is a figure of."""
    averaged: bool = False
    """Whether its family takes it as a mean or an rms over a cycle."""

    def __post_init__(self) -> None:
        if self.fast.course is None and not self.fast.none:
            raise ValueError(
                f"figure {self.name!r}: give the fast model's course of it, or say in "
                "Fast(none=...) why nothing can lie between the samples"
            )

    @property
    def is_mean(self) -> bool:
        """Whether a value is a mean or an rms over a whole cycle."""
        return self.averaged or (self.measured is not None and not self.measured.is_peak)

    @property
    def full_name(self) -> str:
        """Its name where no single part is meant: "tank capacitor: current, rms"."""
        return f"{self.part}: {self.words.title}"


def rated(rating: float | None, share: float, key: str) -> Bound | None:
    """A share of a rating that the machine file gives under a key; None where it gives none."""
    if rating is None:
        return None
    return Bound(rating * share, f"{key}, {share:.0%} of it used")
