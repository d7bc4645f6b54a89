"""Steel under the skin, solved in time: what flux a field at the surface drives into it.

Linear steel has a closed answer (`skin.rod_flux_depth`). Saturating steel has none: its
permeability follows the field through the period and inwards. So the field is diffused inwards
in time, with the curve B(H) of `magnetics.saturated_permeability` at every moment and place, and
what the fundamental of the electric field at the surface comes to is kept, field by field, in a
table. The surface may be hotter than the core: beyond the Curie point outside, magnetic inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simkit.parts.magnetics import saturated_permeability
from simkit.parts.skin import MU0, Complex, Real, rod_flux_depth, skin_depth

FIELDS = np.geomspace(30.0, 3e6, 21)
"""Peak fields at the surface, four a decade [A/m]: between them tau is met within 0.5 % (tests)."""
STEPS, PERIODS = 80, 2.5
"""Per period, and how many: what the start leaves is 0.3 % by then (tests)."""
FINE, REACH, GROW, DEEP = 0.06, 2.4, 1.25, 7.0
"""Cells of so many skin depths down to REACH, growing from there to DEEP."""
ROUNDS, SETTLED, ENOUGH = 60, 1e-5, 1e-3
"""Newton's steps, and what the last one may change of the surface's field [1]."""


@dataclass(frozen=True)
class Steel:
    """What the diffusion needs of a material at a temperature, or at several depths of it.

    Fields
    ------
    depth : below the surface, rising from 0 [m]; one entry where all is alike
    resistivity : there [ohm m]
    saturation : there [T]; 0 beyond the Curie point
    initial, rayleigh : initial permeability [1] and its rise with the field [m/A]
    """

    depth: tuple[float, ...]
    resistivity: tuple[float, ...]
    saturation: tuple[float, ...]
    initial: float
    rayleigh: float

    @property
    def linear(self) -> bool:
        """Whether no field that can be reached changes the permeability."""
        far = self.rayleigh * FIELDS[-1] < 1e-3 * self.initial
        reluctance = MU0 * FIELDS[-1] * self.initial
        return far and min(self.saturation) > 1e3 * reluctance and len(self.depth) == 1

    def permeability(self, field: Real) -> Real:
        """mu_r at the surface at a peak field [1]."""
        return saturated_permeability(field, self.initial, self.rayleigh, self.saturation[0])


@dataclass(frozen=True)
class Answer:
    """Flux depth tau of a surface at the fields `FIELDS`.

    Fields
    ------
    depth : tau [m], complex: A = mu0 tau H of the fundamentals
    settled : whether every step of the march was
    """

    depth: Complex
    settled: bool

    def at(self, field: Real) -> Complex:
        """tau at peak fields [A/m]: straight lines over the logarithms; held at the ends."""
        spots, where = np.log(FIELDS), np.log(np.maximum(field, FIELDS[0]))
        size = np.interp(where, spots, np.log(np.abs(self.depth)))
        return np.asarray(np.exp(size + 1j * np.interp(where, spots, np.angle(self.depth))))


@lru_cache(maxsize=128)
def flux_depths(steel: Steel, frequency: float, radius: float) -> Answer:
    """Flux depth of a rod of steel, or of a flat surface, at the fields `FIELDS` [m].

    `frequency` [Hz]; `radius` of the rod, inf for flat [m]. Solves d(B)/dt = (1/r) d/dr (r rho
    dH/dr) with H = H0 sin(omega t) at the surface by second-order backward differences in time
    and Newton's method at each step, then takes the fundamental of E = rho dH/dx at the surface:
    tau = E/(j omega mu0 H0). Source: Maxwell's equations without displacement current; the curve
    is `magnetics.saturated_permeability`. Range: one value of B for each H (no hysteresis, whose
    loss is missing), long rod or flat face; closed form where nothing saturates.
    """
    if steel.linear:
        mu = steel.permeability(FIELDS)
        if math.isinf(radius):
            k = (1.0 + 1.0j) / skin_depth(steel.resistivity[0], frequency)
            return Answer(np.asarray(np.sqrt(mu) / k), True)
        return Answer(rod_flux_depth(radius, steel.resistivity[0], frequency, mu), True)
    return _march(_grid(steel, frequency, radius), steel, frequency)


@dataclass(frozen=True)
class _Grid:
    """Cells below the surface, a row for every field; node 0 is the surface.

    Fields
    ------
    conductance : rho r/dx between nodes [ohm]
    volume : of the cells around the nodes, r dx [m2]
    end : conductance from the last node to where H = 0 [ohm]; 0 where that is the axis
    saturation : at the nodes [T]
    radius : of the surface [m]; 1 when flat
    """

    conductance: Real
    volume: Real
    end: Real
    saturation: Real
    radius: float


def _grid(steel: Steel, frequency: float, radius: float) -> _Grid:
    steps = [FINE]
    while sum(steps) < DEEP:
        steps.append(FINE if sum(steps) < REACH else GROW * steps[-1])
    nodes = np.concatenate(([0.0], np.cumsum(steps)))
    mu = steel.permeability(FIELDS)
    skin = skin_depth(steel.resistivity[0], frequency) / np.sqrt(mu)
    curved = not math.isinf(radius)
    reach = np.minimum(nodes[-1] * skin, radius * (1.0 - 1e-9))
    x = nodes[None, :] / nodes[-1] * reach[:, None]
    r = radius - x if curved else np.ones_like(x)
    between, dx = 0.5 * (r[:, 1:] + r[:, :-1]), np.diff(x, axis=1)
    middle = 0.5 * (x[:, 1:] + x[:, :-1])
    conductance = np.interp(middle, steel.depth, steel.resistivity) * between / dx
    volume = np.zeros_like(x)
    volume[:, 1:] += 0.25 * dx * (r[:, 1:] + between)
    volume[:, :-1] += 0.25 * dx * (r[:, :-1] + between)
    axis = curved & (reach < nodes[-1] * skin)
    end = np.where(axis, 0.0, conductance[:, -1])
    saturation = np.interp(x, steel.depth, steel.saturation)
    return _Grid(conductance, volume, end, saturation, radius if curved else 1.0)


def _induction(steel: Steel, field: Real, saturation: Real) -> tuple[Real, Real]:
    """B [T] and dB/dH [H/m] at a field of either sign [A/m]."""
    strength = np.abs(field)
    weak = steel.initial - 1.0 + steel.rayleigh * strength
    bend = MU0 / np.maximum(saturation, 1e-12)
    more = 1.0 / (1.0 / weak + bend * strength)
    slope = more**2 * (steel.rayleigh / weak**2 - bend)
    magnetic = saturation > 1e-9
    more, slope = np.where(magnetic, more, 0.0), np.where(magnetic, slope, 0.0)
    return MU0 * field * (1.0 + more), MU0 * (1.0 + more + strength * slope)


def _march(grid: _Grid, steel: Steel, frequency: float) -> Answer:
    """March through time; all fields side by side."""
    omega, dt = 2.0 * math.pi * frequency, 1.0 / (frequency * STEPS)
    inner = np.zeros((len(FIELDS), grid.conductance.shape[1]))
    old = older = np.zeros_like(grid.volume)
    electric = np.zeros(len(FIELDS), dtype=np.complex128)
    settled, count = True, round(PERIODS * STEPS)
    for k in range(1, count + 1):
        weights = (1.0, -1.0, 0.0) if k == 1 else (1.5, -2.0, 0.5)
        surface = FIELDS * math.sin(2.0 * math.pi * k / STEPS)
        before = (weights[1] * old + weights[2] * older) / dt
        inner, good = _step(grid, steel, surface, inner, before, weights[0] / dt)
        settled &= good
        whole = np.concatenate((surface[:, None], inner), axis=1)
        flux, _ = _induction(steel, whole, grid.saturation)
        # Into the first half cell: through its inner side, and what stays in it.
        into = grid.conductance[:, 0] * (surface - inner[:, 0])
        into += grid.volume[:, 0] * (weights[0] / dt * flux[:, 0] + before[:, 0])
        older, old = old, flux
        if k > count - STEPS // 2:
            electric += into * 1j * np.exp(-2j * math.pi * k / STEPS) * 4.0 / STEPS
    tau = electric / (grid.radius * 1j * omega * MU0 * FIELDS)
    return Answer(tau, settled)


def _step(
    grid: _Grid, steel: Steel, surface: Real, start: Real, before: Real, rate: float
) -> tuple[Real, bool]:
    """One step in time: the field inside [A/m], and whether it settled."""
    from scipy.linalg import solve_banded

    g, field, saturation = grid.conductance, start, grid.saturation[:, 1:]
    rows, cells = field.shape
    bands = np.zeros((3, rows, cells))
    bands[0, :, 1:] = bands[2, :, :-1] = -g[:, 1:]
    fixed = g + np.concatenate((g[:, 1:], grid.end[:, None]), axis=1)
    knee = saturation / (MU0 * steel.initial)
    for turn in range(ROUNDS):
        flux, slope = _induction(steel, field, saturation)
        whole = np.concatenate((surface[:, None], field), axis=1)
        inwards = g * (whole[:, :-1] - whole[:, 1:])
        onwards = np.concatenate((inwards[:, 1:], (grid.end * field[:, -1])[:, None]), axis=1)
        left = grid.volume[:, 1:] * (rate * flux + before[:, 1:]) - inwards + onwards
        bands[1] = fixed + grid.volume[:, 1:] * rate * slope
        found = solve_banded((1, 1), bands.reshape(3, -1), -left.ravel(), check_finite=False)
        change = np.asarray(found, dtype=np.float64).reshape(rows, cells)
        new = field + (1.0 if turn < 6 else 0.6 if turn < 25 else 0.3) * change
        # Through zero the curve is steep, and beyond its knee flat: a step across stops there,
        # or it would be thrown back and to and fro.
        thrown = (field * new < 0.0) & (np.abs(new) > knee)
        last = float(np.max(np.abs(change) / FIELDS[:, None]))
        field = np.where(thrown, np.sign(new) * knee, new)
        if last < SETTLED:
            break
    return field, last < ENOUGH
