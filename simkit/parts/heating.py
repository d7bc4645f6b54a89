"""Heating and melting of the workpiece or of a crucible with its charge.

All bodies are taken at one temperature. What is integrated is the heat content, so that the
latent heat needs no trick: the power left after the losses fills it up at the melting point.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simkit.parts.inputs import not_negative, positive
from simkit.parts.materials import Material
from simkit.parts.ranged import Figure, out_of_range

BOLTZMANN = 5.670374419e-8
KELVIN = 273.15
Real = NDArray[np.float64]

# A pure metal melts at one temperature; spread over a millikelvin its heat content is a
# function of temperature like any other's.
SHARP = 1e-3
BOILING = 100.0
"""Of water at one bar [degC]."""


@dataclass(frozen=True)
class Body:
    """A mass with its heat capacity and, when it melts, its latent heat.

    Fields
    ------
    mass : [kg]
    celsius, heat_capacity : table, straight lines between, held at its ends [degC],
        [J/(kg K)]
    solidus, liquidus : melting begins and is complete; inf when it does not melt [degC]
    latent_heat : [J/kg]
    """

    mass: float
    celsius: tuple[float, ...]
    heat_capacity: tuple[float, ...]
    solidus: float = math.inf
    liquidus: float = math.inf
    latent_heat: float = 0.0

    def __post_init__(self) -> None:
        positive(mass=self.mass, heat_capacity=min(self.heat_capacity))
        not_negative(latent_heat=self.latent_heat)
        if len(self.celsius) != len(self.heat_capacity):
            raise ValueError("celsius and heat_capacity must have equal length")
        if self.liquidus < self.solidus:
            raise ValueError("liquidus must not be below solidus")

    def molten(self, celsius: float) -> float:
        """Molten share at a temperature [1]: straight from solidus to liquidus."""
        if not math.isfinite(self.solidus):
            return 0.0
        width = max(self.liquidus - self.solidus, SHARP)
        return min(max((celsius - self.solidus) / width, 0.0), 1.0)


@dataclass(frozen=True)
class Losses:
    """How a hot body loses heat.

    Fields
    ------
    radiating_area : that the surroundings see [m2]
    emissivity : of that surface [1]
    insulation : thermal resistance through the insulation; inf for none [K/W]
    ambient : [degC]
    """

    radiating_area: float
    emissivity: float
    insulation: float
    ambient: float

    def __post_init__(self) -> None:
        not_negative(radiating_area=self.radiating_area, emissivity=self.emissivity)
        if not (self.insulation > 0.0 and self.emissivity <= 1.0):
            raise ValueError("insulation must be above 0 K/W and emissivity at most 1")


@dataclass(frozen=True)
class Heating:
    """How bodies heat at constant power.

    Fields
    ------
    times, celsius, molten : the course: [s], [degC], molten share of the first body [1]
    energy : taken up at the end of the course, losses not counted [J]
    stalled : None, or the temperature at which the losses eat the whole power [degC]
    """

    times: Real
    celsius: Real
    molten: Real
    energy: float
    stalled: float | None

    def time_at(self, celsius: float) -> float:
        """When a temperature [degC] is reached [s]; inf when it is not."""
        if celsius > self.celsius[-1]:
            return math.inf
        return float(np.interp(celsius, self.celsius, self.times))

    def time_molten(self) -> float:
        """When the first body is all molten [s]; inf when it is not."""
        done = np.flatnonzero(self.molten >= 1.0 - 1e-9)
        return float(self.times[done[0]]) if len(done) else math.inf


def body_of(material: Material, mass: float, melts: bool = True) -> Body:
    """A body of `mass` [kg] of a material of the materials file.

    `melts`: False leaves out its melting (a crucible). ValueError for a mass not above 0.
    Source: the material's own. Range: the tables' temperatures.
    """
    capacity = material.heat_capacity
    if not melts:
        return Body(mass, capacity.celsius, capacity.values)
    return Body(
        mass,
        capacity.celsius,
        capacity.values,
        material.solidus.values[0],
        material.liquidus.values[0],
        material.latent_heat.values[0],
    )


def moisture_of(mass: float) -> Body:
    """Water that dries out on the way: warmed to 100 degC, boiled there, then gone.

    `mass` [kg]; 4186 J/(kg K), 2.257 MJ/kg. ValueError for a mass not above 0. Source: steam tables
    (recalled from memory). Range: free water at one bar; bound water of a lining leaves later.
    """
    cold, gone = 4186.0, 1e-6
    return Body(
        mass, (0.0, BOILING, BOILING + SHARP), (cold, cold, gone), BOILING, BOILING, 2.257e6
    )


def heat_content(body: Body, start: float, end: float) -> Figure:
    """Heat that takes a body from one temperature to another, melting included [J].

    m (integral of c dT + latent heat x molten share). `start`, `end` [degC]. Source: heat
    balance. Range: the table of heat capacity; it is held beyond its ends.
    """
    grid = _grid((body,), start, end)
    low, high = body.celsius[0], body.celsius[-1]
    notes: tuple[str, ...] = ()
    if len(body.celsius) > 1:
        notes = out_of_range("start", start, low, high, "degC")
        notes += out_of_range("end", end, low, high, "degC")
    return Figure(float(_content(body, grid)[-1]), "J", "heat balance", notes)


def _grid(bodies: tuple[Body, ...], start: float, end: float, points: int = 2001) -> Real:
    """Temperatures from start to end with every corner of every body among them [degC]."""
    if not end > start:
        raise ValueError(f"end is {end:g} degC; it must be above the start, {start:g} degC")
    corners: list[float] = []
    for body in bodies:
        corners += [*body.celsius, body.solidus, max(body.liquidus, body.solidus + SHARP)]
    inside = [corner for corner in corners if start < corner < end]
    return np.unique(np.concatenate((np.linspace(start, end, points), inside)))


def _content(body: Body, grid: Real) -> Real:
    """Heat taken up since the first temperature of the grid [J]."""
    capacity = np.interp(grid, body.celsius, body.heat_capacity)
    sensible = np.cumsum(0.5 * (capacity[1:] + capacity[:-1]) * np.diff(grid))
    molten = np.array([body.molten(celsius) for celsius in grid])
    latent = body.latent_heat * (molten - molten[0])
    return np.asarray(body.mass * (np.concatenate(([0.0], sensible)) + latent))


def radiated(losses: Losses, celsius: float) -> float:
    """Heat lost by radiation: eps sigma A (T^4 - T_a^4) [W]; `celsius` [degC].

    Source: Stefan-Boltzmann law. Range: grey surface, surroundings large and at ambient (the
    coil's cold copper around a piece reflects some of it back, so it loses less).
    """
    fourth = (celsius + KELVIN) ** 4 - (losses.ambient + KELVIN) ** 4
    return losses.emissivity * BOLTZMANN * losses.radiating_area * fourth


def heat_lost(losses: Losses, celsius: float) -> float:
    """Radiation plus conduction through the insulation, (T - T_a)/R [W]; `celsius` [degC].

    Source, range as for `radiated`; insulation settled, without heat capacity of its own.
    """
    return radiated(losses, celsius) + (celsius - losses.ambient) / losses.insulation


def stall_temperature(losses: Losses, power: float) -> float:
    """Temperature at which the losses equal the `power` [W] [degC]; inf without losses.

    By halving between ambient and 5000 degC. Source, range as for `heat_lost`.
    """
    positive(power=power)
    low, high = losses.ambient, 5000.0
    if heat_lost(losses, high) < power:
        return math.inf
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if heat_lost(losses, middle) < power else (low, middle)
    return 0.5 * (low + high)


def heat_up(
    bodies: tuple[Body, ...], losses: Losses, power: float, start: float, end: float
) -> Heating:
    """Heat bodies together at constant power: dH/dt = P - losses(T).

    Time is the integral of dH/(P - losses) over the heat content. `power` P that reaches the
    bodies [W], `start`, `end` [degC]; the course ends at `end`, or just below the temperature
    at which the losses eat the power. The first body is the one whose melting is reported.
    ValueError for end not above start, no body, or a start at which the losses exceed the
    power. Source: heat balance. Range: one temperature for all: a piece with a Biot number
    below 0.1, a stirred melt; a thick piece's surface runs ahead.
    """
    if not bodies:
        raise ValueError("there must be at least one body")
    limit = stall_temperature(losses, power)
    stalled = None if limit > end else limit
    # Just below the stall: the last part would take for ever.
    last = end if stalled is None else limit - 1e-3 * (limit - losses.ambient)
    grid = _grid(bodies, start, last)
    content = np.sum([_content(body, grid) for body in bodies], axis=0)
    pace = 1.0 / (power - np.array([heat_lost(losses, celsius) for celsius in grid]))
    times = np.concatenate(([0.0], np.cumsum(0.5 * (pace[1:] + pace[:-1]) * np.diff(content))))
    molten = np.array([bodies[0].molten(celsius) for celsius in grid])
    return Heating(times, grid, molten, float(content[-1]), stalled)


def heat_through(
    bodies: tuple[Body, ...],
    losses: Losses,
    course: Sequence[tuple[float, float]],
) -> Heating:
    """Heat bodies together at a power that goes with their temperature: dH/dt = P(T) - losses(T).

    `course`: temperature [degC] and power that reaches the bodies [W], rising, straight lines
    between; heated from the first to the last. Ends where the losses eat the power. ValueError as
    `heat_up`. Source, range: as `heat_up`.
    """
    if not bodies:
        raise ValueError("there must be at least one body")
    celsius, powers = (np.array(column) for column in zip(*course, strict=True))
    grid = np.union1d(_grid(bodies, float(celsius[0]), float(celsius[-1])), celsius)
    left = np.interp(grid, celsius, powers) - np.array([heat_lost(losses, t) for t in grid])
    stops = np.flatnonzero(left <= 0.0)
    stalled = float(grid[stops[0]]) if len(stops) else None
    if stalled is not None:
        grid, left = grid[: stops[0]], left[: stops[0]]
    if len(grid) < 2:
        raise ValueError(f"the losses exceed the power at the start, {celsius[0]:g} degC")
    content = np.sum([_content(body, grid) for body in bodies], axis=0)
    pace = 1.0 / left
    times = np.concatenate(([0.0], np.cumsum(0.5 * (pace[1:] + pace[:-1]) * np.diff(content))))
    molten = np.array([bodies[0].molten(t) for t in grid])
    return Heating(times, grid, molten, float(content[-1]), stalled)
