"""The work coil, alone and with a piece in it: as measured at its ends, or from a ruler."""

from math import ceil
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Name, Section, Text


class CoilGeometry(Section):
    """The coil by ruler: turns of copper tube with two leads side by side.

    `form` helix, or flat: a spiral in one plane, whose `bore` is the hole inside its first turn. A
    helix of uneven pitch gives `steps`, from each turn to the next. A coil that heats a bore from
    inside is a helix with a tube around it as workpiece.
    """

    form: Literal["helix", "flat"] = "helix"
    turns: Annotated[float, Quantity("1", "Turns of all layers, may be fractional", ge=1, le=200)]
    bore: Annotated[float, Quantity("m", "Inner diameter: what a rod just passes", gt=0, lt=5)]
    layers: Annotated[int, Quantity("1", "Layers that share the turns evenly", ge=1, le=10)] = 1
    layer_pitch: (
        Annotated[float, Quantity("m", "From a layer to the next, middle to middle", gt=0, lt=1)]
        | None
    ) = None
    tube: Annotated[float, Quantity("m", "Outer diameter of the tube or wire", gt=0, lt=0.1)]
    wall: Annotated[
        float, Quantity("m", "Wall of the tube; half the tube for solid wire", gt=0, lt=0.05)
    ]
    pitch: (
        Annotated[float, Quantity("m", "From a turn to the next, middle to middle", gt=0, lt=1)]
        | None
    ) = None
    length: (
        Annotated[float, Quantity("m", "Length over the outer edges of the turns", gt=0, lt=10)]
        | None
    ) = None
    steps: (
        tuple[
            Annotated[float, Quantity("m", "From one turn to the next, uneven pitch", gt=0, lt=1)],
            ...,
        ]
        | None
    ) = None
    lead_length: Annotated[
        float, Quantity("m", "One of the two leads, coil to tank; 0 for none", ge=0, lt=10)
    ]
    lead_spacing: Annotated[float, Quantity("m", "Between the leads, middle to middle", gt=0, lt=1)]
    temperature: Annotated[float, Quantity("degC", "Of the copper while it works", gt=-50, lt=200)]

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if sum(way is not None for way in (self.pitch, self.length, self.steps)) != 1:
            raise ValueError("give either pitch, length or steps")
        self._layers_fit()
        if self.wall > 0.5 * self.tube:
            raise ValueError("wall: must be at most half of tube")
        if self.turns > 1.0 and self.step < 1.02 * self.tube:
            raise ValueError("turns of this tube would touch: pitch must be 2 % above tube")
        if self.lead_length > 0.0 and self.lead_spacing <= self.tube:
            raise ValueError("lead_spacing: the leads would touch; must be above tube")
        return self

    def _layers_fit(self) -> None:
        if (self.layer_pitch is not None) != (self.layers > 1):
            raise ValueError("layer_pitch: goes with layers of 2 or more")
        if self.layer_pitch is not None and self.layer_pitch < 1.02 * self.tube:
            raise ValueError("layer_pitch: the layers would touch; must be 2 % above tube")
        if self.layers > 1 and self.turns % self.layers:
            raise ValueError("layers: must share out the turns evenly")
        if self.length is not None and self.form == "flat":
            raise ValueError("length: a flat coil has none; give pitch")
        if self.steps is None:
            return
        if self.form == "flat" or self.layers > 1:
            raise ValueError("steps: for a helix of one layer; give pitch")
        if len(self.steps) != ceil(self.turns) - 1:
            raise ValueError(f"steps: must be {ceil(self.turns) - 1} for {self.turns:g} turns")
        if min(self.steps) < 1.02 * self.tube:
            raise ValueError("steps: turns of this tube would touch; each must be 2 % above tube")

    @property
    def step(self) -> float:
        """From a turn to the next [m]; given, their mean, or (length - tube)/(turns - 1)."""
        if self.pitch is not None:
            return self.pitch
        if self.steps is not None:
            return sum(self.steps) / len(self.steps) if self.steps else self.tube
        assert self.length is not None
        each = self.turns / self.layers
        return (self.length - self.tube) / (each - 1.0) if each > 1.0 else self.length


class PieceShape(Section):
    """A cylinder on the coil's axis."""

    material: Name
    diameter: Annotated[float, Quantity("m", "Outer diameter", gt=0, lt=5)]
    length: Annotated[float, Quantity("m", "Length along the coil's axis", gt=0, lt=10)]
    wall: (
        Annotated[
            float, Quantity("m", "Wall of a tube or crucible; none for a solid rod", gt=0, lt=1)
        ]
        | None
    ) = None
    temperature: Annotated[
        float, Quantity("degC", "At which the rehearsal finds it", gt=-50, le=3000)
    ]

    @model_validator(mode="after")
    def _wall_fits(self) -> Self:
        if self.wall is not None and self.wall >= 0.5 * self.diameter:
            raise ValueError("wall: must be below half of diameter")
        return self


class ChargeShape(PieceShape):
    """What lies in a tube or crucible."""

    offset: Annotated[
        float,
        Quantity("m", "Its middle above the middle of what holds it", gt=-5, lt=5),
    ]


class PieceGeometry(PieceShape):
    """A workpiece by ruler and material."""

    position: Annotated[
        float, Quantity("m", "Its middle from the coil's middle, along the axis", ge=0, lt=5)
    ]
    core_temperature: (
        Annotated[
            float,
            Quantity(
                "degC",
                "Of a solid rod's middle while `temperature` is its surface's",
                gt=-50,
                le=3000,
            ),
        ]
        | None
    ) = None
    charge: ChargeShape | None = None

    @model_validator(mode="after")
    def _core_is_solid(self) -> Self:
        if self.core_temperature is not None and self.wall is not None:
            raise ValueError("core_temperature: for a solid rod; leave it out with wall")
        return self

    @model_validator(mode="after")
    def _charge_fits(self) -> Self:
        if self.charge is None:
            return self
        if self.wall is None:
            raise ValueError("charge: needs a tube or crucible: give wall")
        if self.charge.diameter >= self.diameter - 2.0 * self.wall:
            raise ValueError("charge.diameter: does not fit inside the wall")
        return self


class Load(Section):
    """Inductance and resistance seen at the coil's ends, as one would measure them."""

    inductance: Annotated[float, Quantity("H", "Coil with its leads", gt=0, lt=1e-3)]
    resistance: Annotated[float, Quantity("ohm", "Coil with what it heats", gt=0, lt=100)]


class Coil(Section):
    """The work coil with nothing in it."""

    inductance: Annotated[float, Quantity("H", "Coil with its leads", gt=0, lt=1e-3)]
    resistance: Annotated[float, Quantity("ohm", "Coil and leads, AC", gt=0, lt=100)]
    geometry: CoilGeometry | None = None

    def as_load(self) -> Load:
        """The empty coil as a load."""
        return Load(inductance=self.inductance, resistance=self.resistance)


class Level(Load):
    """What the coil's ends measure at one coil current, piece in its place."""

    coil_current: Annotated[float, Quantity("A", "Peak", gt=0, lt=1e6)]


class LoadDoubt(Section):
    """By how much L and R worked out from geometry may be off, for the method's sake alone."""

    resistance: Annotated[float, Quantity("1", "Half width as a share of R", ge=0, lt=1)]
    inductance: Annotated[float, Quantity("1", "Half width as a share of L", ge=0, lt=1)]
    beyond: bool
    """Whether a range of the method was left, so that figures must carry it."""


TRAVEL = Quantity(
    "m", "Way from its place to out of the field; a lift takes this over its speed", gt=0, lt=10
)


class Workpiece(Load):
    """A piece in the coil: what the coil's ends measure then, at the heater's working level."""

    title: Text = ""
    travel: Annotated[float, TRAVEL]
    geometry: PieceGeometry | None = None
    levels: Annotated[tuple[Level, ...], Field(min_length=2)] | None = None
    """L and R against the coil's current, rising, where they depend on it (steel)."""
    nominal_current: (
        Annotated[float, Quantity("A", "Coil current at which L and R above hold, peak", gt=0)]
        | None
    ) = None
    piece_resistance: (
        Annotated[float, Quantity("ohm", "Part of R whose loss heats the piece", ge=0, lt=100)]
        | None
    ) = None
    """None for a measured piece: its R does not say where the watts go."""
    doubt: LoadDoubt | None = None
    """None for a measured piece, whose tolerance stands in the file."""

    @model_validator(mode="after")
    def _levels_have_their_middle(self) -> Self:
        if (self.levels is None) != (self.nominal_current is None):
            raise ValueError("levels goes with nominal_current")
        return self


class CoilFile(Section):
    """The work coil with nothing in it: measured, or by geometry, or some of each."""

    inductance: (
        Annotated[float, Quantity("H", "Coil with its leads, measured", gt=0, lt=1e-3)] | None
    ) = None
    resistance: (
        Annotated[float, Quantity("ohm", "Coil and leads, AC, measured", gt=0, lt=100)] | None
    ) = None
    q: (
        Annotated[float, Quantity("1", "Quality factor at resonance, measured", gt=1, lt=5000)]
        | None
    ) = None
    geometry: CoilGeometry | None = None

    @model_validator(mode="after")
    def _one_way_each(self) -> Self:
        if self.resistance is not None and self.q is not None:
            raise ValueError("give either resistance or q")
        if self.geometry is not None:
            return self
        if self.inductance is None:
            raise ValueError("give inductance as measured, or [coil.geometry]")
        if self.resistance is None and self.q is None:
            raise ValueError("give resistance or q as measured, or [coil.geometry]")
        return self


class WorkpieceFile(Section):
    """A piece in the coil: what the coil's ends measure then, or its geometry."""

    title: Text = ""
    inductance: (
        Annotated[float, Quantity("H", "Coil with the piece in it, measured", gt=0, lt=1e-3)] | None
    ) = None
    resistance: (
        Annotated[float, Quantity("ohm", "Coil with the piece in it, measured", gt=0, lt=100)]
        | None
    ) = None
    travel: Annotated[float, TRAVEL] | None = None
    geometry: PieceGeometry | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        values = {name: getattr(self, name) for name in ("inductance", "resistance", "travel")}
        given = [name for name, value in values.items() if value is not None]
        missing = [name for name in values if name not in given]
        if self.geometry is not None and given:
            raise ValueError(f"give either {', '.join(given)} as measured, or its geometry")
        if self.geometry is None and missing:
            raise ValueError(f"give {', '.join(missing)} as measured, or its geometry")
        return self
