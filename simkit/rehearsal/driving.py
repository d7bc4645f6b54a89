"""A scenario's timeline with what the drive's loop makes of the frequency.

The fast model follows the loop; samples of circuit then run with commands laid out at its
frequency, and a run of the whole event holds the loop itself. Where samples show that the circuit's
current crosses zero at another angle than the fast model has it, the loop is followed again.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from simkit.circuit.commands import told_otherwise
from simkit.circuit.oscillator import LoopPath, Oscillator
from simkit.circuit.profile import Followed, Profile
from simkit.circuit.timeline import Timeline, by_hand, timeline
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch
from simkit.scout.tracking import Tracked, tracked

SPREAD = 0.25
"""Share of a half period around a change-over in which the current's zero is looked for [1]."""

Offset = Callable[[float], float]


@dataclass(frozen=True)
class Driven:
    """A timeline and the loop along it, None where there is none."""

    line: Timeline
    loop: Tracked | None = None


def driven(machine: Machine, scenario: Scenario, offset: Offset | None = None) -> Driven:
    """The timeline of a scenario, its frequency as the machine's loop leads it.

    `offset`: see `scout.tracking.tracked`. A frequency event opens the loop: it is turned by hand.
    """
    line = timeline(machine, scenario)
    loop = machine.drive.loop
    if loop is None or loop.holds == "margin" or by_hand(scenario):
        return Driven(line)
    return followed(machine, line, offset)


def followed(machine: Machine, line: Timeline, offset: Offset | None = None) -> Driven:
    """The machine's loop along a timeline, whatever loop went before."""
    loop = machine.drive.loop
    assert loop is not None
    line = replace(line, frequency=Profile(line.frequency.first), as_it_ran=False, _clock=None)
    closes = line.events[0].start if line.events else 0.0
    found = tracked(machine, line, closes, offset or (lambda _time: 0.0))
    path = LoopPath(found.times, np.degrees(found.angle), np.degrees(found.error),
                    float(np.mean(found.blind)), float(np.mean(found.limited)))  # fmt: skip
    inside = Oscillator(loop, found.held.angle, found.held.seconds, found.held.gain, closes,
                        found.size, path)  # fmt: skip
    frequency = Followed(float(found.frequency[0]), times=found.times, values=found.frequency)
    return Driven(replace(line, frequency=frequency, oscillator=inside), found)


def driven_line(machine: Machine, scenario: Scenario) -> Timeline:
    """The timeline alone."""
    return driven(machine, scenario).line


def whole_line(line: Timeline) -> Timeline:
    """The timeline for a deck of the whole event, which holds the loop itself.

    Where something happens to the gates' commands they are laid out in advance.
    """
    gates = any(told_otherwise(f) for f in line.faults)
    return replace(line, inside=line.oscillator is not None and not gates)


def lengthened(
    machine: Machine, line: Timeline, longer: Timeline | None, offset: Offset | None = None
) -> Timeline:
    """A timeline carried on, its loop too."""
    if longer is None:
        return line
    return longer if longer.oscillator is None else followed(machine, longer, offset).line


LOOKS = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Shares of the events' span at which the circuit's angle is looked at first [1]."""


def look_times(line: Timeline) -> list[float]:
    """Where samples show the circuit's angle [s]: the settled part, along the events, the end."""
    period = 1.0 / line.frequency.first
    if not line.events:
        return [max(line.end - 5.0 * period, 0.0)]
    first, last = line.events[0].start, line.events[-1].end
    starts = [first + share * (last - first) for share in LOOKS] + [line.end]
    found: list[float] = []
    for start in starts:
        at = max(min(start, line.end) - 4.5 * period, 0.0)
        if not found or at > found[-1] + 6.0 * period:
            found.append(at)
    return found


def offsets(scout: Scouted, loop: Tracked, samples: Sequence[Stretch]) -> Offset:
    """What the circuit's detector sees beyond the fast model's [rad], straight between samples."""
    times = [s.cycles[-1].start for s in samples]
    beyond = [
        lag(scout.line, s) - scout.turning(s) - float(np.interp(t, loop.times, loop.angle))
        for t, s in zip(times, samples, strict=True)
    ]
    return lambda time: float(np.interp(time, times, beyond))


def lag(line: Timeline, stretch: Stretch) -> float:
    """Angle by which the bridge's current crosses zero after the gates' change-over [rad].

    The mean over the last period that the stretch covers.
    """
    waves = stretch.waves
    boundaries = line.boundaries(stretch.cycles[-1].start - 1e-9, float(waves.time[-1]))
    half = 0.5 / line.frequency.at(stretch.cycles[-1].start)
    found = [crossing(waves.time, waves.primary_current, b, SPREAD * 2.0 * half)
             for b in boundaries.tolist() if b + half < waves.time[-1]]  # fmt: skip
    late = [pi * (t - b) / half for t, b in zip(found, boundaries.tolist(), strict=False)]
    return float(np.mean(late))


def crossing(time: Array, values: Array, near: float, spread: float) -> float:
    """When a value crosses zero, nearest to a time and within a spread of it [s]."""
    inside = np.flatnonzero((time[:-1] > near - spread) & (time[1:] < near + spread))
    turned = inside[np.signbit(values[inside]) != np.signbit(values[inside + 1])]
    if not len(turned):
        return near
    a, b = values[turned], values[turned + 1]
    at = time[turned] + a / (a - b) * (time[turned + 1] - time[turned])
    return float(at[np.argmin(np.abs(at - near))])
