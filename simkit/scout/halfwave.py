"""One half period of the bridge on the linear plant, solved exactly piece by piece.

Between events the bridge voltage is a straight line in time, so that in the coordinates z of the
eigenvectors each state advances in closed form:

    z(t) = exp(s t) z0 + b (u0 t phi1(s t) + u' t^2 phi2(s t)),
    phi1(x) = (e^x - 1)/x,  phi2(x) = (phi1(x) - 1)/x

A half period runs from one turn-off to the next, and is written in folded form: the voltage
before the turn-off is +V and after it -V, whatever their true sign; the next half period starts
from the negative of the state at the end. Steady operation is then y = fold(y).

What happens in the dead time is decided by the current, as diodes do:
- it flows on in the old direction (lagging): it charges the nodes over, and the other pair of
  diodes takes it; should it reverse before the opposite pair turns on, the nodes swing back;
- it flows backwards already (leading): the old pair's diodes carry it, and the voltage flips only
  after the opposite turn-on, by force, once the diodes let the nodes go.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from simkit.scout.plant import OUTPUTS, Array, Network

Complex = NDArray[np.complex128]

SUBSTEPS = 24
"""Steps through a dead time in which the current reverses or the swing does not finish."""
SMALL = 1e-5
"""Below this |x| phi1 and phi2 are taken from their series, whose three terms then hold to 1e-15;
above it rounding leaves at most 2e-11 of phi2."""


SLOWEST = 1e-3
"""Least rate of a mode [1/s]: what changes within a quarter of an hour stands still in an event,
and (e^x - 1)/rate stays a number."""


class Release(Protocol):
    """How long a body diode that is forced off holds the bridge node."""

    def wait(self, turn_off: float, turn_on: float) -> float:
        """Time after the turn-on [s], from the bridge current when a pair turns off and when the
        other turns on [A], the latter negative."""
        ...


@dataclass(frozen=True)
class Edges:
    """Switching edges of the bridge.

    Fields: dead_time between one pair off and the other on [s]; swing_charge that the bridge
    current must move for the output to swing over [C], zero for an immediate swing; delay of
    the middle of the dead time behind the drive's half-period boundary [s]; release: how long a
    diode that is forced off holds the node after the turn-on, at once when None.
    """

    dead_time: float = 0.0
    swing_charge: float = 0.0
    delay: float = 0.0
    release: Release | None = None

    @property
    def lead(self) -> float:
        """Time by which a pair turns off before the half-period boundary [s]."""
        return 0.5 * self.dead_time - self.delay

    def __post_init__(self) -> None:
        """Refuse negative values."""
        if self.dead_time < 0.0 or self.swing_charge < 0.0:
            raise ValueError("dead_time and swing_charge must not be negative")


def phi(x: Complex) -> tuple[Complex, Complex]:
    """The functions phi1 and phi2 of the heading [1]."""
    small = np.abs(x) < SMALL
    if not small.any():
        plain = np.expm1(x) / x
        return plain, (plain - 1.0) / x
    safe = np.where(small, 1.0, x)
    first = np.where(small, 1.0 + x * (0.5 + x / 6.0), np.expm1(safe) / safe)
    second = np.where(small, 0.5 + x * (1.0 / 6.0 + x / 24.0), (first - 1.0) / safe)
    return first, second


class Modes(NamedTuple):
    """Eigenvectors of one network: x = vectors z, dz/dt = rates z + drive u.

    Fields: rates [1/s]; vectors, inverse; drive; primary: row that gives the bridge current [A];
    pull: drive over rates.
    """

    rates: Complex
    vectors: Complex
    inverse: Complex
    drive: Complex
    primary: Complex
    pull: Complex

    def step(self, z: Complex, time: float, voltage: float, slope: float = 0.0) -> Complex:
        """State after a time [s] at a bridge voltage [V] that rises by a slope [V/s]."""
        x = self.rates * time
        if not slope:
            return np.asarray(z + np.expm1(x) * (z + self.pull * voltage))
        first, second = phi(x)
        push = voltage * time * first + slope * time * time * second
        return np.asarray((1.0 + x * first) * z + self.drive * push)

    def current(self, z: Complex) -> float:
        """Bridge current of a state [A]."""
        return float((self.primary @ z).real)


def modes_of(net: Network) -> list[Modes]:
    """Modes of each of a network's matrices.

    The states are scaled by the root of their stored energy first: fluxes of microwebers and
    hundreds of volts would spoil the inverse. Raises ValueError for a network that cannot be
    taken apart (two equal modes, critical damping).
    """
    scale = 1.0 / np.sqrt(np.diagonal(net.energy[0]))
    scaled = net.a * scale[None, None, :] / scale[None, :, None]
    rates, vectors = np.linalg.eig(scaled)
    vectors = np.asarray(vectors, dtype=np.complex128)
    inverse = np.linalg.inv(vectors)
    back = ((vectors * rates[:, None, :]) @ inverse).real
    if np.max(np.abs(back - scaled)) > 1e-6 * np.max(np.abs(scaled)):
        raise ValueError("two modes of the network coincide; change a value by a little")
    vectors = vectors * scale[None, :, None]
    inverse = inverse / scale[None, None, :]
    drive = inverse @ net.b
    primary = np.einsum("nj,njk->nk", net.c[:, OUTPUTS.index("primary_current")], vectors)
    rates = np.where(np.abs(rates) < SLOWEST, -SLOWEST, rates).astype(np.complex128)
    columns = (rates, vectors, inverse, drive, primary, drive / rates)
    return [Modes(*row) for row in zip(*columns, strict=True)]


class Piece(NamedTuple):
    """A stretch with a straight bridge voltage, from state z.

    Fields: start since the turn-off [s], duration [s], voltage [V] and its slope [V/s], z.
    """

    start: float
    duration: float
    voltage: float
    slope: float
    z: Complex


def half_period(
    modes: Modes,
    z: Complex,
    level: float,
    duration: float,
    edges: Edges,
    later: Modes | None = None,
) -> tuple[list[Piece], Complex]:
    """Pieces of one folded half period [s] from a turn-off, and the state at its end.

    With `later`, the network is another one from the middle of the half period on (or from the
    end of a longer dead time), and the last piece and the end are in its coordinates.
    """
    turn_off = modes.current(z)
    pieces, z = _dead_time(modes, z, level, edges)
    begin = edges.dead_time
    turn_on = modes.current(z)
    if edges.release is not None and turn_on < 0.0 and pieces:
        # not beyond the middle, where the network may change, unless the dead time itself is
        wait = min(edges.release.wait(turn_off, turn_on), max(0.4 * duration - begin, 0.0))
        node = pieces[-1].voltage + pieces[-1].slope * pieces[-1].duration
        pieces.append(Piece(begin, wait, node, 0.0, z))
        z, begin = modes.step(z, wait, node), begin + wait
    if later is not None:
        middle = max(0.5 * duration, begin)
        pieces.append(Piece(begin, middle - begin, -level, 0.0, z))
        z = later.inverse @ (modes.vectors @ modes.step(z, middle - begin, -level)).real
        modes, begin = later, middle
    pieces.append(Piece(begin, duration - begin, -level, 0.0, z))
    return pieces, modes.step(z, duration - begin, -level)


def _dead_time(modes: Modes, z: Complex, level: float, edges: Edges) -> tuple[list[Piece], Complex]:
    dead = edges.dead_time
    if dead == 0.0:
        return [], z
    current = modes.current(z)
    if current <= 0.0:
        after = modes.step(z, dead, level)
        if modes.current(after) <= 0.0:
            return [Piece(0.0, dead, level, 0.0, z)], after
        return _by_charge(modes, z, level, edges)
    swing = edges.swing_charge / current
    if swing < dead:
        done = _swung(modes, z, level, dead, swing)
        if done is not None:
            return done
    return _by_charge(modes, z, level, edges)


def _swung(
    modes: Modes, z: Complex, level: float, dead: float, swing: float
) -> tuple[list[Piece], Complex] | None:
    """Full swing at the turn-off current, then diodes; None if the current reverses in between."""
    pieces = []
    if swing > 0.0:
        slope = -2.0 * level / swing
        pieces.append(Piece(0.0, swing, level, slope, z))
        z = modes.step(z, swing, level, slope)
        if modes.current(z) <= 0.0:
            return None
    pieces.append(Piece(swing, dead - swing, -level, 0.0, z))
    z = modes.step(z, dead - swing, -level)
    return (pieces, z) if modes.current(z) >= 0.0 else None


def _by_charge(modes: Modes, z: Complex, level: float, edges: Edges) -> tuple[list[Piece], Complex]:
    """Nodes charged by the current, du/dt = -2 V i/Q between the rails; predictor, corrector."""
    step = edges.dead_time / SUBSTEPS
    first, second = phi(modes.rates * step)
    grow, push = np.exp(modes.rates * step), modes.drive * (step * first)
    lean = modes.drive * (step * second)
    # a charge too small for one step to follow is an immediate swing: one step from rail to rail
    rate = 2.0 * level * step / max(edges.swing_charge, 1e-30)
    leaning = modes.current(lean)  # the current is linear in the state: one product a step
    pieces, voltage, before = [], level, modes.current(z)
    for k in range(SUBSTEPS):
        plain = grow * z + push * voltage
        steady = modes.current(plain)
        to = min(max(voltage - rate * before, -level), level)
        guess = steady + leaning * (to - voltage)
        to = min(max(voltage - 0.5 * rate * (before + guess), -level), level)
        move = to - voltage
        pieces.append(Piece(k * step, step, voltage, move / step, z))
        z = plain + lean * move
        voltage, before = to, steady + leaning * move
    return pieces, z


def sample(modes: Modes, piece: Piece, shares: Array) -> Complex:
    """States z of a piece at shares of its duration [1], one row each."""
    times = shares * piece.duration
    x = np.outer(times, modes.rates)
    first, second = phi(x)
    part = (piece.voltage * times)[:, None] * first + (piece.slope * times**2)[:, None] * second
    return np.asarray(np.exp(x) * piece.z + modes.drive * part)
