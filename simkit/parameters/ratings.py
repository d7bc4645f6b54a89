"""What the data sheets of the parts around the switches allow.

Every rating is optional: where one is missing, the figure is printed all the same and the result
says that no rating was given. Ratings of switch and tank capacitors stand in their own sections.
"""

from typing import Annotated, Self

from pydantic import model_validator

from simkit.parameters.fields import Quantity
from simkit.parameters.section import Section


class FilmRating(Section):
    """A film capacitor at the bridge's frequency."""

    voltage: Annotated[float, Quantity("V", "Largest, DC and AC together", gt=0, lt=1e4)] | None = (
        None
    )
    current: Annotated[float, Quantity("A", "At the frequency, rms", gt=0, lt=1e3)] | None = None
    dv_dt: Annotated[float, Quantity("V/s", "Steepest slope", gt=0, lt=1e12)] | None = None


class LinkRating(Section):
    """The electrolytic capacitors of the link, all together."""

    voltage: Annotated[float, Quantity("V", "Rated DC", gt=0, lt=2e3)] | None = None
    ripple_current: (
        Annotated[float, Quantity("A", "Allowed at twice the mains, rms", gt=0, lt=1e3)] | None
    ) = None
    frequency_factor: (
        Annotated[
            float,
            Quantity("1", "Ripple allowed above 10 kHz over that at twice the mains", ge=1, le=5),
        ]
        | None
    ) = None

    @model_validator(mode="after")
    def _both(self) -> Self:
        if self.ripple_current is not None and self.frequency_factor is None:
            raise ValueError("ripple_current goes with frequency_factor, as the data sheet has it")
        return self


class SnubberRating(Section):
    """Capacitor and resistor of one snubber."""

    voltage: Annotated[float, Quantity("V", "Of the capacitor", gt=0, lt=1e4)] | None = None
    power: Annotated[float, Quantity("W", "Of the resistor", gt=0, lt=1e3)] | None = None


class RectifierRating(Section):
    """Rectifier, fuse and plug; the single surge is supply.rectifier.surge_current."""

    diode_current: Annotated[float, Quantity("A", "Mean of one diode", gt=0, lt=1e3)] | None = None
    mains_current: (
        Annotated[float, Quantity("A", "Plug, breaker or fuse, rms", gt=0, lt=1e3)] | None
    ) = None
    melting: Annotated[float, Quantity("A^2*s", "Fuse, i squared t", gt=0, lt=1e7)] | None = None
    precharge_energy: (
        Annotated[float, Quantity("J", "One charging pulse of the resistor", gt=0, lt=1e6)] | None
    ) = None
    bleeder_power: (
        Annotated[float, Quantity("W", "Bleeder across the link", gt=0, lt=1e4)] | None
    ) = None


class CoreRating(Section):
    """The transformer's core."""

    loss_density: (
        Annotated[float, Quantity("W/m^3", "Allowed by its cooling", gt=0, lt=1e8)] | None
    ) = None
    thermal_resistance: (
        Annotated[float, Quantity("K/W", "Hot spot to air", gt=0, lt=1e3)] | None
    ) = None
    temperature: Annotated[float, Quantity("degC", "Hot spot", gt=0, lt=300)] | None = None


class WindingRating(Section):
    """Both windings of the transformer, one body."""

    thermal_resistance: Annotated[float, Quantity("K/W", "Hot spot to air", gt=0, lt=1e3)]
    temperature: Annotated[float, Quantity("degC", "Of the insulation", gt=0, lt=300)]
    heat_capacity: (
        Annotated[
            float, Quantity("J/K", "Copper; none: as hot at once as in the end", gt=0, lt=1e5)
        ]
        | None
    ) = None


class DriverRating(Section):
    """One gate driver and its transformer."""

    power: Annotated[float, Quantity("W", "Mean, one channel", gt=0, lt=100)] | None = None
    current: Annotated[float, Quantity("A", "Peak", gt=0, lt=100)] | None = None
    volt_seconds: (
        Annotated[float, Quantity("V*s", "Gate transformer, peak to peak", gt=0, lt=1)] | None
    ) = None


class Ratings(Section):
    """What the data sheets of the parts around the switches allow."""

    link: LinkRating | None = None
    film: FilmRating | None = None
    split: FilmRating | None = None
    blocking: FilmRating | None = None
    snubber: SnubberRating | None = None
    rectifier: RectifierRating | None = None
    core: CoreRating | None = None
    winding: WindingRating | None = None
    primary_current: (
        Annotated[float, Quantity("A", "Primary winding and its leads, rms", gt=0, lt=1e4)] | None
    ) = None
    secondary_current: (
        Annotated[float, Quantity("A", "Secondary winding and its joints, rms", gt=0, lt=1e5)]
        | None
    ) = None
    matching_current: (
        Annotated[float, Quantity("A", "Matching inductor, rms", gt=0, lt=1e5)] | None
    ) = None
    coil_current: (
        Annotated[float, Quantity("A", "Coil, joints and leads as cooled, rms", gt=0, lt=1e5)]
        | None
    ) = None
    driver: DriverRating | None = None
