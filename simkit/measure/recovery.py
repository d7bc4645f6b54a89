"""Body-diode recovery when the opposite switch forces a conducting diode off.

Window: from a leg's transition to its next command, the outgoing switch's diode: a gate that is
reversed or has no supply forces it off whenever it likes. A recovery is there when the diode
current passes from forward to reverse in the window and the switch's voltage then climbs.

* di/dt: slope of the diode current from half the forward current before to zero
  (IEC 60747-8: the rate at which the forward current is commutated).
* I_RM: largest reverse current. Q_rr: integral of the reverse current from zero crossing until it
  has fallen back to 25 % of I_RM.
* dv/dt: steepest climb of the drain-source voltage at the chip over a fifth of the link voltage.
* Overshoot: largest drain-source voltage at the chip less the link voltage.

Range: forward current above 0.3 A just before; below that nothing is stored that could recover.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.measure.commutation import Edge
from simkit.measure.waveforms import Array, Waves, integral, value_at

LEAST_FORWARD = 0.3
"""[A]"""
TAIL = 0.25
FIFTH = 40
"""Levels that a fifth of the link voltage is cut into [1]."""
SHORTEST = 1e-7
"""A dead time counts as so long at least, to look at the current before [s]."""


@dataclass(frozen=True)
class Recovery:
    """One forced recovery."""

    time: float
    """Zero crossing of the diode current [s]."""
    switch: int
    forward_current: float
    """Largest forward current in the dead time before [A]."""
    peak_current: float
    """I_RM [A]."""
    charge: float
    """Q_rr [C]."""
    di_dt: float
    """[A/s]"""
    dv_dt: float
    """[V/s]"""
    overshoot: float
    """[V]"""


def recoveries(waves: Waves, found: Sequence[Edge]) -> tuple[Recovery, ...]:
    """Forced recoveries among some transitions."""
    each = (recovery(waves, transition) for transition in found)
    return tuple(r for r in each if r is not None)


def recovery(waves: Waves, transition: Edge) -> Recovery | None:
    """The forced recovery of a transition's outgoing switch, or None when there is none."""
    dead = transition.dead(waves)
    shown = max(dead, SHORTEST)  # of a current that is forced off at once, what it was before
    last = transition.time + 0.5 * dead + transition.next_command
    part = waves.between(transition.time - 0.5 * shown, last)
    switch = part.switches[transition.outgoing - 1]
    current = switch.diode_current
    link = value_at(part.time, part.link_voltage, part.time[0])
    zero = last_zero_before_climb(part.time, current, switch.drain_source, link)
    if zero is None:
        return None
    before = (part.time >= zero - shown) & (part.time <= zero)
    forward = float(current[before].max())
    after = part.time >= zero
    peak = float(-current[after].min())
    if forward < LEAST_FORWARD or peak <= 0.0:
        return None
    return Recovery(
        time=zero,
        switch=transition.outgoing,
        forward_current=forward,
        peak_current=peak,
        charge=reverse_charge(part.time[after], current[after], peak),
        di_dt=_fall(part.time, current, forward, zero),
        dv_dt=steepest_climb(part.time[after], switch.drain_source[after], link),
        overshoot=float(switch.drain_source.max()) - link,
    )


def last_zero_before_climb(
    time: Array, current: Array, voltage: Array, link: float
) -> float | None:
    """Last change of the diode current to reverse before the voltage passes half the link [s]."""
    above = voltage > 0.5 * link
    rises = np.flatnonzero(above[1:] & ~above[:-1])
    if len(rises) == 0:
        return None
    # The last climb: the node may have swung over, back when the current reversed, and over again.
    early = time <= time[rises[-1] + 1]
    falls = np.flatnonzero((current[1:] <= 0.0) & (current[:-1] > 0.0) & early[1:])
    if len(falls) == 0:
        return None
    k = int(falls[-1])
    share = current[k] / (current[k] - current[k + 1])
    return float(time[k] + share * (time[k + 1] - time[k]))


def _fall(time: Array, current: Array, forward: float, zero: float) -> float:
    """Slope from half the forward current, straight between two samples, to zero [A/s]."""
    k = int(np.flatnonzero(current[time <= zero] >= 0.5 * forward)[-1])
    share = (current[k] - 0.5 * forward) / (current[k] - current[k + 1])
    half = float(time[k] + share * (time[k + 1] - time[k]))
    return 0.5 * forward / (zero - half) if zero > half else float("nan")


def reverse_charge(time: Array, current: Array, peak: float) -> float:
    """Integral of the reverse current from the axis' start to 25 % of its peak after it [C]."""
    at_peak = int(np.argmin(current))
    back = np.flatnonzero(-current[at_peak:] <= TAIL * peak)
    end = at_peak + int(back[0]) + 1 if len(back) else len(current)
    return integral(time[:end], np.maximum(-current[:end], 0.0))


def steepest_climb(time: Array, voltage: Array, link: float) -> float:
    """Largest mean slope over a fifth of the link voltage, between 10 and 90 % of it [V/s].

    First passages only. With a span begun at every twentieth of the link a climb whose steepest
    part lies between two of them was told 1.5 % too slow; a two-hundredth is far below the steps'.
    """
    levels = np.linspace(0.1, 0.9, 8 * FIFTH // 2 + 1) * link
    passed = first_passages(time, voltage, levels)
    reached = np.isfinite(passed[FIFTH:]) & np.isfinite(passed[:-FIFTH])
    spans = passed[FIFTH:][reached] - passed[:-FIFTH][reached]
    rising = spans[spans > 0.0]
    return float(0.2 * link / rising.min()) if len(rising) else float("nan")


def first_passages(time: Array, values: Array, levels: Array) -> Array:
    """When values first rise through each of some levels, straight between samples; inf where they
    never do, or begin above it [s]."""
    highest = np.maximum.accumulate(values)
    after = np.searchsorted(highest, levels, side="right")
    there = (after > 0) & (after < len(values))
    k = np.clip(after, 1, len(values) - 1)
    share = (levels - values[k - 1]) / np.where(there, values[k] - values[k - 1], 1.0)
    return np.where(there, time[k - 1] + share * (time[k] - time[k - 1]), np.inf)
