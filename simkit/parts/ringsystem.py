"""The coil and what is in it, as one set of equations in ring currents.

Unknowns: the current of every ring and the voltage of every turn. Rows: the surface or
volume equation of each ring (`rings`), and the coil's current through each turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.parts.rings import (
    MU0,
    Block,
    Complex,
    Real,
    Sheet,
    potential_matrix,
    tangential_matrix,
)


@dataclass(frozen=True)
class Turns:
    """The coil as sheets of rings.

    Fields
    ------
    sheet : the rings of all turns, turn after turn
    turn : number of the turn that each ring belongs to
    share : part of a full turn that each turn is [1]; 1 but for a fractional last one
    """

    sheet: Sheet
    turn: tuple[int, ...]
    share: tuple[float, ...]


@dataclass(frozen=True)
class Matrices:
    """Potential and tangential field of all rings on all rings, per ampere.

    Fields
    ------
    groups : the coil's sheet first, then each body
    starts : index of the first ring of each group, and the total
    potential : A_phi [Wb/(m A)]
    tangential : H_t just outside [1/m]; zero rows for volume rings
    """

    groups: tuple[Sheet | Block, ...]
    starts: tuple[int, ...]
    potential: Real
    tangential: Real


@dataclass(frozen=True)
class Solved:
    """For 1 A peak through the coil.

    Fields
    ------
    impedance : at the ends of the coil's turns [ohm]
    currents : of every ring [A/A]
    field : H_t outside every surface ring [1/m]; zero for volume rings
    """

    impedance: complex
    currents: Complex
    field: Complex


def matrices(coil: Sheet, bodies: tuple[Sheet | Block, ...], known: Matrices | None) -> Matrices:
    """Assemble; `known` may hold those of the coil alone, to save its part of the work."""
    groups = (coil, *bodies)
    starts = tuple(int(n) for n in np.cumsum([0, *(len(one.r) for one in groups)]))
    potential, tangential = np.zeros((2, starts[-1], starts[-1]))
    for i, at in enumerate(groups):
        for j, source in enumerate(groups):
            part = np.s_[starts[i] : starts[i + 1], starts[j] : starts[j + 1]]
            if i == j == 0 and known is not None:
                potential[part], tangential[part] = known.potential, known.tangential
                continue
            potential[part] = potential_matrix(at, source)
            if isinstance(at, Sheet):
                tangential[part] = tangential_matrix(at, source)
    return Matrices(groups, starts, potential, tangential)


def solve(turns: Turns, known: Matrices, depths: Complex, omega: float) -> Solved:
    """Solve for the ring currents with 1 A peak through the coil.

    `depths`: for a surface ring its flux depth tau [m]; for a volume ring the term
    rho/(j omega mu0 S) [1/m] that belongs to its own current, S its section [m2].
    """
    count, turn = known.starts[-1], np.asarray(turns.turn)
    size, share = len(turns.share), np.asarray(turns.share)
    full = np.zeros((count + size, count + size), dtype=np.complex128)
    sheet_rows = np.concatenate(
        [np.full(len(group.r), isinstance(group, Sheet)) for group in known.groups]
    )
    tau = np.where(sheet_rows, depths, 0.0)
    full[:count, :count] = known.potential - MU0 * tau[:, None] * known.tangential
    full[np.arange(count), np.arange(count)] += MU0 * np.where(sheet_rows, 0.0, depths)
    rows = np.arange(len(turn))
    full[rows, count + turn] = -1.0 / (2j * np.pi * omega * turns.sheet.r)
    full[count + turn, rows] = 1.0
    right = np.zeros(count + size, dtype=np.complex128)
    right[count:] = share
    answer = np.asarray(np.linalg.solve(full, right), dtype=np.complex128)
    # A part of a turn carries the whole current over a part of the circle: as a ring it is
    # given that part of the current, and adds that part of its voltage.
    impedance = complex(share @ answer[count:])
    field = np.asarray(known.tangential @ answer[:count], dtype=np.complex128)
    return Solved(impedance, answer[:count], field)
