"""A workpiece along its way out of the coil, and where it changes its sign with the level."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from simkit.parts.bodies import Piece
from simkit.parts.coil import Coil
from simkit.parts.workpiece import Loaded


def clearance(coil: Coil, piece: Piece) -> float:
    """Distance of middles at which the piece's end is one and a half bores out of the coil [m].

    Beyond it L and R are the empty coil's within 0.1 % (tests). Source: comparison in the
    tests. Range: rods and tubes on the axis.
    """
    return 0.5 * (piece.length + coil.geometry.length) + 1.5 * max(
        coil.geometry.bore, 0.75 * coil.geometry.width
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


def flip_of(at: Callable[[float], Loaded], low: float, high: float) -> Flip | None:
    """Where the change of L turns its sign between two coil currents [A, peak]; None if never.

    `at` gives the coil with the piece at a current [A, peak]. Root by Brent's method, to 0.1 %.
    Source: root of the change, Brent. Range: as for `workpiece_in_coil`; one change of sign.
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
