"""By how much a load worked out from geometry may be off, for the method's sake alone.

Held against the grid of finite elements in the tests. What the material's data are worth is not
in it: in weak fields, below some 5 kA/m, soft steel has two to four times the permeability of the
class values (docs, held against measurements).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simkit.parts.bodies import RANGE, Body, range_notes
from simkit.parts.rings import Block

REFLECTED, CHANGE = 0.05, 0.03
"""Within the range: of the reflected R and of the change of L [1] (tests)."""
SURFACE = 0.08
"""Of the reflected R of a surface that is not magnetic [1]: see `bodies.THIN` (tests)."""
STEEL_CHANGE = 0.05
"""Of the change of L of a magnetic surface [1]: the flux it carries and the flux it keeps out go
against each other, so that what is left is known less well (tests)."""
CORNER = 0.5
"""Of reflected R and of the change of L per depth over half length of a magnetic surface [1]:
finite elements gave 0.3 to 0.5 for what is not magnetic (tests)."""
UNSETTLED = 0.5
"""Where permeability and field did not settle [1]."""
COIL = 0.01
"""Of the empty coil's own L [1]: polygon around the tube, helix taken as rings (tests)."""


@dataclass(frozen=True)
class Doubt:
    """Half width of what a load's values may be off by, as a share of them [1].

    Fields
    ------
    resistance : of R at the coil's ends [1]
    inductance : of L at the coil's ends [1]
    beyond : whether a range was left, so that it is wider than what the tests hold
    """

    resistance: float
    inductance: float
    beyond: bool


def doubt_of(
    bodies: Sequence[Body], depths: Sequence[float], share: tuple[float, float], unsettled: bool
) -> Doubt:
    """The doubt of a load from its skin depths [m].

    `share` of R and of L that the piece makes [1]. Source: comparison with finite elements
    (tests). Range: a doubt; beyond the ranges in `bodies` it is an estimate.
    """
    of_r, of_l, beyond = REFLECTED, CHANGE, unsettled
    for body, depth in zip(bodies, depths, strict=True):
        if isinstance(body.rings, Block):
            continue
        if not body.magnetic:
            of_r = max(of_r, SURFACE)
            continue
        piece = body.piece
        over = depth / piece.thickness / (RANGE[0] if piece.wall is None else RANGE[1])
        extra = CORNER * 2.0 * depth / piece.length + 0.1 * max(over - 1.0, 0.0)
        beyond |= bool(range_notes(body, depth))
        of_r, of_l = max(of_r, extra), max(of_l, extra, STEEL_CHANGE)
    if unsettled:
        of_r, of_l = UNSETTLED, UNSETTLED
    copper = 0.03 * (1.0 - share[0])
    return Doubt(of_r * abs(share[0]) + copper, of_l * abs(share[1]) + COIL, beyond)
