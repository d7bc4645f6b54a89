"""Commutation: how each bridge node gets from one rail to the other.

At each half-period boundary one switch of a leg is commanded off (half a dead time before) and
the other on (half a dead time after).

* Turn-off current: current leaving the bridge node in the direction the outgoing switch feeds it,
  at its off command. Positive: the current lags and swings the node by itself (inductive).
  Negative: the outgoing switch's body diode carries it and will be forced off (capacitive).
* Turn-on current: the same when the incoming switch's gate crosses threshold. Negative after a
  positive turn-off current: the current reversed within the dead time and the node swung back.
* Mode: capacitive when the current leads (turn-off current negative), resonant when it reverses
  within the dead time, inductive when it lags throughout.
* Needed: from the off command until the node has covered 90 % of its way.
* Available: from the off command until the incoming switch's gate, at the chip, crosses threshold.
* Zero voltage: the incoming switch has less than a tenth of the link across it at that crossing.
* Shoot-through charge: integral of the smaller of the two channel currents of the leg, where both
  are positive.

Range: dead time longer than the driver's edge; one crossing of threshold per command.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from simkit.measure.waveforms import Array, SwitchWaves, Waves, integral, value_at

Mode = Literal["inductive", "resonant", "capacitive"]

AFTER = 1.0e-6
"""How long after the incoming command a commutation is watched at least [s]."""
DELAYS = 3.0
"""The same in turn-on delays of the incoming gate [1]: what a slow gate does comes later."""
ZERO_VOLTAGE_SHARE = 0.1
FED_BY = {1: 1.0, 2: -1.0, 3: -1.0, 4: 1.0}
"""Sign of the primary current that a switch feeds."""


@dataclass(frozen=True)
class Edge:
    """One leg's change of hands at one half-period boundary."""

    time: float
    """Boundary [s]."""
    outgoing: int
    """Number of the switch that goes off."""
    incoming: int
    """Number of the switch that goes on."""
    dead_time: float | None = field(default=None, kw_only=True)
    """As it was at this boundary [s]; None where it is the machine's."""
    watched: float = field(default=AFTER, kw_only=True)
    """How long after the incoming command [s]."""
    next_command: float = field(default=AFTER, kw_only=True)
    """When the leg is told to change hands again, after the incoming command [s]."""

    def dead(self, waves: Waves) -> float:
        """Dead time at this boundary [s]."""
        return waves.machine.drive.dead_time if self.dead_time is None else self.dead_time

    def end(self, waves: Waves) -> float:
        """When it is watched no longer [s]."""
        return self.time + 0.5 * self.dead(waves) + self.watched


@dataclass(frozen=True)
class Transition(Edge):
    """One leg's commutation at one half-period boundary."""

    turn_off_current: float
    """[A]"""
    turn_on_current: float
    """[A]"""
    mode: Mode
    needed: float
    """[s]; inf when the node does not get there in the watched time."""
    available: float
    """[s]"""
    incoming_voltage: float
    """Drain-source voltage of the incoming switch when its gate crosses threshold [V]."""
    zero_voltage: bool
    shoot_through: float
    """[C]"""


def crossing(time: Array, values: Array, level: float, rising: bool = True) -> float:
    """First time the values cross a level in the given direction; inf when they do not [s]."""
    above = values > level
    hits = np.flatnonzero(above[1:] & ~above[:-1] if rising else ~above[1:] & above[:-1])
    if len(hits) == 0:
        return float("inf")
    k = int(hits[0])
    share = (level - values[k]) / (values[k + 1] - values[k])
    return float(time[k] + share * (time[k + 1] - time[k]))


def legs(waves: Waves) -> tuple[tuple[int, int, str, float], ...]:
    """Upper switch, lower switch, bridge node and sign of the primary current, for each leg."""
    first = ((1, 2, "a", 1.0),)
    return (*first, (3, 4, "b", -1.0)) if len(waves.switches) == 4 else first


def transitions(
    waves: Waves, boundaries: Array, upper_first: bool, dead_times: Array | None = None
) -> tuple[Transition, ...]:
    """All transitions whose watched time lies inside the waveforms.

    `upper_first`: whether switch 1 is on just before the first of `boundaries`; `dead_times`: at
    each of them [s], where they are not the machine's.
    """
    found = []
    for edge in edges(waves, boundaries, upper_first, dead_times):
        dead = edge.dead(waves)
        start, end = edge.time - dead, edge.end(waves)
        if waves.time[0] <= start and end <= waves.time[-1]:
            found.append(_transition(waves.between(start, end), edge))
    return tuple(found)


def edges(
    waves: Waves, boundaries: Array, upper_first: bool, dead_times: Array | None = None
) -> tuple[Edge, ...]:
    """Every leg's change of hands at some boundaries, whether or not it lies in the waveforms."""
    out = []
    half = np.diff(boundaries)
    half = np.append(half, half[-1:] if len(half) else 0.0)  # the last as the one before it
    for k, boundary in enumerate(boundaries.tolist()):
        one_on = upper_first == (k % 2 == 0)
        for upper, lower, node, _ in legs(waves):
            upper_goes = one_on if node == "a" else not one_on
            pair = (upper, lower) if upper_goes else (lower, upper)
            dead = None if dead_times is None else float(dead_times[k])
            edge = Edge(boundary, *pair, dead_time=dead)
            until = float(half[k]) - edge.dead(waves)
            watched = _watched(waves, edge, float(half[k]))
            out.append(replace(edge, watched=watched, next_command=max(until, watched)))
    return tuple(out)


def _watched(waves: Waves, edge: Edge, half: float) -> float:
    """How long after the incoming command an edge is watched [s], in a half-period of its own [s].

    Some of its gate's delays, but not into the next commutation of the leg, where that is known.
    Where a gate does not come up at all, as without its driver's supply, what the tank does to the
    diodes comes whenever it likes: until then.
    """
    dead = edge.dead(waves)
    command = edge.time + 0.5 * dead
    first, last = np.searchsorted(waves.time, (command, edge.time + half - 0.5 * dead))
    part = slice(int(first), int(last))
    gate = waves.switches[edge.incoming - 1].gate_source[part]
    threshold = waves.machine.switch.channel.threshold
    on = crossing(waves.time[part], gate, threshold)
    if len(gate) and gate[0] > threshold:  # it is up already, as one that nothing holds may be
        on = command
    late = DELAYS * (on - command) if np.isfinite(on) else half
    return max(AFTER, min(late, half - dead))


def cut_short(waves: Waves, every: Sequence[Edge], found: Sequence[Transition]) -> tuple[Edge, ...]:
    """Edges whose incoming switch has been told to go on when the waveforms end, of which `found`
    has none: what had come of them by then is seen, how they would have ended is not."""
    known = {(t.time, t.outgoing) for t in found}
    late = max((t.time for t in found), default=waves.time[0])
    return tuple(
        e
        for e in every
        if late <= e.time
        and (e.time, e.outgoing) not in known
        and e.time + 0.5 * e.dead(waves) < waves.time[-1]
    )


def _transition(part: Waves, edge: Edge) -> Transition:
    dead, sign = edge.dead(part), FED_BY[edge.outgoing]
    off = edge.time - 0.5 * dead
    outgoing, incoming = (part.switches[n - 1] for n in (edge.outgoing, edge.incoming))
    on_time = gate_on(part, incoming, edge.time)
    voltage = value_at(part.time, incoming.drain_source, min(on_time, part.time[-1]))
    link = value_at(part.time, part.link_voltage, off)
    turn_off = sign * value_at(part.time, part.primary_current, off)
    turn_on = sign * value_at(part.time, part.primary_current, min(on_time, part.time[-1]))
    return Transition(
        time=edge.time,
        outgoing=edge.outgoing,
        incoming=edge.incoming,
        dead_time=edge.dead_time,
        watched=edge.watched,
        next_command=edge.next_command,
        turn_off_current=turn_off,
        turn_on_current=turn_on,
        mode=mode_of(turn_off, turn_on),
        needed=_arrival(part, outgoing, link) - off,
        available=on_time - off,
        incoming_voltage=voltage,
        zero_voltage=bool(voltage < ZERO_VOLTAGE_SHARE * link),
        shoot_through=_overlap(part, outgoing, incoming),
    )


def gate_on(part: Waves, switch: SwitchWaves, boundary: float) -> float:
    """When a switch's gate, at the chip, crosses threshold upward after a boundary [s]."""
    late = part.time >= boundary
    threshold = part.machine.switch.channel.threshold
    return crossing(part.time[late], switch.gate_source[late], threshold)


def _arrival(part: Waves, outgoing: SwitchWaves, link: float) -> float:
    # The outgoing switch's own voltage: it rises to the link as the node leaves it.
    return crossing(part.time, outgoing.drain_source, 0.9 * link)


def _overlap(part: Waves, one: SwitchWaves, other: SwitchWaves) -> float:
    # Current through both channels at once; the charging of output capacitances is not in it.
    both = np.minimum(one.channel_current, other.channel_current)
    return integral(part.time, np.maximum(both, 0.0))


def mode_of(turn_off_current: float, turn_on_current: float) -> Mode:
    """Mode by the signs of the currents at turn-off and turn-on [A]."""
    if turn_off_current < 0.0:
        return "capacitive"
    return "inductive" if turn_on_current > 0.0 else "resonant"


def most_common(found: Sequence[Transition]) -> Mode:
    """The mode of most of some transitions, of equals the first; "resonant" when there are none."""
    modes = [t.mode for t in found]
    return max(modes, key=modes.count) if modes else "resonant"
