"""A slow event by the fast model: cycles at chosen times, so that its length costs nothing.

Where load, link and drive change little within the tank's memory, the folded state y at a turn-off
follows the slow manifold: one half period further it has only drifted, F(y) = y + d, with d half
a period's share of the difference to the chosen cycle before (an implicit step of first order; the
idea is that of envelope-following methods, L. Petzold, SIAM J. Numer. Anal. 18 (1981) 455,
recalled from memory). Each cycle is found by Newton steps whose Jacobian is the linear network's
own, as in `steady.periodic`, from the cycle before.

Left out beside what `envelope` leaves out: what still rings from a sudden change.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from simkit.scout.course import Conditions, as_function, values_at
from simkit.scout.edgeloss import EdgeLosses
from simkit.scout.envelope import Energy, Event, cycles_of
from simkit.scout.halfwave import Edges, Modes, Piece, half_period, modes_of
from simkit.scout.march import March, State, measure
from simkit.scout.plant import Array, Plant, network
from simkit.scout.steady import periodic

PER_EVENT = 160
"""Cycles along an event [1]."""
AROUND = 40
"""The same along all of a scenario, and as many after an event's end [1]."""
NEWTON = 10
"""Newton steps for one cycle at most [1]; as a rule two do, for the cycle before is near."""
ENOUGH = 1e-7
"""Residue that ends them, relative to the state [1]."""
GOOD = 3e-5
"""Residue with which the last is good enough [1]: at a Q of 40, a tenth of a per cent."""
LEAST = 0.1
"""Least a step must show of itself to correct the Jacobian by [1]: a smaller weight would blow it
up."""
MARCHED = 40
"""Half periods marched where they are not [1]: half the memory of a tank of Q 40."""
UNKNOWN = Energy(*[float("nan")] * 6)
"""No balance is drawn up between chosen cycles."""


@dataclass(frozen=True)
class SlowEvent(Event):
    """Chosen cycles of an event; between two of them states run straight at equal phase."""

    times: Array
    """Starts of the cycles [s]."""
    phase: Callable[[float], float]
    """The drive's at a time [periods]."""

    def phase_at(self, time: float) -> float:
        """Phase of the drive at a time [periods]."""
        return self.phase(time)

    def state_at(self, time: float) -> State:
        """Slow states at a time [s]."""
        k = int(np.clip(np.searchsorted(self.times, time) - 1, 0, len(self.times) - 2))
        span = self.times[k + 1] - self.times[k]
        share = float(np.clip((time - self.times[k]) / span, 0.0, 1.0))
        phase = self.phase(time)
        rows = np.array([self._at(k + j, phase % 1.0) for j in (0, 1)])
        links = self._march.links
        row = (1.0 - share) * rows[0] + share * rows[1]
        link = (1.0 - share) * links[2 * k] + share * links[2 * k + 2]
        primary, magnetising, load, coil, tank, blocking = row.tolist()
        return State(time, phase, primary, magnetising, load, coil, tank, blocking, float(link))

    def _at(self, block: int, turn: float) -> Array:
        """Outputs of one cycle at a phase of it [periods]."""
        march, half = self._march, 0.5 * (self.starts[2 * block + 2] - self.starts[2 * block])
        since = (2.0 * half * turn + self.edges.lead) % (2.0 * half)
        number = 2 * block + int(since // half)
        within = since - (since // half) * half
        first, last = np.searchsorted(march.owner, (2 * number, 2 * number + 2))
        pieces = march.pieces[first:last]
        at = max(j for j, p in enumerate(pieces) if p.start <= within)
        quarter, piece = int(march.owner[first + at]), pieces[at]
        modes = march.modes[quarter]
        z = modes.step(piece.z, float(within - piece.start), piece.voltage, piece.slope)
        sign = (-1.0) ** (number + 1)
        return np.asarray(sign * (march.net.c[quarter] @ (modes.vectors @ z).real))


def chosen_times(stop: float, events: list[tuple[float, float]], period: float) -> Array:
    """Where cycles are looked at [s]: along everything, closer along and after each event."""
    parts = [np.linspace(0.0, stop, AROUND)]
    for start, end in events:
        parts.append(np.linspace(start, end, PER_EVENT))
        parts.append(np.linspace(end, min(end + 0.25 * (end - start), stop), AROUND))
    every = np.unique(np.concatenate(parts))
    every = every[(every >= 0.0) & (every < stop - period)]
    kept = [0.0]
    for time in every[1:].tolist():
        if time > kept[-1] + 1.5 * period:
            kept.append(time)
    return np.array(kept)


def slow_march(
    plant: Plant,
    conditions: Conditions,
    edges: Edges,
    losses: EdgeLosses | None,
    times: Array,
    phase: Callable[[float], float],
) -> SlowEvent:
    """The event of `conditions` at chosen cycles; see the heading. Errors as `envelope.march`."""
    courses = (conditions.inductance, conditions.resistance, conditions.supply_voltage)
    inductance, resistance, link = (values_at(c, times) for c in courses)
    halves = 0.5 / values_at(conditions.frequency, times)
    if edges.dead_time >= np.min(halves):
        raise ValueError(f"dead_time = {edges.dead_time!r} s fills the half period")
    net = network(plant, inductance, resistance)
    modes = modes_of(net)
    states, residue = _states(plant, modes, times, halves, link, edges, net.energy[0])
    pieces, owner, folded = _two_halves(plant, modes, states, halves, link, edges)
    quarters: dict[str, Any] = {
        n: np.repeat(getattr(net, n), 4, axis=0) for n in ("a", "c", "energy", "loss", "coil_loss")
    }
    starts = np.concatenate(([0.0], np.cumsum(np.repeat(halves, 2))))
    links = np.repeat(link, 2)
    march = March(
        replace(net, **quarters), [m for m in modes for _ in range(4)], links,
        links * plant.level_share, starts - edges.lead, pieces, owner, folded,
    )  # fmt: skip
    found = cycles_of(march, measure(march, edges), starts, losses)
    fastest = [m.rates[np.argmax(np.abs(m.rates.imag))] for m in modes]
    first = (as_function(c)(0.0) for c in courses)
    own: dict[str, Any] = dict(
        zip(("coil_inductance", "coil_resistance", "supply_voltage"), first, strict=True)
    )
    return SlowEvent(
        plant=replace(plant, **own),
        conditions=conditions,
        edges=edges,
        cycles=replace(found, time=times),
        energy=UNKNOWN,
        start_residue=residue,
        starts=starts,
        memory=np.array([-1.0 / min(r.real, -1e-300) for r in fastest]),
        _march=march,
        times=times,
        phase=phase,
    )


def _states(
    plant: Plant, modes: list[Modes], times: Array, halves: Array, link: Array, edges: Edges,
    energy: Array,
) -> tuple[list[Array], float]:  # fmt: skip
    """Folded states at the turn-off of each cycle, drifting as their neighbours say."""
    scale = 1.0 / np.sqrt(np.diagonal(energy))
    level = link * plant.level_share
    y, residue = periodic(modes[0], float(level[0]), float(halves[0]), edges, scale)
    found, onward = [y], y
    for k in range(1, len(times)):
        half, gap = float(halves[k]), float(times[k] - times[k - 1])
        if k > 1:  # straight on from the two before, a start that saves half of the steps
            onward = y + gap / float(times[k - 1] - times[k - 2]) * (y - found[-2])
        y = _cycle(modes[k], y, onward, half / gap, float(level[k]), half, edges, scale)
        found.append(y)
    return found, residue


def _cycle(
    m: Modes,
    before: Array,
    onward: Array,
    drift: float,
    level: float,
    half: float,
    edges: Edges,
    scale: Array,
) -> Array:
    """Folded state that drifts from the one before, `drift` of the difference in a half period (an
    implicit step); looked for from `onward`; where edges and current chase each other, what they
    tend to from there."""
    grow = ((m.vectors * np.exp(m.rates * half)) @ m.inverse).real
    jacobian = (1.0 + drift) * np.eye(len(before)) + grow

    def gap(state: Array) -> Array:
        _, end = half_period(m, m.inverse @ state, level, half, edges)
        return np.asarray(state + (m.vectors @ end).real + drift * (state - before))

    best, share = np.inf, 1.0
    here, miss = onward, gap(onward)
    inverse = np.linalg.inv(jacobian)
    for _ in range(NEWTON):
        step = -share * (inverse @ miss)
        trial = here + step
        after = gap(trial)
        size = float(np.linalg.norm(after / scale) / np.linalg.norm(before / scale))
        if not size < best:
            share *= 0.4
            continue
        if share == 1.0:
            # What the edges add to the network's own Jacobian shows in what a step left over
            # (C. G. Broyden, Math. Comp. 19 (1965) 577, recalled from memory).
            turned = inverse @ (after - miss)
            weight = float(step @ turned)
            if abs(weight) > LEAST * float(step @ step):
                inverse = inverse + np.outer(step - turned, step @ inverse) / weight
        here, miss, best, share = trial, after, size, min(1.0, 1.6 * share)
        if best < ENOUGH:
            return here
    if best < GOOD:
        return here
    y = before
    for _ in range(MARCHED):
        y = y - gap(y) / (1.0 + drift)
    return y


def _two_halves(
    plant: Plant, modes: list[Modes], states: list[Array], halves: Array, link: Array, edges: Edges
) -> tuple[list[Piece], np.ndarray, Array]:
    """Pieces of each cycle's two half periods, their quarter, and the states between them."""
    pieces: list[Piece] = []
    owner: list[int] = []
    folded: list[Array] = []
    for k, (m, y) in enumerate(zip(modes, states, strict=True)):
        for number in (2 * k, 2 * k + 1):
            folded.append(y)
            level = float(link[k]) * plant.level_share
            new, end = half_period(m, m.inverse @ y, level, float(halves[k]), edges, m)
            pieces += new
            owner += [2 * number] * (len(new) - 1) + [2 * number + 1]
            y = -(m.vectors @ end).real
    return pieces, np.array(owner, dtype=np.intp), np.array([*folded, y])
