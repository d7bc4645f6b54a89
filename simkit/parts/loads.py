"""Coil and workpieces of a machine file as the parts that work them out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simkit.parameters.coil import (
    CoilGeometry,
    Level,
    Load,
    LoadDoubt,
    PieceGeometry,
    PieceShape,
    Workpiece,
)
from simkit.parameters.machine import Machine
from simkit.parts import coil as coils
from simkit.parts.bodies import Charge, Piece
from simkit.parts.materials import material
from simkit.parts.profiles import clearance
from simkit.parts.transformer import copper_resistivity
from simkit.parts.working import coil_current
from simkit.parts.workpiece import Loaded, check_fit, workpiece_in_coil

CURRENTS = tuple(float(current) for current in np.geomspace(0.1, 1e4, 31))
"""Coil currents at which steel is worked out, six a decade: between them L is off by less than
0.1 % and R by less than 1 % (tests) [A, peak]."""
PLACES = 33
"""Places along the way out of the coil, evenly up to `clearance`."""


def resistivity_of(geometry: CoilGeometry) -> float:
    """Resistivity of the coil's copper at its temperature [ohm m]."""
    return copper_resistivity(geometry.temperature).value


@lru_cache(maxsize=32)
def _wound(
    geometry: coils.CoilGeometry, frequency: float, resistivity: float, measured: coils.Measured
) -> coils.Coil:
    return coils.coil_from_geometry(geometry, frequency, resistivity, measured)


def coil_part(
    geometry: CoilGeometry,
    frequency: float,
    inductance: float | None = None,
    resistance: float | None = None,
    q: float | None = None,
) -> coils.Coil:
    """The coil of a machine at a frequency [Hz]; what was measured [H], [ohm], [1] counts."""
    measured = coils.Measured(inductance, resistance, q)
    return _wound(coil_shape(geometry), frequency, resistivity_of(geometry), measured)


def coil_shape(geometry: CoilGeometry) -> coils.CoilGeometry:
    """The coil of a machine file as the parts take it; ValueError for one that cannot be."""
    return coils.CoilGeometry(
        turns=geometry.turns,
        bore=geometry.bore,
        tube=geometry.tube,
        wall=geometry.wall,
        pitch=geometry.step,
        lead_length=geometry.lead_length,
        lead_spacing=geometry.lead_spacing,
        form=geometry.form,
        layers=geometry.layers,
        layer_pitch=geometry.layer_pitch or 0.0,
        steps=geometry.steps or (),
    )


def refuse_cut(geometry: CoilGeometry, piece: PieceGeometry) -> None:
    """ValueError for a piece that a turn of the coil would cut where it lies."""
    check_fit(coil_shape(geometry), _piece(piece), piece.position)


def coil_of(machine: Machine) -> coils.Coil:
    """The coil of a machine with geometry, at the empty coil's resonance. ValueError without."""
    if machine.coil.geometry is None:
        raise ValueError("the coil has no geometry")
    made = machine.coil
    assert made.geometry is not None
    at = machine.resonance(made.inductance)
    return coil_part(made.geometry, at, made.inductance, made.resistance)


def _piece(shape: PieceShape) -> Piece:
    return Piece(shape.diameter, shape.length, shape.wall)


def _charge(geometry: PieceGeometry) -> Charge | None:
    held = geometry.charge
    if held is None:
        return None
    return Charge(_piece(held), material(held.material), held.temperature, held.offset)


def piece_at(
    coil: coils.Coil, geometry: PieceGeometry, current: float, frequency: float, position: float
) -> Loaded:
    """The coil with a piece in it at a coil current [A, peak], frequency [Hz] and place [m].

    KeyError for a material nobody knows, ValueError for a piece that does not pass the bore.
    """
    return workpiece_in_coil(
        coil,
        _piece(geometry),
        material(geometry.material),
        geometry.temperature,
        current,
        frequency,
        position,
        _charge(geometry),
        geometry.core_temperature,
    )


def depends_on_level(geometry: PieceGeometry) -> bool:
    """Whether L and R change with the coil's current: something in the coil is magnetic."""
    parts = [geometry, *([geometry.charge] if geometry.charge else [])]
    inside = geometry.core_temperature
    if inside is not None and material(geometry.material).is_magnetic(inside):
        return True
    return any(material(part.material).is_magnetic(part.temperature) for part in parts)


@dataclass(frozen=True)
class Levels:
    """L and R against the coil's current; one entry where they do not depend on it.

    Fields
    ------
    levels : L [H] and R [ohm] at each current
    pieces : part of R whose loss heats the piece, at each [ohm]
    doubts : by how much L and R may be off, at each
    warnings : of all, each once
    """

    levels: tuple[Level, ...]
    pieces: tuple[float, ...]
    doubts: tuple[LoadDoubt, ...]
    warnings: tuple[str, ...]

    def at(self, current: float | None) -> tuple[float, LoadDoubt]:
        """Share of R that heats the piece [1], and the doubt, at a coil current [A, peak]."""
        spots = np.log([level.coil_current for level in self.levels])
        shares = [p / one.resistance for p, one in zip(self.pieces, self.levels, strict=True)]
        where = spots[0] if current is None else float(np.log(current))
        nearest = int(np.argmin(np.abs(spots - where)))
        return float(np.interp(where, spots, shares)), self.doubts[nearest]


def levels_of(coil: coils.Coil, geometry: PieceGeometry, frequency: float) -> Levels:
    """A piece at its place, at all currents it may see. Errors as `piece_at`."""
    currents = CURRENTS if depends_on_level(geometry) else CURRENTS[:1]
    found = [piece_at(coil, geometry, one, frequency, geometry.position) for one in currents]
    levels = tuple(
        Level(coil_current=current, inductance=one.inductance, resistance=one.resistance)
        for current, one in zip(currents, found, strict=True)
    )
    notes = dict.fromkeys(note for one in found for note in one.warnings)
    doubts = tuple(_doubt(one) for one in found)
    return Levels(levels, tuple(one.piece_resistance for one in found), doubts, tuple(notes))


def _doubt(found: Loaded) -> LoadDoubt:
    doubt = found.doubt
    most = 0.99
    return LoadDoubt(
        resistance=min(doubt.resistance, most),
        inductance=min(doubt.inductance, most),
        beyond=doubt.beyond,
    )


def way_out(coil: coils.Coil, geometry: PieceGeometry) -> float:
    """From the piece's place until it is clear of the field [m], at least a tenth of its length."""
    return max(clearance(coil, _piece(geometry)) - geometry.position, 0.1 * geometry.length)


@dataclass(frozen=True)
class WayOut:
    """L and R along the way out of the coil, at equal steps from the piece's place to clear.

    Fields
    ------
    inductance : [H]
    resistance : [ohm]
    coil_current : that the drive puts into each of them [A, peak]
    warnings : of all places, each once
    """

    inductance: tuple[float, ...]
    resistance: tuple[float, ...]
    coil_current: tuple[float, ...]
    warnings: tuple[str, ...]


def course_out(machine: Machine, name: str, frequency: float, voltage: float) -> WayOut:
    """How L and R go as a piece leaves, place by place, at the current it meets there.

    Drive at `frequency` [Hz] and link `voltage` [V]. At each place the current and what steel
    makes of it are iterated (half a step each on a log scale, from the place before), as if the
    current had settled: a tank settles in 2 L/R, tens of microseconds, and a hand moves in
    hundreds of milliseconds. Skin depths are those of the empty coil's resonance, as everywhere
    (a drive 5 % higher finds R 2 to 3 % higher). The last point is the empty coil. ValueError for
    a piece without geometry; other errors as `piece_at`.
    """
    piece = machine.workpieces[name]
    if piece.geometry is None:
        raise ValueError(f"workpiece {name} has no geometry")
    return _course_out(
        coil_of(machine),
        piece.geometry,
        piece.travel,
        _Drive(machine, voltage, frequency),
    )


class _Drive:
    """The current a machine drives into a load; equal where all its numbers are."""

    def __init__(self, machine: Machine, voltage: float, frequency: float) -> None:
        self.machine, self.voltage, self.frequency = machine, voltage, frequency
        parts = (machine.transformer, machine.tank, machine.bridge, machine.drive, machine.switch)
        self.key = (voltage, frequency, parts)

    def __call__(self, load: Load) -> float:
        return coil_current(self.machine, load, self.frequency, self.voltage)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Drive) and self.key == other.key

    def __hash__(self) -> int:
        return hash((self.voltage, self.frequency))


@lru_cache(maxsize=16)
def _course_out(
    coil: coils.Coil,
    geometry: PieceGeometry,
    travel: float,
    drive: Callable[[Load], float],
) -> WayOut:
    empty = Load(inductance=coil.inductance, resistance=coil.resistance)
    current = drive(empty)
    rounds = 12 if depends_on_level(geometry) else 1
    rows: list[tuple[float, float, float]] = []
    notes: dict[str, None] = {}
    for at in np.linspace(geometry.position, geometry.position + travel, PLACES)[:-1]:
        for _ in range(4 * rounds if not rows else rounds):
            found = piece_at(coil, geometry, current, coil.frequency, float(at))
            load = Load(inductance=found.inductance, resistance=found.resistance)
            new, old = drive(load), current
            current = float(np.sqrt(new * old))
            if abs(new / old - 1.0) < 1e-3:
                break
        notes |= dict.fromkeys(found.warnings)
        rows.append((load.inductance, load.resistance, new))
    rows.append((empty.inductance, empty.resistance, drive(empty)))
    inductance, resistance, currents = zip(*rows, strict=True)
    return WayOut(inductance, resistance, currents, tuple(notes))


def made_piece(title: str, geometry: PieceGeometry, found: Levels, travel: float) -> Workpiece:
    """A workpiece with its levels; L and R are those of the first until the drive is known."""
    first, several = found.levels[0], len(found.levels) > 1
    return Workpiece(
        title=title,
        inductance=first.inductance,
        resistance=first.resistance,
        travel=travel,
        geometry=geometry,
        levels=found.levels if several else None,
        nominal_current=first.coil_current if several else None,
    )
