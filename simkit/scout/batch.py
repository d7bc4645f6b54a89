"""Many periodic solutions at once: the half period of `halfwave`, for a whole map in one pass.

The same exact piecewise-linear equations as `steady`, written over a leading axis of cases, each
with a network, frequency, link voltage and dead time of its own. Every case runs through the same
row of pieces: `SUBSTEPS` of dead time, of which most have no length where the swing is simple, the
wait for a diode that is forced off, and the main stretch with one pair on.

What a diode forced off needs before it gives the node free comes from `forced`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simkit.scout.halfwave import SUBSTEPS, Complex, Modes, phi
from simkit.scout.plant import Array, Network

ITERATIONS = 15
"""Most Newton steps for a periodic solution [1]."""
STUCK = 0.02
"""Share of a Newton step below which a case is left as it is [1]: between two ways of swinging the
half period jumps by about 1e-5 of the state, and no step helps there."""
PERIODIC = 1e-8
"""Change of the state over a half period, relative to its size, at which it is periodic [1]."""
NUDGE = 1e-6
"""Step of a numerical derivative, relative to the state [1]."""

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]
Wait = Callable[[Array, Index], Array]
"""Currents forced out of diodes [A], numbers of their cases -> time until the node is free [s]."""


@dataclass(frozen=True)
class Cases:
    """What is solved, one entry per case along the leading axis.

    Fields: rates [1/s], vectors, inverse, drive, primary as in `halfwave.Modes`; scale of each
    state; level of the bridge voltage [V]; duration of a half period [s]; dead_time as the
    switches see it [s]; charge of a whole swing [C]; number of the case.
    """

    rates: Complex
    vectors: Complex
    inverse: Complex
    drive: Complex
    primary: Complex
    scale: Array
    level: Array
    duration: Array
    dead_time: Array
    charge: Array
    number: Index

    def chosen(self, which: Index | Mask) -> Cases:
        """Some of the cases, by index or mask."""
        return replace(self, **{name: getattr(self, name)[which] for name in self.__annotations__})

    def step(self, z: Complex, time: Array, voltage: Array, slope: Array) -> Complex:
        """States after times [s] at voltages [V] that rise by slopes [V/s]."""
        x = self.rates * time[:, None]
        first, second = phi(x)
        push = (voltage * time)[:, None] * first + (slope * time * time)[:, None] * second
        return np.asarray(np.exp(x) * z + self.drive * push)

    def current(self, z: Complex) -> Array:
        """Bridge current of states [A]."""
        return np.asarray(np.sum(self.primary * z, axis=1).real)


def cases(
    modes: list[Modes],
    net: Network,
    which: Index,
    level: Array,
    duration: Array,
    dead_time: Array,
    charge: Array,
) -> Cases:
    """Cases from the modes of some networks and which of them each case has."""
    rates, vectors, inverse, drive, primary, _ = (
        np.array(column)[which] for column in zip(*modes, strict=True)
    )
    scale = 1.0 / np.sqrt(np.diagonal(net.energy, axis1=1, axis2=2))[which]
    number = np.arange(len(which), dtype=np.intp)
    return Cases(
        rates, vectors, inverse, drive, primary, scale, level, duration, dead_time, charge, number
    )


@dataclass(frozen=True)
class Pieces:
    """Pieces of the half periods; axes: case, piece (and state).

    Fields: start since the turn-off [s], duration [s], voltage [V], slope [V/s], state z at the
    start; end: state z at the end of the half period. The last piece is the main stretch, the one
    before it the wait for a diode.
    """

    start: Array
    duration: Array
    voltage: Array
    slope: Array
    z: Complex
    end: Complex

    @classmethod
    def empty(cls, count: int, states: int, pieces: int) -> Pieces:
        """Pieces to be filled in."""
        start, duration, voltage, slope = np.zeros((4, count, pieces))
        z = np.zeros((count, pieces, states), dtype=np.complex128)
        return cls(start, duration, voltage, slope, z, z[:, -1])

    def put(
        self,
        at: int | slice,
        start: Array,
        duration: Array,
        voltage: Array,
        slope: Array,
        z: Complex,
    ) -> None:
        """Fill in one piece of every case, or several alike."""
        several = isinstance(at, slice)
        values = (start, duration, voltage, slope, z)
        for name, value in zip(("start", "duration", "voltage", "slope", "z"), values, strict=True):
            getattr(self, name)[:, at] = value[:, None] if several else value


def half_periods(c: Cases, z: Complex, wait: Wait) -> Pieces:
    """Folded half periods from states at the turn-off; see `halfwave`."""
    row, now, voltage = _dead_times(c, z)
    forced = np.maximum(-c.current(now), 0.0)
    wait_time = np.where(forced > 0.0, wait(forced, c.number), 0.0)
    wait_time = np.minimum(wait_time, 0.5 * (c.duration - c.dead_time))
    flat = np.zeros_like(wait_time)
    row.put(-2, c.dead_time, wait_time, voltage, flat, now)
    now, begin = c.step(now, wait_time, voltage, flat), c.dead_time + wait_time
    row.put(-1, begin, c.duration - begin, -c.level, flat, now)
    end = c.step(now, c.duration - begin, -c.level, flat)
    return replace(row, end=end)


def _dead_times(c: Cases, z: Complex) -> tuple[Pieces, Complex, Array]:
    """Pieces of the dead time; state and bridge voltage at its end.

    A simple swing takes two pieces, a current that leads throughout one; otherwise the nodes are
    charged by the current, in `SUBSTEPS`.
    """
    row = Pieces.empty(c.scale.shape[0], z.shape[1], SUBSTEPS + 2)
    swing = _swings(c, z)
    simple, leads = np.isfinite(swing) & (swing >= 0.0), swing < 0.0
    first = np.where(simple, swing, c.dead_time)
    slope = np.where(simple, -2.0 * c.level / np.maximum(swing, 1e-30), 0.0)
    flat = np.zeros_like(slope)
    row.put(0, flat, first, c.level, slope, z)
    now = c.step(z, first, c.level, slope)
    voltage = np.where(simple, -c.level, c.level)
    row.put(slice(1, -2), first, flat, voltage, flat, now)
    row.put(1, first, c.dead_time - first, voltage, flat, now)
    now = c.step(now, c.dead_time - first, voltage, flat)
    row.start[:, 2:-2], row.z[:, 2:-2] = c.dead_time[:, None], now[:, None, :]
    rest = np.flatnonzero(~(simple | leads))
    if rest.size:
        part, part_now, part_voltage = _by_charge(c.chosen(rest), z[rest])
        for name in ("start", "duration", "voltage", "slope", "z"):
            getattr(row, name)[rest, :-2] = getattr(part, name)
        now[rest], voltage[rest] = part_now, part_voltage
    return row, now, voltage


def _by_charge(c: Cases, z: Complex) -> tuple[Pieces, Complex, Array]:
    """Nodes charged by the current, du/dt = -2 V i/Q between the rails; predictor, corrector."""
    row = Pieces.empty(len(z), z.shape[1], SUBSTEPS)
    step = c.dead_time / SUBSTEPS
    x = c.rates * step[:, None]
    first, second = phi(x)
    grow, push = np.exp(x), c.drive * (step[:, None] * first)
    lean = c.drive * (step[:, None] * second)
    rate = 2.0 * c.level * step / np.maximum(c.charge, 1e-30)
    voltage, before = c.level, c.current(z)
    for k in range(SUBSTEPS):
        plain = grow * z + push * voltage[:, None]
        to = np.clip(voltage - rate * before, -c.level, c.level)
        guess = c.current(plain + lean * (to - voltage)[:, None])
        to = np.clip(voltage - 0.5 * rate * (before + guess), -c.level, c.level)
        row.put(k, k * step, step, voltage, (to - voltage) / step, z)
        z = plain + lean * (to - voltage)[:, None]
        voltage, before = to, c.current(z)
    return row, z, voltage


def _swings(c: Cases, z: Complex) -> Array:
    """Time of the whole swing at the turn-off current [s]; inf where the current decides it."""
    current = c.current(z)
    flat = np.zeros_like(c.level)
    with np.errstate(divide="ignore"):
        swing = np.where(current > 0.0, c.charge / np.maximum(current, 1e-300), np.inf)
    short = np.where(swing < c.dead_time, swing, 0.0)
    slope = np.where(short > 0.0, -2.0 * c.level / np.maximum(short, 1e-30), 0.0)
    half_way = c.step(z, short, c.level, slope)
    after = c.step(half_way, c.dead_time - short, -c.level, flat)
    lags = (c.current(half_way) > 0.0) & (c.current(after) >= 0.0)
    leads = (current <= 0.0) & (c.current(c.step(z, c.dead_time, c.level, flat)) <= 0.0)
    return np.where((swing < c.dead_time) & lags, swing, np.where(leads, -1.0, np.inf))


def periodic(c: Cases, wait: Wait, start: Array | None = None) -> tuple[Array, Array, Pieces]:
    """Folded states y = -end(y) at the turn-off, relative residue of each case [1], pieces.

    First the linear network's own (I + exp(A T/2)) as Jacobian, exact while the edges stay as
    they are; where edge and current chase each other, Newton with a numerical one and steps that
    are halved until they help.
    """
    count, size = c.scale.shape
    y = np.zeros((count, size)) if start is None else start.copy()
    grow = np.einsum("bij,bj,bjk->bik", c.vectors, np.exp(c.rates * c.duration[:, None]),
                     c.inverse, optimize=True).real  # fmt: skip
    jacobian = np.eye(size) + grow
    error = _gap(c, y, wait)
    best, least = y, _relative(c, error, y)
    for _ in range(6):
        y = y - np.linalg.solve(jacobian, error[:, :, None])[:, :, 0]
        error = _gap(c, y, wait)
        now = _relative(c, error, y)
        best = np.where((now < least)[:, None], y, best)
        least = np.minimum(now, least)
        if np.all(least <= PERIODIC):
            break
    open_ = np.flatnonzero(least > PERIODIC)
    if open_.size:
        best, least = best.copy(), least.copy()
        best[open_], least[open_] = _newton(c.chosen(open_), wait, best[open_])
    return best, least, half_periods(c, _modal(c, best), wait)


def _gap(c: Cases, y: Array, wait: Wait) -> Array:
    end = half_periods(c, _modal(c, y), wait).end
    return np.asarray(y + np.einsum("bij,bj->bi", c.vectors, end).real)


def _modal(c: Cases, y: Array) -> Complex:
    return np.asarray(np.einsum("bij,bj->bi", c.inverse, y))


def _relative(c: Cases, error: Array, y: Array) -> Array:
    size = np.linalg.norm(y / c.scale, axis=1)
    return np.asarray(np.linalg.norm(error / c.scale, axis=1) / np.maximum(size, 1e-300))


def _newton(c: Cases, wait: Wait, y: Array) -> tuple[Array, Array]:
    """Newton with a numerical Jacobian and halved steps, on the cases that are left."""
    error = _gap(c, y, wait)
    least = _relative(c, error, y)
    share = np.ones(len(y))
    for _ in range(ITERATIONS):
        if np.all((least <= PERIODIC) | (share < STUCK)):
            break
        step = np.linalg.solve(_jacobian(c, wait, y, error), error[:, :, None])[:, :, 0]
        tried = y - share[:, None] * step
        after = _gap(c, tried, wait)
        now = _relative(c, after, tried)
        better = now < least
        y = np.where(better[:, None], tried, y)
        error = np.where(better[:, None], after, error)
        least = np.where(better, now, least)
        share = np.where(better, np.minimum(2.0 * share, 1.0), 0.5 * share)
    return y, least


def _jacobian(c: Cases, wait: Wait, y: Array, error: Array) -> Array:
    size = y.shape[1]
    nudge = NUDGE * np.linalg.norm(y / c.scale, axis=1)[:, None] * c.scale
    columns = []
    for k in range(size):
        moved = y.copy()
        moved[:, k] += nudge[:, k]
        columns.append((_gap(c, moved, wait) - error) / nudge[:, k : k + 1])
    return np.stack(columns, axis=2)
