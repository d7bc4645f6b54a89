"""The raw result of a march: pieces of all half periods, and what they hold.

Split off `envelope`, which runs the march and tells what it means.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simkit.scout.halfwave import Complex, Edges, Modes, Piece, phi
from simkit.scout.plant import OUTPUTS, Array, Network
from simkit.scout.steady import vertex

Index = NDArray[np.intp]

MAIN_POINTS = 17
"""Samples of each quarter with one pair on; a sinusoid's peak is then right to 1e-5."""
EDGE_POINTS = 5
"""Samples of each piece of the dead time."""


@dataclass(frozen=True)
class State:
    """Slow states at one time, true sign, as a circuit run is seeded with them.

    Fields: time [s]; phase of the drive there [periods]; currents [A]; tank and blocking
    voltage [V], the latter as deviation from its rest; link_voltage [V].
    """

    time: float
    phase: float
    primary_current: float
    magnetising_current: float
    load_current: float
    coil_current: float
    tank_voltage: float
    blocking_voltage: float
    link_voltage: float


@dataclass(frozen=True)
class March:
    """Raw result: network and modes per quarter (two to a half period), all pieces in one list.

    `owner` is the quarter of each piece; `links` are per half period, `folded` are
    the states at the turn-offs.
    """

    net: Network
    modes: list[Modes]
    links: Array
    levels: Array
    turn_offs: Array
    pieces: list[Piece]
    owner: Index
    folded: Array

    @cached_property
    def _begins(self) -> Array:
        return np.array([p.start for p in self.pieces]) + self.turn_offs[self.owner // 2]

    def state_at(self, time: float, phase_at: Callable[[float], float]) -> State:
        """Slow states at a time [s], the drive's phase as told; before the march its steady start.

        Raises ValueError beyond the end of the march.
        """
        duration = self.turn_offs[1] - self.turn_offs[0]
        back = max(0, int(np.ceil((self.turn_offs[0] - time) / duration)))
        begin = self._begins
        inside = time + back * duration
        if inside > self.turn_offs[-1]:
            raise ValueError(f"time = {time!r} s lies beyond the end of the march")
        at = max(int(np.searchsorted(begin, inside, side="right")) - 1, 0)
        quarter, piece = int(self.owner[at]), self.pieces[at]
        half, modes = quarter // 2, self.modes[quarter]
        z = modes.step(piece.z, float(inside - begin[at]), piece.voltage, piece.slope)
        sign = (-1.0) ** (half + 1 - back)
        out = sign * (self.net.c[quarter] @ (modes.vectors @ z).real)
        phase = phase_at(inside) - 0.5 * back
        primary, magnetising, load, coil, tank, blocking = out.tolist()
        return State(time, phase, primary, magnetising, load, coil, tank, blocking,
                     float(self.links[half]))  # fmt: skip


@dataclass(frozen=True)
class Halves:
    """Per half period: peaks, integral of the squared primary current, share of the swing that is
    left at the turn-on, currents at the edges, energies."""

    coil: Array
    tank: Array
    primary: Array
    magnetising: Array
    square: Array
    left: Array
    forward: Array
    off: Array
    on: Array
    supplied: Array
    lost: Array
    coil_lost: Array


def _samples(march: March, chosen: Index, points: int) -> tuple[Array, Array, Array]:
    """States, bridge voltages and Simpson weights of pieces at evenly spaced times."""
    pieces, owner = [march.pieces[k] for k in chosen], march.owner[chosen]
    time = np.array([p.duration for p in pieces])[:, None] * np.linspace(0.0, 1.0, points)
    start = np.array([p.voltage for p in pieces])[:, None]
    slope = np.array([p.slope for p in pieces])[:, None]
    rates = np.array([march.modes[k].rates for k in owner], dtype=np.complex128)
    x: Complex = rates[:, None, :] * time[:, :, None]
    first, second = phi(x)
    forced = (start * time)[:, :, None] * first + (slope * time**2)[:, :, None] * second
    drive = np.array([march.modes[k].drive for k in owner])[:, None, :]
    z: Complex = np.exp(x) * np.array([p.z for p in pieces])[:, None, :] + drive * forced
    vectors = np.array([march.modes[k].vectors for k in owner])
    simpson = np.ones(points)
    simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
    weight = time[:, -1:] * simpson / (3.0 * (points - 1))
    return (z @ np.swapaxes(vectors, 1, 2)).real, start + slope * time, weight


def measure(march: March, edges: Edges) -> Halves:
    """What each half period holds, from even samples of its pieces."""
    starts = np.array([p.start for p in march.pieces])
    main = starts >= edges.dead_time
    found = {f.name: np.zeros(len(march.links)) for f in fields(Halves)}
    for chosen, points in (
        (np.flatnonzero(main), MAIN_POINTS),
        (np.flatnonzero(~main), EDGE_POINTS),
    ):
        if chosen.size:
            _measure_pieces(march, chosen, points, found, starts[chosen], edges.dead_time)
    return Halves(**found)


def _measure_pieces(
    march: March,
    chosen: Index,
    points: int,
    found: dict[str, Array],
    starts: Array,
    dead_time: float,
) -> None:
    """Add what pieces of one kind hold to the figures of their half periods."""
    owner = march.owner[chosen]
    half = owner // 2
    states, voltage, weight = _samples(march, chosen, points)
    rows = np.moveaxis(states @ np.swapaxes(march.net.c[owner], 1, 2), 2, 0)
    out = dict(zip(OUTPUTS, rows, strict=True))
    primary = out["primary_current"]
    np.maximum.at(found["coil"], half, vertex(np.abs(out["coil_current"])))
    np.maximum.at(found["tank"], half, vertex(np.abs(out["capacitor_voltage"])))
    np.maximum.at(found["primary"], half, vertex(np.abs(primary)))
    np.maximum.at(found["magnetising"], half, vertex(np.abs(out["magnetising_current"])))
    np.add.at(found["square"], half, np.sum(weight * primary**2, axis=1))
    on = starts >= dead_time
    np.maximum.at(found["forward"], half[on], vertex(-primary[on]) if on.any() else 0.0)
    np.add.at(found["supplied"], half, np.sum(weight * voltage * primary, axis=1))
    for name, matrix in (("lost", march.net.loss), ("coil_lost", march.net.coil_loss)):
        power = np.einsum("nti,nij,ntj->nt", states, matrix[owner], states, optimize=True)
        np.add.at(found[name], half, np.sum(weight * power, axis=1))
    for name, time in (("off", 0.0), ("on", dead_time)):
        first = starts == time
        found[name][half[first]] = primary[first, 0]
    # The last piece that ends with the dead time: how far the node has come by then.
    ends = np.array([p.start + p.duration for p in (march.pieces[k] for k in chosen)])
    last = np.isclose(ends, dead_time, rtol=1e-9)
    levels = march.levels[half[last]]
    found["left"][half[last]] = 0.5 * (1.0 + voltage[last, -1] / levels)
