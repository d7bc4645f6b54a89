"""A workpiece in the coil: what the coil's ends measure, at a field, temperature and place.

The field is solved by rings of current (`rings`); steel takes at every point of its surface what
its B(H) makes of the field there (`steel`), and the two are iterated. What the piece takes and
what the copper loses are told apart. Each answer has its doubt: held against finite elements in the
tests it is within 5 % on R and 3 % on the change of L where nothing is noted; where a range is left
the doubt is wider and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from simkit.parts.bodies import (
    Body,
    Charge,
    Piece,
    Shape,
    body_of,
    range_notes,
    surface_depth,
)
from simkit.parts.coil import Coil, CoilGeometry, copper_depth, turns_impedance, turns_of
from simkit.parts.doubts import Doubt, doubt_of
from simkit.parts.materials import Material
from simkit.parts.ranged import out_of_range
from simkit.parts.rings import Complex, Real, Sheet, potential_matrix, tangential_matrix
from simkit.parts.ringsystem import (
    Answered,
    Matrices,
    Solved,
    answer_of_coil,
    matrices,
    solve_bodies,
)
from simkit.parts.steel import FIELDS

ROUNDS, SETTLED, STEP = 60, 2e-5, 0.8


@dataclass(frozen=True)
class Loaded:
    """The coil with the piece in it, as a circuit part.

    Fields
    ------
    inductance : at the ends of the coil's leads [H]
    resistance : coil and piece together, at the ends of the leads [ohm]
    reflected : part of `resistance` that is not the empty coil's [ohm]
    inductance_change : against the empty coil [H]
    piece_resistance : part of `resistance` whose loss is heat in the piece and its charge [ohm]
    copper_resistance : the rest, heat in the coil and its leads [ohm]
    surface_field : on the side of the piece, mean weighted with the loss [A/m, peak]
    mu_r : relative permeability, weighted likewise [1]
    penetration_depth : at that permeability [m]
    doubt : by how much R and L may be off for the method's sake
    warnings : what was outside a range or not settled
    """

    inductance: float
    resistance: float
    reflected: float
    inductance_change: float
    piece_resistance: float
    copper_resistance: float
    surface_field: float
    mu_r: float
    penetration_depth: float
    doubt: Doubt
    warnings: tuple[str, ...]

    @property
    def efficiency(self) -> float:
        """Heat in the piece over all that goes into the coil's ends [1]."""
        return self.piece_resistance / self.resistance


@lru_cache(maxsize=16)
def _own(shape: Shape) -> tuple[Real, Real]:
    """Potential and tangential field of a body's rings on themselves: so wherever it is."""
    rings = shape.rings()
    tangential = tangential_matrix(rings, rings) if isinstance(rings, Sheet) else 0.0
    return potential_matrix(rings, rings), np.asarray(tangential)


@lru_cache(maxsize=64)
def _ready(
    geometry: CoilGeometry, resistivity: float, frequency: float, shapes: tuple[Shape, ...]
) -> Answered:
    """What the rings do to each other, coil solved: the same at every current, so kept."""
    turns, alone = turns_of(geometry)
    own = tuple(_own(replace(shape, at=0.0)) for shape in shapes)
    known = matrices(turns.sheet, tuple(shape.rings() for shape in shapes), alone, own)
    copper = copper_depth(geometry, resistivity, frequency)
    return answer_of_coil(turns, known, copper, 2.0 * math.pi * frequency)


@dataclass(frozen=True)
class _Settled:
    """The bodies' own terms and what was solved with them; `notes` when they did not settle."""

    solved: Solved
    depths: list[Complex]
    fields: list[Real]
    notes: tuple[str, ...]


def _settle(coil: Coil, bodies: list[Body], ready: Answered, current: float) -> _Settled:
    """Iterate the field at every ring [A/m, peak] and the flux depth it makes."""
    cuts = np.subtract(ready.known.starts[2:-1], ready.known.starts[1])
    fields = [np.full(len(body.rings.r), current / coil.geometry.pitch) for body in bodies]
    change = math.inf
    for _ in range(ROUNDS):
        depths = [body.depths(one) for body, one in zip(bodies, fields, strict=True)]
        solved = solve_bodies(ready, np.concatenate(depths))
        new = [np.abs(part) * current for part in np.split(solved.field, cuts)]
        change = max(
            _moved(one, there) if body.magnetic else 0.0
            for body, one, there in zip(bodies, fields, new, strict=True)
        )
        if change < SETTLED:
            return _Settled(solved, depths, new, ())
        # The field answers weakly and against the permeability: a step a little short of the
        # whole, on a log scale, settles in about ten rounds.
        fields = [b**STEP * a ** (1.0 - STEP) for a, b in zip(fields, new, strict=True)]
    return _Settled(solved, depths, new, (f"permeability not settled: last change {change:.2g}",))


def _moved(old: Real, new: Real) -> float:
    """Largest change of a field, on a log scale; below the steel's lowest one nothing changes."""
    least = FIELDS[0]
    return float(np.max(np.abs(np.log(np.maximum(new, least) / np.maximum(old, least)))))


def _weighted(
    body: Body, known: Matrices, settled: _Settled, index: int, current: float
) -> tuple[float, float]:
    """Field [A/m, peak] and mu_r [1] on the side of a body, weighted with the loss."""
    field, depths = settled.fields[index], settled.depths[index]
    if isinstance(body.rings, Sheet):
        rings, mu_r = body.rings, body.permeability(field)
        loss = -depths.imag * field**2 * rings.r * rings.width
    else:
        # Just outside the rings, so that no filament is met.
        shell = replace(body.piece, diameter=1.02 * body.piece.diameter, wall=None)
        made = Shape(shell, body.shape.at, body.shape.grain, None).rings()
        assert isinstance(made, Sheet)
        rings = made
        field = np.abs(_outside_field(rings, known, settled.solved)) * current
        loss, mu_r = field**2 * rings.r * rings.width, np.ones(len(field))
    side = loss * (np.abs(rings.tz) > 0.5)
    if side.sum() == 0.0:
        return 0.0, float(np.max(mu_r))
    return float(side @ field / side.sum()), float(side @ mu_r / side.sum())


def _outside_field(at: Sheet, known: Matrices, solved: Solved) -> Complex:
    total = np.zeros(len(at.r), dtype=np.complex128)
    for start, end, group in zip(known.starts, known.starts[1:], known.groups, strict=False):
        total += tangential_matrix(at, group) @ solved.currents[start:end]
    return total


def _taken(bodies: list[Body], settled: _Settled, known: Matrices) -> float:
    """Twice the loss of all bodies for 1 A peak in the coil [ohm]."""
    inside = np.subtract(known.starts[1:], known.starts[1])
    first = known.starts[1]
    total = 0.0
    for k, body in enumerate(bodies):
        here = np.s_[inside[k] : inside[k + 1]]
        currents = settled.solved.currents[first:][here]
        total += body.loss_resistance(settled.depths[k], currents, settled.solved.field[here])
    return total


def workpiece_in_coil(
    coil: Coil,
    piece: Piece,
    material: Material,
    temperature: float,
    coil_current: float,
    frequency: float,
    position: float = 0.0,
    charge: Charge | None = None,
    core_temperature: float | None = None,
) -> Loaded:
    """Inductance and resistance of the coil with a piece in it.

    Z = Z_empty + s (Z_with - Z_without): the difference from the ring method, s the measured
    over the computed inductance of the coil (`Coil.scale`).
    `temperature` of the piece's surface [degC]; `coil_current` [A, peak]; `frequency` [Hz];
    `position` of the piece's middle from the coil's, along the axis [m]; `charge` what is
    inside a tube or crucible; `core_temperature` of the piece's middle [degC], its surface's
    where none is given. ValueError for a current below 0, a piece that the coil's turns would
    cut, or a charge that does not fit. Sources: `rings` for the field, `steel` and `magnetics`
    for steel, materials.toml for data. Range: axis of the coil; the tests' grid of finite
    elements; a bottom of a crucible is not modelled; hysteresis loss is not in it. What is
    outside is in `warnings` and widens `doubt`.
    """
    check_fit(coil.geometry, piece, position, coil_current, charge)
    grain = _grain(coil.geometry, piece)
    reach = _reach(coil.geometry)
    known = temperature, frequency, position, grain, core_temperature, reach
    bodies = [body_of(piece, material, *known)]
    if charge is not None:
        at = position + charge.offset
        grain = _grain(coil.geometry, charge.piece)
        held = charge.piece, charge.material, charge.temperature
        bodies.append(body_of(*held, frequency, at, grain, reach=reach))
    ready = _ready(coil.geometry, coil.resistivity, frequency, tuple(body.shape for body in bodies))
    settled = _settle(coil, bodies, ready, coil_current)
    return _loaded(coil, bodies, ready, settled, coil_current)


def _loaded(
    coil: Coil, bodies: list[Body], ready: Answered, settled: _Settled, current: float
) -> Loaded:
    """What was solved, as a circuit part."""
    frequency = bodies[0].frequency
    empty = turns_impedance(coil.geometry, coil.resistivity, frequency)
    added = coil.scale * (settled.solved.impedance - empty)
    change, taken = added.imag / (2.0 * math.pi * frequency), 0.0
    taken = coil.scale * _taken(bodies, settled, ready.known)
    means = [_weighted(b, ready.known, settled, k, current) for k, b in enumerate(bodies)]
    depths = [surface_depth(b, mean) for b, (_, mean) in zip(bodies, means, strict=True)]
    warnings = [*coil.notes, *settled.notes]
    for body, depth in zip(bodies, depths, strict=True):
        warnings += [*body.warnings, *range_notes(body, depth), *body.unsettled()]
    apart = out_of_range("frequency/the coil's", frequency / coil.frequency, 0.5, 2.0)
    share = added.real / (coil.resistance + added.real), change / (coil.inductance + change)
    return Loaded(
        inductance=coil.inductance + change,
        resistance=coil.resistance + added.real,
        reflected=added.real,
        inductance_change=change,
        piece_resistance=taken,
        copper_resistance=coil.resistance + added.real - taken,
        surface_field=means[0][0],
        mu_r=means[0][1],
        penetration_depth=depths[0],
        doubt=doubt_of(bodies, depths, share, bool(settled.notes)),
        warnings=(*warnings, *apart),
    )


def _reach(geometry: CoilGeometry) -> float:
    """From the coil's middle to where its field is spent [m]: two and a half bores past its end.

    A turn's field on the axis is there below 1 %: (1 + (z/a)^2)^(-3/2), z five radii. Source:
    Biot-Savart. Range: off the axis it falls likewise.
    """
    return 0.5 * geometry.length + 2.5 * max(geometry.bore, 0.75 * geometry.width)


def _grain(geometry: CoilGeometry, piece: Piece) -> float:
    """Longest ring along the axis [m]: finer than the field's ripple from turn to turn.

    That ripple fades over the distance from the copper's middle to the piece.
    """
    nearest = min(
        max(abs(radius - piece.radius), abs(piece.bore - radius) if piece.wall else 0.0)
        for radius, _, _ in geometry.places
    )
    return min(0.3 * piece.radius, 0.5 * max(nearest, geometry.tube / 2))


def check_fit(
    geometry: CoilGeometry,
    piece: Piece,
    position: float,
    current: float = 0.0,
    charge: Charge | None = None,
) -> None:
    """Refuse parts that cannot be where they are said to be, lengths in [m], current in [A].

    ValueError: a turn of the coil within the piece, a charge that does not fit. Source:
    geometry. Exact.
    """
    if current < 0.0:
        raise ValueError(f"coil_current is {current:g} A; it must be at least 0")
    for radius, level, _ in geometry.places:
        sideways = max(piece.bore - radius, radius - piece.radius, 0.0)
        along = max(abs(level - position) - piece.length / 2, 0.0)
        if math.hypot(sideways, along) <= geometry.tube / 2:
            raise ValueError(
                f"piece of {piece.diameter:g} m at {position:g} m does not pass the coil's turn "
                f"of {2 * radius:g} m at {level:g} m"
            )
    if charge is None:
        return
    if piece.wall is None:
        raise ValueError("a charge needs a tube or crucible: wall is None")
    if charge.piece.diameter >= 2.0 * piece.bore:
        raise ValueError(f"charge of {charge.piece.diameter:g} m does not fit inside the wall")
