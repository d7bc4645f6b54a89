"""A workpiece along something that changes: place, level, temperature.

Each returns arrays ready for a plot or a table; the points are `workpiece.workpiece_in_coil`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simkit.parts.coil import Coil
from simkit.parts.materials import Material
from simkit.parts.rings import Real
from simkit.parts.workpiece import Charge, Loaded, Piece, workpiece_in_coil


@dataclass(frozen=True)
class Profile:
    """L and R at the ends of the coil's leads, along something that changes.

    Fields
    ------
    x : what changes; its unit is in the function that made this
    inductance : [H]
    resistance : coil and piece [ohm]
    surface_field : [A/m, peak]
    mu_r : [1]
    warnings : of all points, each once
    """

    x: Real
    inductance: Real
    resistance: Real
    surface_field: Real
    mu_r: Real
    warnings: tuple[str, ...]


def _profile(x: Real, points: list[Loaded]) -> Profile:
    def column(name: str) -> NDArray[np.float64]:
        return np.array([getattr(point, name) for point in points], dtype=np.float64)

    notes = dict.fromkeys(note for point in points for note in point.warnings)
    return Profile(
        x=x,
        inductance=column("inductance"),
        resistance=column("resistance"),
        surface_field=column("surface_field"),
        mu_r=column("mu_r"),
        warnings=tuple(notes),
    )


def clearance(coil: Coil, piece: Piece) -> float:
    """Distance of middles at which the piece's end is one and a half bores out of the coil [m].

    Beyond it L and R are the empty coil's within 0.1 % (tests). Source: comparison in the
    tests. Range: rods and tubes on the axis.
    """
    return 0.5 * (piece.length + coil.geometry.length) + 1.5 * coil.geometry.bore


def pull_out_profile(
    coil: Coil,
    piece: Piece,
    material: Material,
    temperature: float,
    coil_current: float,
    frequency: float,
    points: int = 33,
    charge: Charge | None = None,
) -> Profile:
    """L and R against the position x of the piece's middle, from x = 0 to clear [m].

    Arguments, errors, sources and range as for `workpiece_in_coil`; `points` [1] spread
    evenly up to `clearance`.
    """
    x = np.linspace(0.0, clearance(coil, piece), points)
    return _profile(
        x,
        [
            workpiece_in_coil(
                coil, piece, material, temperature, coil_current, frequency, float(at), charge
            )
            for at in x
        ],
    )


def level_sweep(
    coil: Coil,
    piece: Piece,
    material: Material,
    temperature: float,
    currents: Real,
    frequency: float,
) -> Profile:
    """L and R against the coil's current x [A, peak], piece in the middle.

    Arguments, errors, sources and range as for `workpiece_in_coil`.
    """
    return _profile(
        currents,
        [
            workpiece_in_coil(coil, piece, material, temperature, float(one), frequency)
            for one in currents
        ],
    )


def temperature_sweep(
    coil: Coil,
    piece: Piece,
    material: Material,
    temperatures: Real,
    coil_current: float,
    frequency: float,
) -> Profile:
    """L and R against the piece's temperature x [degC], piece in the middle.

    Arguments, errors, sources and range as for `workpiece_in_coil`.
    """
    return _profile(
        temperatures,
        [
            workpiece_in_coil(coil, piece, material, float(one), coil_current, frequency)
            for one in temperatures
        ],
    )


@dataclass(frozen=True)
class Flip:
    """Where the piece changes from raising to lowering the coil's inductance.

    Fields
    ------
    coil_current : [A, peak]
    surface_field : [A/m, peak]
    mu_r : there [1]
    """

    coil_current: float
    surface_field: float
    mu_r: float


def inductance_flip(
    coil: Coil,
    piece: Piece,
    material: Material,
    temperature: float,
    frequency: float,
    low: float = 0.1,
    high: float = 1e4,
) -> Flip | None:
    """The coil current at which the piece neither raises nor lowers L; None when there is none.

    Root of the change of L between `low` and `high` [A, peak], to 0.1 %; other arguments as
    for `workpiece_in_coil`, piece in the middle. Source: root of the change by Brent's
    method; range as for `workpiece_in_coil`.
    """

    def at(current: float) -> Loaded:
        return workpiece_in_coil(coil, piece, material, temperature, current, frequency)

    return flip_of(at, low, high)


def flip_of(at: Callable[[float], Loaded], low: float, high: float) -> Flip | None:
    """Where the change of L turns its sign between two coil currents [A, peak]; None if never.

    `at` gives the coil with the piece at a current [A, peak]. Root by Brent's method, to 0.1 %.
    Source: as for `inductance_flip`. Range: as for `workpiece_in_coil`; one change of sign.
    """
    from scipy.optimize import brentq

    def change(log_current: float) -> float:
        return at(math.exp(log_current)).inductance_change

    ends = math.log(low), math.log(high)
    if change(ends[0]) * change(ends[1]) >= 0.0:
        return None
    current = math.exp(float(brentq(change, *ends, xtol=1e-3)))
    there = at(current)
    return Flip(current, there.surface_field, there.mu_r)
