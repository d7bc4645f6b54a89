"""One way for the heat, from the junctions to the air, for a stay of any length.

Junction to case is the data sheet's curve. Behind it stand case and pad, and the heatsink that all
switches share, each with a heat capacity. The curve is that of a case which holds still: what the
case's own warming adds comes from a ladder of chip, case and heatsink, the chip one node with the
curve's resistance and the least heat capacity that the curve allows, so that the rise is never
less than with the chip's many layers.

Of alike branches on one heatsink the sum sees the heatsink n times as large, and what one has more
than the mean sees none: two ladders without branches tell all.

A capacity that nobody gave is taken as nothing and as endless, and the hotter course counts at
each moment: nothing is hotter after a loss that rose, endless after one that fell.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.machine import Machine
from simkit.parts.inputs import not_negative, positive

Array = NDArray[np.float64]

NO_AGE = 1e-9
"""Age of a step at its own time [s]: it counts there already, by next to nothing."""
FINE = 400
"""Points of the data sheet's curve over which it is integrated [1]."""
BLOCK = 40_000
"""Ages worked out at a time [1]: enough to be quick, little enough for any length of course."""


@dataclass(frozen=True)
class HeatPath:
    """From the junctions of alike switches on one heatsink to the air.

    Fields
    ------
    curve : transient impedance junction to case, points of time [s] and impedance [K/W]
    junction_case : the same after a long time [K/W]
    pad : case to heatsink, each switch [K/W]
    heatsink : heatsink to air [K/W]
    ambient : the air [degC]
    switches : on the heatsink [1]
    case_capacity : heat capacity of one case; None where nobody said, inf holds still [J/K]
    sink_capacity : of the heatsink, likewise [J/K]
    """

    curve: tuple[tuple[float, float], ...]
    junction_case: float
    pad: float
    heatsink: float
    ambient: float
    switches: int
    case_capacity: float | None
    sink_capacity: float | None

    def __post_init__(self) -> None:
        positive(junction_case=self.junction_case, switches=self.switches)
        not_negative(pad=self.pad, heatsink=self.heatsink)

    @property
    def unknown(self) -> tuple[str, ...]:
        """Keys of the heat capacities that nobody gave."""
        pairs = (("case", self.case_capacity), ("heatsink", self.sink_capacity))
        return tuple(f"cooling.{name}_heat_capacity" for name, given in pairs if given is None)


@dataclass(frozen=True)
class HeatCourse:
    """Temperatures over time.

    Fields
    ------
    junctions : a row for each switch [degC]
    heatsink : [degC]
    """

    junctions: Array
    heatsink: Array


def heat_path(machine: Machine, sink_capacity: float | None = None) -> HeatPath:
    """The way of a machine's heat; `sink_capacity` where a scenario says it [J/K].

    Source: the machine file. Range: switches alike on one heatsink.
    """
    ratings, cooling = machine.switch.ratings, machine.cooling
    return HeatPath(
        curve=tuple((p.time, p.impedance) for p in ratings.transient),
        junction_case=ratings.thermal_resistance,
        pad=cooling.pad_resistance,
        heatsink=cooling.heatsink_resistance,
        ambient=cooling.ambient,
        switches=machine.bridge.switches,
        case_capacity=cooling.case_heat_capacity,
        sink_capacity=sink_capacity or cooling.heatsink_heat_capacity,
    )


def settled_junctions(path: HeatPath, losses: Array) -> Array:
    """Junction of each switch after a long time at constant `losses` [W]: [degC].

    T_a + R_sa sum(P) + (R_jc + R_pad) P. Source: thermal resistances in series. Range: constant
    resistances.
    """
    shared = path.ambient + path.heatsink * losses.sum()
    return np.asarray(shared + (path.junction_case + path.pad) * losses)


def curve_impedance(path: HeatPath, time: Array) -> Array:
    """Junction-to-case rise per watt after a step, the data sheet's curve [K/W].

    Straight on log-log axes between the points, with the square root of time below the first
    (semi-infinite slab), and from the last within a decade of time up to the steady resistance;
    `time` [s]. Source: the data sheet; the slab, H. S. Carslaw, J. C. Jaeger (1959). Range: any.
    """
    times, values = np.array(path.curve).T
    safe = np.maximum(time, 1e-12)
    inside = np.exp(np.interp(np.log(safe), np.log(times), np.log(values)))
    below = values[0] * np.sqrt(safe / times[0])
    share = np.clip(np.log10(safe / times[-1]), 0.0, 1.0)
    beyond = values[-1] + (path.junction_case - values[-1]) * share
    out = np.where(safe < times[0], below, np.where(safe > times[-1], beyond, inside))
    return np.asarray(np.where(time <= 0.0, 0.0, out))


def heat_course(
    path: HeatPath,
    before: Array,
    times: Array,
    losses: Array,
    outward: tuple[float, float] | None = None,
) -> HeatCourse:
    """Junctions and heatsink at each time: the one function for peak, held and later.

    It begins settled at the losses `before`, one for each switch [W]; zeros begin at the air.
    `losses` [W] has a row for each switch and a column for each of `times` [s], which rise; each
    acts from its time on. `outward`: a time [s] and the heatsink's resistance to air from then on
    [K/W]. Source: superposition of steps (IEC 60747-9, recalled from memory) and heat balances of
    the nodes. Range: constant resistances and capacities, branches alike.
    """
    behind = [_behind(own, before, times, losses, outward) for own in _extremes(path)]
    junctions = np.max([own.junctions for own in behind], axis=0)
    sink = np.max([own.heatsink for own in behind], axis=0)
    return HeatCourse(junctions + _over_case(path, before, times, losses), sink)


def _extremes(path: HeatPath) -> Iterator[HeatPath]:
    """The path with every capacity known: what nobody gave as nothing, and as endless."""
    cases = (0.0, inf) if path.case_capacity is None else (path.case_capacity,)
    sinks = (0.0, inf) if path.sink_capacity is None else (path.sink_capacity,)
    for case in cases:
        for sink in sinks:
            yield replace(path, case_capacity=case, sink_capacity=sink)


def _over_case(path: HeatPath, before: Array, times: Array, losses: Array) -> Array:
    """Rise of each junction over a case that holds still, settled part included [K]."""
    steps = np.diff(losses, axis=1, prepend=before[:, None])
    acting = np.flatnonzero(np.any(steps != 0.0, axis=0))
    rise = np.repeat(path.junction_case * before[:, None], len(times), axis=1)
    at_once = max(BLOCK // max(len(times), 1), 1)
    for first in range(0, len(acting), at_once):
        chosen = acting[first : first + at_once]
        ages = times[None, chosen[0] :] - times[chosen, None]
        rise[:, chosen[0] :] += steps[:, chosen] @ curve_impedance(path, ages + NO_AGE)
    return np.asarray(rise)


def _behind(
    path: HeatPath, before: Array, times: Array, losses: Array, outward: tuple[float, float] | None
) -> HeatCourse:
    """What the cases' and the heatsink's warming adds to each junction, the air included."""
    until = int(np.searchsorted(times, outward[0])) if outward else len(times) - 1
    later = path if outward is None else replace(path, heatsink=outward[1])
    ladders = [ladder(path, True), ladder(later, True)]
    mean, share = losses.mean(axis=0), before.mean()
    common, sink = _march(path, ladders, until, times, share[None], mean[None])
    own = [ladder(path, False)] * 2
    rest, _ = _march(path, own, until, times, before - share, losses - mean)
    ground = path.ambient + _ground(path, before)
    return HeatCourse(ground[:, None] + common + rest, float(ground.mean()) + sink[0])


def _ground(path: HeatPath, before: Array) -> Array:
    """What holds still because its capacity is endless, over the air, for each switch [K]."""
    shared = path.heatsink * before.sum()
    if path.case_capacity == inf:
        return np.asarray(shared + path.pad * before)
    return np.full(len(before), shared if path.sink_capacity == inf else 0.0)


@dataclass(frozen=True)
class Ladder:
    """Heat capacities in a row, a resistance from each to the next, the last to the ground.

    Fields
    ------
    capacities : [J/K]
    resistances : [K/W]
    sink_share : temperature of the heatsink over that of the last node [1]
    """

    capacities: Array
    resistances: Array
    sink_share: float

    def modes(self) -> tuple[Array, Array]:
        """Rates [1/s] and orthonormal shapes of C^1/2 T."""
        between = 1.0 / self.resistances
        whole = np.diag(between + np.concatenate(([0.0], between[:-1])))
        whole -= np.diag(between[:-1], 1) + np.diag(between[:-1], -1)
        root = 1.0 / np.sqrt(self.capacities)
        rates, shapes = np.linalg.eigh(root[:, None] * whole * root[None, :])
        return np.asarray(rates), np.asarray(shapes)

    def settled(self) -> Array:
        """Rise of each node per watt into the first [K/W]."""
        return np.asarray(np.cumsum(self.resistances[::-1])[::-1])


@lru_cache(maxsize=64)
def ladder(path: HeatPath, shared: bool) -> Ladder:
    """The ladder from one junction: to the air with its share of the heatsink, or without it.

    Capacities [J/K] all known; one of nothing has no node, an endless one ends the ladder.
    Source: heat balances of the nodes. Range: constant resistances [K/W].
    """
    capacities, resistances = [chip_capacity(path)], [path.junction_case]
    sink = path.switches * path.heatsink if shared else 0.0
    behind = [(path.case_capacity, path.pad)]
    if shared:
        behind.append(((path.sink_capacity or 0.0) / path.switches, sink))
    for capacity, resistance in behind:
        if capacity == inf:
            sink = 0.0
            break
        if capacity and resistance > 0.0:
            capacities.append(capacity)
            resistances.append(resistance)
        else:
            resistances[-1] += resistance
    return Ladder(np.array(capacities), np.array(resistances), sink / resistances[-1])


@lru_cache(maxsize=64)
def chip_capacity(path: HeatPath) -> float:
    """The least heat capacity between junction and case that the curve allows [J/K].

    integral of (R - Z) dt over R^2. In a ladder that integral is the sum of C_i rho_i^2, rho_i the
    resistance from node i to the case, none above R; exact for one stage. Source: moments of an
    RC ladder, own derivation.
    """
    grid = np.concatenate(([0.0], np.geomspace(1e-3 * path.curve[0][0], 10.0 * path.curve[-1][0],
                                               FINE)))  # fmt: skip
    missing = path.junction_case - curve_impedance(path, grid)
    return float(np.trapezoid(missing, grid)) / path.junction_case**2


def _stepped(rates: Array, times: Array, aims: Array, start: Array) -> Array:
    """States that go for their aims at their rates [1/s]: a state, part and time each.

    `aims` likewise, each from its time on; `start`: a state and part.
    """
    out = np.empty_like(aims)
    left = np.exp(-rates[:, None] * np.diff(times)[None, :])
    out[:, :, 0] = state = start
    for k in range(1, len(times)):
        aim = aims[:, :, k - 1]
        out[:, :, k] = state = aim + left[:, k - 1, None] * (state - aim)
    return out


def _march(path: HeatPath, ladders: list[Ladder], until: int, times: Array, steady: Array,
           losses: Array) -> tuple[Array, Array]:  # fmt: skip
    """What each part's chip has over one on a case that holds still, and its heatsink, [K].

    `losses` [W] has a row for each part, `steady` the settled loss it begins at. The first ladder
    up to the time of index `until`, the second from there.
    """
    nodes = np.outer(ladders[0].settled(), steady)
    over, sink = np.empty_like(losses), np.empty_like(losses)
    for own, span in zip(ladders, (slice(0, until + 1), slice(until, None)), strict=True):
        if not len(times[span]):
            continue
        rates, shapes = own.modes()
        root = np.sqrt(own.capacities)
        into = shapes.T * root  # to the modes; its inverse is shapes / root
        aims = (into @ own.settled())[:, None, None] * losses[None, :, span]
        states = _stepped(rates, times[span], aims, into @ nodes)
        course = np.einsum("nm,mpk->npk", shapes / root[:, None], states)
        nodes = course[:, :, -1]
        over[:, span], sink[:, span] = course[0], course[-1] * own.sink_share
    return over - _alone(path, times, steady, losses), sink


def _alone(path: HeatPath, times: Array, steady: Array, losses: Array) -> Array:
    """Rise of the ladder's chips over a case that holds still [K]."""
    rate = 1.0 / (path.junction_case * chip_capacity(path))
    aims = path.junction_case * losses[None, :, :]
    start = path.junction_case * steady[None, :]
    return np.asarray(_stepped(np.array([rate]), times, aims, start)[0])
