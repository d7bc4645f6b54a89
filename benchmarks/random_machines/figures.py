"""Every judged figure from a whole run's vectors: plain numpy, nothing of `simkit.measure`.

Written from the definitions in `simkit/judge/definitions.py` alone. Peaks count from time zero to
the last sample, means and rms over every whole drive cycle in it (from switch 1's off command to
the next but one boundary), transitions over every boundary from time zero on whose window has
begun. Temperatures follow from the losses per cycle (`junctions.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from benchmarks.random_machines.plain_run import Array

FORWARD = 0.3
"""Least forward current of a diode that can be forced off [A]."""
LEVELS = 161
"""Between 10 and 90 % of the link, for the steepest climb over a fifth of it [1]."""


@dataclass(frozen=True)
class Facts:
    """What the figures need to know of the circuit; SI units."""

    full: bool
    loop: bool
    saturates: bool
    blocked: bool
    fused: bool
    ratio: float
    primary_resistance: float
    secondary_resistance: float
    magnetising: float
    turns_area: float
    """Primary turns times core area [m^2]."""
    can_esr: float
    source_resistance: float
    diode_resistance: float
    threshold: float
    """Of a gate [V]."""
    boundaries: Array
    """Half-period boundaries from time zero on [s]."""
    upper_first: bool
    """Whether switch 1 goes off at the first of them."""
    dead: Array
    """Dead time at each [s]."""


def node(raw: Mapping[str, Array], name: str) -> Array:
    """Against the negative rail [V]."""
    return raw[f"v({name})"] if name != "0" else np.zeros(len(raw["time"]))


def figures(raw: Mapping[str, Array], begin: float, facts: Facts) -> dict[str, float]:
    """Value of each figure but the temperatures; the engine's clock starts at `begin` [s]."""
    raw = _from_zero(raw, begin)
    time = raw["time"]
    found = _switch_peaks(raw, facts)
    cycles = _cycles(facts, time)
    flux = linkage(raw, facts) / facts.turns_area
    bank = node(raw, "w") - (node(raw, "s2") if facts.loop else 0.0)
    can = (node(raw, "t1") - (node(raw, "w") if facts.loop else 0.0)) / facts.can_esr
    found["can_voltage_rms"] = float(np.sqrt(cycle_means(time, bank**2, cycles).max()))
    found["can_current_rms"] = float(np.sqrt(cycle_means(time, can**2, cycles).max()))
    found["flux_peak"] = float(np.abs(flux).max())
    behind = node(raw, "slk" if facts.fused else "link")
    source = (node(raw, "sup") - behind) / facts.source_resistance
    found["supply_current"] = float(cycle_means(time, source, cycles).max())
    return found | _transitions(raw, facts)


def _from_zero(raw: Mapping[str, Array], begin: float) -> dict[str, Array]:
    time = raw["time"] + begin
    first = int(np.searchsorted(time, 0.0))
    return {n: v[first:] for n, v in raw.items() if n != "time"} | {"time": time[first:]}


PARTS = 24
"""Parts of a cycle in which losses are looked at [1]."""


def numbers(facts: Facts) -> range:
    """Of the switches."""
    return range(1, 5 if facts.full else 3)


def _drain_current(raw: Mapping[str, Array], k: int) -> Array:
    """Read across a milliohm in the drain lead [A]."""
    rail = {1: "p", 2: "a", 3: "p", 4: "b"}[k]
    return (node(raw, rail) - node(raw, f"d{k}")) / 1e-3


def _switch_peaks(raw: Mapping[str, Array], facts: Facts) -> dict[str, float]:
    drain, channel, rms, gate = [], [], [], []
    cycles = _cycles(facts, raw["time"])
    for k in numbers(facts):
        chip = node(raw, f"xq{k}.si")
        drain.append((node(raw, f"xq{k}.di") - chip).max())
        gate.append(np.abs(node(raw, f"xq{k}.gi") - chip).max())
        channel.append(_through_the_chip(raw, k).max())
        square = cycle_means(raw["time"], _drain_current(raw, k) ** 2, cycles)
        rms.append(np.sqrt(square.max()))
    return {
        "drain_voltage_peak": float(max(drain)),
        "channel_current_peak": float(max(channel)),
        "drain_current_rms": float(max(rms)),
        "gate_voltage_peak": float(max(gate)),
    }


def _through_the_chip(raw: Mapping[str, Array], k: int) -> Array:
    """Channel current; of an IGBT with its bipolar current, read across a milliohm [A]."""
    found = raw[f"@m.xq{k}.m1[id]"]
    if f"v(xq{k}.dj)" not in raw:
        return found
    return found + (raw[f"v(xq{k}.dj)"] - raw[f"v(xq{k}.db)"]) / 1e-3


def _cycles(facts: Facts, time: Array) -> Array:
    """Starts of whole cycles, the end of the last one at the end [s]."""
    marks = facts.boundaries[0 if facts.upper_first else 1 :: 2]
    return marks[(marks >= time[0]) & (marks <= time[-1])]


def cycle_means(time: Array, values: Array, marks: Array) -> Array:
    """Mean between each two neighbouring marks, the values straight between samples."""
    area = np.concatenate(([0.0], np.cumsum(np.diff(time) * (values[:-1] + values[1:]) / 2.0)))
    at = np.searchsorted(time, marks, side="right") - 1
    at = np.clip(at, 0, len(time) - 2)
    part = marks - time[at]
    slope = (values[at + 1] - values[at]) / (time[at + 1] - time[at])
    upto = area[at] + part * (values[at] + 0.5 * part * slope)
    return np.diff(upto) / np.diff(marks)


def linkage(raw: Mapping[str, Array], facts: Facts) -> Array:
    """Of the primary [Wb]; without the core's path from the magnetising current."""
    if facts.saturates:
        return node(raw, "lam") * 1e-6
    before = node(raw, "pa" if facts.blocked else "a")
    primary = (before - node(raw, "pb")) / facts.primary_resistance
    secondary = (node(raw, "s1") - node(raw, "s2")) / facts.secondary_resistance
    return (primary - secondary / facts.ratio) * facts.magnetising


@dataclass(frozen=True)
class Watts:
    """Losses of each switch, a row each [W].

    Fields: marks, of the whole cycles [s]; means, in each; parts, in each PARTS of each, a third
    axis; rest_marks and rest: after the last whole cycle, parts of the same length.
    """

    marks: Array
    means: Array
    parts: Array
    rest_marks: Array
    rest: Array


def losses(raw: Mapping[str, Array], begin: float, facts: Facts) -> Watts:
    """What flows into each switch's two power leads, as means over cycles and parts of them."""
    raw = _from_zero(raw, begin)
    time, marks = raw["time"], _cycles(facts, raw["time"])
    inner = np.linspace(marks[:-1], marks[1:], PARTS, endpoint=False).T.ravel()
    count = int(np.ceil(PARTS * (time[-1] - marks[-1]) / (marks[-1] - marks[-2]) - 1e-6))
    rest_marks = np.linspace(marks[-1], time[-1], max(count, 0) + 1)
    means, parts, rest = [], [], []
    for k in numbers(facts):
        source = {1: "a", 2: "0", 3: "b", 4: "0"}[k]
        power = (node(raw, f"d{k}") - node(raw, source)) * _drain_current(raw, k)
        means.append(cycle_means(time, power, marks))
        fine = cycle_means(time, power, np.append(inner, marks[-1]))
        parts.append(fine.reshape(-1, PARTS))
        rest.append(cycle_means(time, power, rest_marks))
    return Watts(marks, np.array(means), np.array(parts), rest_marks, np.array(rest))


def outgoing(facts: Facts, k: int) -> tuple[int, ...]:
    """Switches told to go off at boundary k."""
    upper = facts.upper_first == (k % 2 == 0)
    first = 1 if upper else 2
    return (first, 4 if upper else 3) if facts.full else (first,)


def _transitions(raw: Mapping[str, Array], facts: Facts) -> dict[str, float]:
    # Recoveries until the next command: what slow or unpowered gates do comes late.
    time, end = raw["time"], raw["time"][-1]
    lift, slope, climb = [-np.inf], [0.0], [0.0]
    later = np.append(facts.boundaries[1:] - 0.5 * facts.dead[1:], np.inf)
    for k, (boundary, dead) in enumerate(zip(facts.boundaries, facts.dead, strict=True)):
        told = boundary + 0.5 * dead
        if boundary < time[0] or told >= end:
            continue
        a, b, c = np.searchsorted(time, (boundary - 0.5 * dead, told, max(later[k], told)))
        for q in outgoing(facts, k):
            chip = raw[f"v(xq{q}.si)"]
            d = _watched(raw, facts, PARTNER[q], slice(b, c))
            if d > b:
                lift.append(float((raw[f"v(xq{q}.gi)"][b:d] - chip[b:d]).max()))
            diode = (chip[a:c] - raw[f"v(xq{q}.da)"][a:c]) / facts.diode_resistance
            volts = raw[f"v(xq{q}.di)"][a:c] - chip[a:c]
            if c - a > 3:
                link = float(raw["v(p)"][a])
                forced = recovery(time[a:c], diode, volts, link, dead)
                slope.append(forced[0])
                climb.append(forced[1])
    return {"gate_lift": max(lift), "recovery_di_dt": max(slope), "recovery_dv_dt": max(climb)}


PARTNER = {1: 2, 2: 1, 3: 4, 4: 3}
"""The other switch of each one's leg."""
WINDOW = 1e-6
"""How long after its partner's command a gate is looked at for a lift, at least [s]."""


def _watched(raw: Mapping[str, Array], facts: Facts, partner: int, until: slice) -> int:
    """Sample up to which a lift counts, of those from the partner's command to the next one: a
    microsecond, or three times as long as its gate takes to the threshold; all where it never
    gets there."""
    time = raw["time"][until]
    gate = (raw[f"v(xq{partner}.gi)"] - raw[f"v(xq{partner}.si)"])[until]
    on = np.flatnonzero(gate > facts.threshold)
    if len(on) == 0:
        return int(until.stop)
    late = time[0] + max(WINDOW, 3.0 * (float(time[on[0]]) - time[0]))
    return int(until.start + np.searchsorted(time, late))


def recovery(
    time: Array, current: Array, volts: Array, link: float, dead: float
) -> tuple[float, float]:
    """Fall of the diode current [A/s] and climb of its voltage [V/s]; zeros when not forced off.

    Forced off: the last passage from forward to reverse before the voltage last climbs through half
    the link, from at least FORWARD within a dead time before.
    """
    half = 0.5 * link
    ups = [i for i in range(1, len(time)) if volts[i - 1] <= half < volts[i]]
    if not ups:
        return 0.0, 0.0
    zeros = [i for i in range(1, ups[-1] + 1) if current[i - 1] > 0.0 >= current[i]]
    if not zeros:
        return 0.0, 0.0
    i = zeros[-1]
    zero = _passes(time, current, i, 0.0)
    forward = float(current[(time >= zero - dead) & (time <= zero)].max(initial=0.0))
    if forward < FORWARD or current[i:].min() >= 0.0:
        return 0.0, 0.0
    j = max((n for n in range(1, i + 1) if current[n - 1] >= 0.5 * forward > current[n]), default=0)
    if j == 0:
        return 0.0, 0.0
    fall = 0.5 * forward / max(zero - _passes(time, current, j, 0.5 * forward), 1e-15)
    return fall, steepest(time[i:], volts[i:], link)


def _passes(time: Array, values: Array, i: int, level: float) -> float:
    """When values pass a level between samples i-1 and i [s]."""
    share = (level - values[i - 1]) / (values[i] - values[i - 1])
    return float(time[i - 1] + share * (time[i] - time[i - 1]))


def steepest(time: Array, volts: Array, link: float) -> float:
    """Largest mean slope over a fifth of the link between a tenth and nine tenths of it [V/s].

    First passages only: those of the running maximum.
    """
    top = np.maximum.accumulate(volts)
    rising = np.concatenate(([True], np.diff(top) > 0.0))
    # The sample before each rise carries its start: a plateau ends where it began to climb.
    keep = rising | np.concatenate((rising[1:], [True]))
    levels = np.linspace(0.1, 0.9, LEVELS) * link
    levels = levels[(levels > top[0]) & (levels < top[-1])]
    if len(levels) == 0:
        return 0.0
    passed = _first_passages(time[keep], top[keep], levels)
    spans = np.interp(levels + 0.2 * link, levels, passed, right=np.inf) - passed
    spans = spans[np.isfinite(spans) & (spans > 0.0)]
    return float(0.2 * link / spans.min()) if len(spans) else 0.0


def _first_passages(time: Array, top: Array, levels: Array) -> Array:
    at = np.searchsorted(top, levels, side="left")
    share = (levels - top[at - 1]) / np.maximum(top[at] - top[at - 1], 1e-15)
    return time[at - 1] + share * (time[at] - time[at - 1])
