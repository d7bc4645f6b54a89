"""The matching transformer between bridge and tank: measured, or from core and windings."""

from math import pi
from typing import Annotated, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class CoreLoss(Section):
    """Steinmetz constants in SI units: W/m^3 = k (f/Hz)^alpha (B/T)^beta."""

    k: Annotated[float, Quantity("1", "Constant, for Hz, T and W/m^3", gt=0, lt=1e6)]
    alpha: Annotated[float, Quantity("1", "Exponent of frequency", ge=1, le=3)]
    beta: Annotated[float, Quantity("1", "Exponent of flux density", ge=1, le=4)]
    frequency_min: Annotated[float, Quantity("Hz", "The fit holds from", gt=0, lt=1e8)]
    frequency_max: Annotated[float, Quantity("Hz", "The fit holds up to", gt=0, lt=1e8)]


class Core(Section):
    """The core, all pieces of it together."""

    area: Annotated[float, Quantity("m^2", "Effective area", gt=0, lt=0.1)]
    path: Annotated[float, Quantity("m", "Effective length of the magnetic path", gt=0, lt=5)]
    gap: Annotated[float, Quantity("m", "Air gap in all", gt=0, lt=0.1)] | None = None
    permeability: (
        Annotated[float, Quantity("1", "Initial relative permeability", ge=1, lt=1e6)] | None
    ) = None
    inductance_factor: (
        Annotated[float, Quantity("H", "A_L, per turn squared", gt=0, lt=1e-2)] | None
    ) = None
    saturation_cold: Annotated[float, Quantity("T", "Saturation flux at 25 degC", gt=0, lt=3)]
    saturation_hot: Annotated[float, Quantity("T", "Saturation flux at 100 degC", gt=0, lt=3)]
    temperature: Annotated[float, Quantity("degC", "Of the core while it works", gt=-50, lt=200)]
    loss: CoreLoss | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.permeability is not None and self.inductance_factor is not None:
            raise ValueError("give either permeability or inductance_factor")
        if self.gap is not None and self.inductance_factor is not None:
            raise ValueError("gap: inductance_factor has the gap in it already")
        return self


class Winding(Section):
    """Copper of one winding: wire, a bundle of strands, a tube or foil, in its window."""

    length: Annotated[float, Quantity("m", "Wire of all turns with their leads", gt=0, lt=1e3)]
    wire: (
        Annotated[
            float, Quantity("m", "Copper's diameter, of a strand; of a tube outside", gt=0, lt=0.1)
        ]
        | None
    ) = None
    strands: (
        Annotated[int, Quantity("1", "Strands twisted together, 1 for solid", ge=1, le=100000)]
        | None
    ) = None
    wall: Annotated[float, Quantity("m", "Of a tube", gt=0, lt=0.05)] | None = None
    foil: Annotated[float, Quantity("m", "Thickness of foil", gt=0, lt=0.02)] | None = None
    width: Annotated[float, Quantity("m", "Of the foil", gt=0, lt=1)] | None = None
    layers: (
        Annotated[int, Quantity("1", "Layers one over the other; none: the fewest", ge=1, le=100)]
        | None
    ) = None
    temperature: Annotated[float, Quantity("degC", "Of the copper while it works", gt=-50, lt=200)]
    current_density: (
        Annotated[float, Quantity("A/m^2", "Allowed in the copper, rms", gt=0, lt=1e9)] | None
    ) = None

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.wire is None) == (self.foil is None):
            raise ValueError(
                "give either wire (with strands, or wall for a tube) or foil with width"
            )
        if (self.foil is None) != (self.width is None):
            raise ValueError("foil goes with width")
        if self.wire is None and (self.strands is not None or self.wall is not None):
            raise ValueError("strands and wall go with wire, not with foil")
        if self.wire is not None and (self.strands is None) == (self.wall is None):
            raise ValueError("give either strands (1 for solid wire) or wall (for a tube)")
        if self.wall is not None and self.wire is not None and 2.0 * self.wall > self.wire:
            raise ValueError("wall must not exceed half of wire, the tube's outside")
        return self

    @property
    def section(self) -> float:
        """Copper's section [m2]."""
        if self.foil is not None and self.width is not None:
            return self.foil * self.width
        assert self.wire is not None
        if self.wall is not None:
            return pi * self.wall * (self.wire - self.wall)
        return 0.25 * pi * self.wire**2 * (self.strands or 1)


class Window(Section):
    """How two concentric windings lie on the core, which makes the leakage."""

    mean_turn: Annotated[float, Quantity("m", "Mean length of a turn", gt=0, lt=5)]
    height: Annotated[float, Quantity("m", "Windings along the core", gt=0, lt=2)]
    spacing: Annotated[float, Quantity("m", "Insulation between the windings", ge=0, lt=0.1)]
    build: Annotated[float, Quantity("m", "Both windings, across", gt=0, lt=0.2)]


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
    core_path: (
        Annotated[
            float,
            Quantity(
                "m", "Effective path length of the core: with it, the core saturates", gt=0, lt=10
            ),
        ]
        | None
    ) = None

    core_loss: CoreLoss | None = None
    core: Core | None = None
    primary: Winding | None = None
    secondary: Winding | None = None
    window: Window | None = None

    @model_validator(mode="after")
    def _core_helps(self) -> Self:
        if self.core_path is not None:
            air = 4e-7 * pi * self.primary_turns**2 * self.core_area / self.core_path
            if air >= self.magnetising_inductance:
                raise ValueError(
                    "magnetising_inductance must exceed what the winding has without its core, "
                    f"{air:.3g} H from primary_turns, core_area and core_path"
                )
        return self

    @property
    def loss(self) -> CoreLoss | None:
        """Constants of the core's loss, wherever they stand; None where nobody gave any."""
        return self.core_loss or (self.core.loss if self.core else None)

    @property
    def core_volume(self) -> float | None:
        """Of the core [m3]; None where nobody gave its path."""
        path = self.core.path if self.core else self.core_path
        return None if path is None else self.core_area * path

    @property
    def ratio(self) -> float:
        """Primary turns over secondary turns [1]."""
        return self.primary_turns / self.secondary_turns


class TransformerFile(Section):
    """Matching transformer: measured, or from core, windings and window, or some of each.

    Of a measured value and the table it would follow from the measured one counts.
    """

    primary_turns: Annotated[int, Quantity("1", "Turns on the bridge side", ge=1, le=1000)]
    secondary_turns: Annotated[int, Quantity("1", "Turns on the tank side", ge=1, le=1000)]
    magnetising_inductance: (
        Annotated[float, Quantity("H", "Seen from the primary, measured", gt=0, lt=10)] | None
    ) = None
    leakage_inductance: (
        Annotated[float, Quantity("H", "Seen from the primary, measured", gt=0, lt=1e-2)] | None
    ) = None
    primary_resistance: (
        Annotated[float, Quantity("ohm", "Winding, AC, measured", gt=0, lt=100)] | None
    ) = None
    secondary_resistance: (
        Annotated[float, Quantity("ohm", "Winding, AC, measured", gt=0, lt=100)] | None
    ) = None
    blocking_capacitance: (
        Annotated[float, Quantity("F", "Capacitor in series with the primary", gt=0, lt=1e-2)]
        | None
    ) = None
    core_area: (
        Annotated[float, Quantity("m^2", "Effective area of the core", gt=0, lt=0.1)] | None
    ) = None
    saturation_flux: (
        Annotated[float, Quantity("T", "At working temperature", gt=0, lt=3)] | None
    ) = None
    core_path: (
        Annotated[
            float,
            Quantity(
                "m", "Effective path length of the core: with it, the core saturates", gt=0, lt=10
            ),
        ]
        | None
    ) = None
    core_loss: CoreLoss | None = None
    core: Core | None = None
    primary: Winding | None = None
    secondary: Winding | None = None
    window: Window | None = None

    @model_validator(mode="after")
    def _one_way_each(self) -> Self:
        for name in ("core_area", "saturation_flux"):
            if (getattr(self, name) is None) == (self.core is None):
                raise ValueError(f"give either {name} or [transformer.core]")
        core = self.core
        if core is not None and core.loss is not None and self.core_loss is not None:
            raise ValueError("core_loss: [transformer.core] has its loss already")
        if core is not None and self.core_path is not None:
            raise ValueError("core_path: [transformer.core] has its path already")
        if self.magnetising_inductance is None and not (
            core and (core.permeability or core.inductance_factor)
        ):
            raise ValueError(
                "give magnetising_inductance as measured, or permeability or inductance_factor in "
                "[transformer.core]"
            )
        ways = (
            ("leakage_inductance", "window"),
            ("primary_resistance", "primary"),
            ("secondary_resistance", "secondary"),
        )
        for value, table in ways:
            if getattr(self, value) is None and getattr(self, table) is None:
                raise ValueError(f"give either {value} as measured or [transformer.{table}]")
        return self
