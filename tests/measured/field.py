"""The field inside metal in a coil, from the package's own rings."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simkit.parts.bodies import Body, Piece, body_of
from simkit.parts.coil import CoilGeometry, copper_depth, turns_of
from simkit.parts.materials import Material, Table
from simkit.parts.rings import Block, Sheet, loop_field
from simkit.parts.ringsystem import Solved, answer_of_coil, matrices, solve_bodies
from tests.measured.data import COIL_DIAMETER, COIL_LENGTH

COPPER = 1.72e-8
# The winding as 20 rings of tube: 25 mm from one to the next against 49 mm to the axis leave no
# ripple there (exp(-2 pi 49/25) is 5e-6).
TURNS = 20
LONG = CoilGeometry(TURNS, COIL_DIAMETER - 4e-3, 4e-3, 2e-3, COIL_LENGTH / TURNS, 0.0, 0.0)


def metal(conductivity: float) -> Material:
    """A material of one conductivity [S/m] and nothing else."""
    one = Table((20.0,), (1.0,), "", "test", "estimated")
    table = Table((20.0,), (1.0 / conductivity,), "ohm m", "test", "estimated")
    return Material("metal", "", table, one, one, one, one, one, one, one, None)


def _at(rings: Sheet | Block, radius: float) -> NDArray[np.float64]:
    """H_z at mid length and a radius [m], per ampere in each ring: one filament each [1/m]."""
    where = np.full(len(rings.r), radius)
    return loop_field(where, np.zeros(len(rings.r)), rings.r, rings.z)[1]


def solve(piece: Piece, conductivity: float, frequency: float) -> tuple[Body, Solved, int]:
    """The rings' currents for 1 A in the coil; the number of the coil's rings."""
    body = body_of(piece, metal(conductivity), 20.0, frequency, 0.0, 10e-3)
    turns, alone = turns_of(LONG)
    known = matrices(turns.sheet, (body.rings,), alone)
    copper = copper_depth(LONG, COPPER, frequency)
    ready = answer_of_coil(turns, known, copper, 2.0 * math.pi * frequency)
    depths = body.depths(np.ones(len(body.rings.r)))
    return body, solve_bodies(ready, depths), known.starts[1]


def on_axis(piece: Piece, conductivity: float, frequency: float) -> complex:
    """H on the axis at mid length over that of the empty coil [1]."""
    body, solved, first = solve(piece, conductivity, frequency)
    turns, alone = turns_of(LONG)
    near = 1e-4 * COIL_DIAMETER
    coil = _at(turns.sheet, near)
    empty = solve_bodies(
        answer_of_coil(turns, alone, copper_depth(LONG, COPPER, frequency),
                       2.0 * math.pi * frequency),
        np.zeros(0, dtype=np.complex128),
    )  # fmt: skip
    inside = coil @ solved.currents[:first] + _at(body.rings, near) @ solved.currents[first:]
    return complex(inside / (coil @ empty.currents))
