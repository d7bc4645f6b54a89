"""The coil and what is in it, as one set of equations in ring currents.

Unknowns: the current of every ring and the voltage of every turn. Rows: the surface or
volume equation of each ring (`rings`), and the coil's current through each turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    field : H_t outside every surface ring of the bodies [1/m]; zero for volume rings
    """

    impedance: complex
    currents: Complex
    field: Complex


def matrices(
    coil: Sheet,
    bodies: tuple[Sheet | Block, ...],
    known: Matrices | None,
    own: tuple[tuple[Real, Real], ...] = (),
) -> Matrices:
    """Assemble; `known` may hold those of the coil alone, to save its part of the work.

    `own`: potential and tangential of each body on itself, which are the same wherever it is.

    Potentials in [Wb/(m A)], fields in [1/m]. Source and range as for
    `rings.potential_matrix`.
    """
    groups = (coil, *bodies)
    starts = tuple(int(n) for n in np.cumsum([0, *(len(one.r) for one in groups)]))
    potential, tangential = np.zeros((2, starts[-1], starts[-1]))
    for i, at in enumerate(groups):
        for j, source in enumerate(groups):
            part = np.s_[starts[i] : starts[i + 1], starts[j] : starts[j + 1]]
            if i == j == 0 and known is not None:
                potential[part], tangential[part] = known.potential, known.tangential
                continue
            if i == j > 0 and own:
                potential[part], tangential[part] = own[i - 1]
                continue
            potential[part] = potential_matrix(at, source)
            if isinstance(at, Sheet):
                tangential[part] = tangential_matrix(at, source)
    return Matrices(groups, starts, potential, tangential)


@dataclass(frozen=True)
class Answered:
    """The coil's answer put into the equations of the bodies, for 1 A peak through the coil.

    Fields
    ------
    turns, known : what it was made from
    coil : currents and turn voltages of the coil with no current in the bodies
    back : by how much one ampere in each ring of the bodies lowers them
    surface : whether each ring of the bodies is on a surface
    potential, tangential : of the bodies' rings on themselves, the coil answering
    driven_potential, driven_tangential : on the bodies' rings, of the coil alone
    """

    turns: Turns
    known: Matrices
    coil: Complex
    back: Complex
    surface: NDArray[np.bool_]
    potential: Complex
    tangential: Complex
    driven_potential: Complex
    driven_tangential: Complex


def answer_of_coil(turns: Turns, known: Matrices, copper: complex, omega: float) -> Answered:
    """Solve the coil once, for any bodies' currents; `copper` is its flux depth tau [m].

    What is left then has the size of the bodies, and is solved as often as steel needs.
    Source: elimination of the coil's unknowns. Exact.
    """
    count, turn = known.starts[1], np.asarray(turns.turn)
    share, rows = np.asarray(turns.share), np.arange(known.starts[1])
    own, bodies = np.s_[:count], np.s_[count:]
    equations = known.potential[own] - MU0 * copper * known.tangential[own]
    full = np.zeros((count + len(share), count + len(share)), dtype=np.complex128)
    full[own, own] = equations[:, own]
    full[rows, count + turn] = -1.0 / (2j * np.pi * omega * turns.sheet.r)
    full[count + turn, rows] = 1.0
    right = np.zeros((len(full), 1 + known.starts[-1] - count), dtype=np.complex128)
    # A part of a turn carries the whole current over a part of the circle: as a ring it is
    # given that part of the current, and adds that part of its voltage.
    right[count:, 0] = share
    right[own, 1:] = equations[:, bodies]
    answer = np.asarray(np.linalg.solve(full, right), dtype=np.complex128)
    coil, back = answer[:, 0], answer[:, 1:]
    potential, tangential = known.potential[bodies], known.tangential[bodies]
    return Answered(
        turns,
        known,
        coil,
        back,
        np.concatenate([np.zeros(0, bool), *(_on_surface(one) for one in known.groups[1:])]),
        np.asarray(potential[:, bodies] - potential[:, own] @ back[own]),
        np.asarray(tangential[:, bodies] - tangential[:, own] @ back[own]),
        np.asarray(potential[:, own] @ coil[own]),
        np.asarray(tangential[:, own] @ coil[own]),
    )


def _on_surface(group: Sheet | Block) -> NDArray[np.bool_]:
    return np.full(len(group.r), isinstance(group, Sheet))


def solve_bodies(ready: Answered, depths: Complex) -> Solved:
    """Solve for the ring currents of the bodies, and with them the coil's.

    `depths`: for a surface ring its flux depth tau [m]; for a volume ring the term rho/(j
    omega mu0 S) [1/m] that belongs to its own current, S its section [m2]. Source:
    impedance boundary condition on surfaces, Ohm's law in volumes (`rings`). Range: skin
    thin against radius or wall at surface rings.
    """
    tau = np.where(ready.surface, depths, 0.0)
    matrix = ready.potential - MU0 * tau[:, None] * ready.tangential
    matrix[np.diag_indices(len(tau))] += MU0 * np.where(ready.surface, 0.0, depths)
    right = MU0 * tau * ready.driven_tangential - ready.driven_potential
    currents = np.asarray(np.linalg.solve(matrix, right), dtype=np.complex128)
    coil = ready.coil - ready.back @ currents
    count = ready.known.starts[1]
    field = np.asarray(ready.driven_tangential + ready.tangential @ currents)
    share = np.asarray(ready.turns.share)
    return Solved(complex(share @ coil[count:]), np.concatenate([coil[:count], currents]), field)
