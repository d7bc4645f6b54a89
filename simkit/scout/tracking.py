"""The drive's loop along an event: what frequency it makes of a load that changes.

A phase-locked loop of first order: an integrator moves the frequency f at a rate proportional to
the angle's error e (F. M. Gardner, Phaselock Techniques, chapter 2: loop with an integrator in the
oscillator's control; recalled from memory). Around a working point the loop's bandwidth b is where
its gain is one, so that df/dt = -2 pi b e / (d angle/d f). A sampled controller steps f once an
interval; a self-oscillating drive is where its chain's delay and the current's angle agree.

The step is implicit in f, with the envelope exact within it: stable for any step, exact for slow
change. A fast model: it tells circuit runs which frequency to use, and gives no verdict.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import atan, degrees, pi, radians

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.parameters.loop import Loop
from simkit.parameters.machine import Load, Machine
from simkit.parts.working import load_at
from simkit.scout.halfwave import Complex
from simkit.scout.phasor_course import Envelope, Seen
from simkit.scout.plant import Array

STEPS = 1200
"""Steps of an event and what follows it [1], so that its length costs nothing."""
PROBE = 1e-4
"""Relative change of frequency over which a slope is taken [1]."""
ROUNDS = 6
"""Newton steps towards a frequency [1], before it is halved in."""
NEAR = 1e-7
"""Relative change of frequency that ends them [1]: a hundredth of a degree at a Q of 100."""


@dataclass(frozen=True)
class Held:
    """What a loop aims at and how fast, with numbers.

    Fields: angle [rad] at no frequency, and what each second of lead adds to it: the target is
    angle + 2 pi f seconds; gain: d f/d t per error [Hz/(s rad)].
    """

    angle: float
    seconds: float
    gain: float


@dataclass(frozen=True)
class Tracked:
    """A loop along an event.

    Fields: times [s]; frequency [Hz]; angle by which the bridge's current lags the gates'
    change-over [rad]; error of the angle that the loop holds [rad]; blind,
    limited: whether the detector saw nothing and whether a limit of frequency held it; held;
    size: of what is sensed at the start, peak [A] or [V].
    """

    times: Array
    frequency: Array
    angle: Array
    error: Array
    blind: Array
    limited: Array
    held: Held
    size: float


@dataclass
class _Walk:
    """The loop on its way."""

    machine: Machine
    line: Timeline
    loop: Loop
    opens: float
    offset: Callable[[float], float]
    times: Array = field(init=False)
    updates: frozenset[int] = field(init=False)

    def __post_init__(self) -> None:
        loop, line = self.loop, self.line
        end = 1.01 * line.end
        halves = int(2.0 * line.frequency.first * (end - self.opens))
        times = np.linspace(self.opens, end, max(min(STEPS, halves), 2))
        instants = np.zeros(0)
        if loop.interval is not None:
            instants = np.arange(self.opens + loop.interval, times[-1], loop.interval)
        # An update is a step: two points, a hair apart.
        self.times = np.unique(np.concatenate((times, instants, instants + HAIR)))
        found = np.searchsorted(self.times, instants + HAIR)
        self.updates = frozenset(found.tolist())
        self.envelope = Envelope.of(
            self.machine, line.inductance.along(self.times), line.resistance.along(self.times),
            line.voltage.along(self.times), line.frequency.first, loop.sensed,
            loop.lead_network or 0.0 if loop.by == "self-oscillating" else 0.0,
        )  # fmt: skip
        self.held = self._held()

    def _held(self) -> Held:
        loop, first = self.loop, self.line.frequency.first
        late = loop.delay or 0.0
        start = self._angle(0, first)
        if loop.by == "self-oscillating":
            return Held(0.0, -late, 0.0)
        if loop.holds == "lead":
            given = loop.lead_time
            lead = start / (2.0 * pi * first) if given is None else given - late
            return Held(0.0, lead, self._gain())
        if loop.phase is None:  # as its own detector saw it, the chain's delay in it
            return Held(start + 2.0 * pi * first * late, -late, self._gain())
        return Held(radians(loop.phase), -late, self._gain())

    def _gain(self) -> float:
        if self.loop.bandwidth is None:
            return 0.0
        return 2.0 * pi * self.loop.bandwidth / slope_with(self.machine, self.line, self.loop)

    def _angle(self, k: int, frequency: float) -> float:
        seen = self.envelope.seen(k, self.envelope.settled(k, frequency), frequency)
        return seen.angle + self.offset(float(self.times[k]))

    def walked(self) -> Tracked:
        """The loop from where it closes to the end."""
        f, rows = self._first(), list[tuple[float, float, float, bool, bool]]()
        x = self.envelope.settled(0, f)
        low, high = self.machine.drive.frequency_min, self.machine.drive.frequency_max
        blind = False
        for k in range(len(self.times)):
            step = float(self.times[k] - self.times[k - 1]) if k else 0.0
            if k and not blind:
                f = min(max(self._next(k, x, f, step), low), high)
            x = self.envelope.stepped(k, x, f, step)
            seen = self.envelope.seen(k, x, f)
            blind = self.loop.blind is not None and seen.level < self.loop.blind
            error = self._error(k, seen, f)
            rows.append((f, seen.lag, error, blind, f in (low, high)))
        frequency, angle, errors, unseen, limited = (np.array(c) for c in zip(*rows, strict=True))
        first = self._settled_seen(0, rows[0][0])
        return Tracked(self.times, frequency, angle, errors, unseen, limited, self.held,
                       first.level)  # fmt: skip

    def _first(self) -> float:
        """Where it starts: as set, or where a self-oscillating drive settles."""
        f = self.line.frequency.first
        if self.loop.by != "self-oscillating":
            return f
        return self._root(lambda g: self._error(0, self._settled_seen(0, g), g), f)

    def _settled_seen(self, k: int, f: float) -> Seen:
        return self.envelope.seen(k, self.envelope.settled(k, f), f)

    def _error(self, k: int, seen: Seen, f: float) -> float:
        if self.loop.holds == "none":
            return 0.0
        aim = self.held.angle + 2.0 * pi * f * self.held.seconds
        error = seen.angle + self.offset(float(self.times[k])) - aim
        return float((error + pi) % (2.0 * pi) - pi)

    def _next(self, k: int, x: Complex, before: float, step: float) -> float:
        """Frequency of a step [Hz]."""

        def error(f: float) -> float:
            return self._error(k, self.envelope.seen(k, self.envelope.stepped(k, x, f, step), f), f)

        loop = self.loop
        if loop.by == "self-oscillating":
            return self._root(error, before)
        if loop.by == "sampled":
            return before + (self._correction(error(before)) if k in self.updates else 0.0)
        if loop.current_limit is not None:
            return self._root(lambda f: f - before - step * self._limited(k, x, f, step), before)
        rate = self.held.gain * step
        return self._root(lambda f: f - before + rate * error(f), before)

    def _limited(self, k: int, x: Complex, f: float, step: float) -> float:
        """Pace of a drive that limits its current [Hz/s]: the loop's own below the limit, the
        limit's above it, a mixture in the first hundredths above."""
        seen = self.envelope.seen(k, self.envelope.stepped(k, x, f, step), f)
        most, rate = float(self.loop.current_limit or np.inf), float(self.loop.limit_rate or 0.0)
        share = float(np.clip((seen.current / most - 1.0) / SOFT, 0.0, 1.0))
        own = -self.held.gain * self._error(k, seen, f)
        if self.loop.holds == "none":  # back to where it was set, as fast as it went up
            set_at = self.line.frequency.first
            own = rate * float(np.clip((set_at - f) / (SOFT_BACK * set_at), -1.0, 1.0))
        return share * rate + (1.0 - share) * own

    def _correction(self, error: float) -> float:
        largest = self.loop.largest_step or np.inf
        step = -degrees(error) * float(self.loop.step_per_degree or 0.0)
        return float(np.clip(step, -largest, largest))

    def _root(self, gap: Callable[[float], float], start: float) -> float:
        """Where a rising gap is zero [Hz], Newton from a start; halved in where that runs away."""
        drive = self.machine.drive
        f, value = start, gap(start)
        for _ in range(ROUNDS):
            step = f * PROBE
            slope = (gap(f + step) - value) / step
            move = -value / slope if slope > 0.0 else 0.0
            if abs(move) < NEAR * f:
                return f + move
            better = f + float(np.clip(move, -0.03 * f, 0.03 * f))
            f, value = better, gap(better)
        if abs(value) < 1e-3:
            return f
        return _halved(gap, drive.frequency_min, drive.frequency_max)


SOFT = 0.02
"""Share of its limit above it at which a current drives the frequency up at the whole rate [1]."""
SOFT_BACK = 1e-3
"""Distance from the frequency set, as a share of it, within which the way back slows down [1]."""
HAIR = 1e-7
"""Between the two points of a step of frequency [s]."""


def _halved(gap: Callable[[float], float], low: float, high: float) -> float:
    """Where a gap goes from below zero to above [Hz]; the end it points to where it does not."""
    if gap(low) >= 0.0:
        return low
    if gap(high) <= 0.0:
        return high
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if gap(middle) < 0.0 else (low, middle)
    return 0.5 * (low + high)


def tracked(
    machine: Machine,
    line: Timeline,
    closes: float,
    offset: Callable[[float], float] = lambda _time: 0.0,
) -> Tracked:
    """The machine's loop along a timeline, closed from a time on [s].

    `offset`: what a circuit's detector sees beyond this model's at a time [rad]. Raises ValueError
    for a machine without a loop that follows an angle.
    """
    loop = machine.drive.loop
    if loop is None or loop.holds == "margin":
        raise ValueError("the machine has no loop that follows an angle")
    return _Walk(machine, line, loop, closes, offset).walked()


def slope_of(machine: Machine, load: tuple[float, float], voltage: float, frequency: float,
             signal: str = "current") -> float:  # fmt: skip
    """How much the detected angle rises with the drive's frequency, load settled [rad/Hz].

    `load`: inductance [H] and resistance [ohm] at the coil's ends.
    """
    inductance, resistance, link = (np.array([v]) for v in (*load, voltage))
    envelope = Envelope.of(machine, inductance, resistance, link, frequency, signal)
    step = PROBE * frequency
    above, below = (
        envelope.seen(0, envelope.settled(0, f), f).angle
        for f in (frequency + step, frequency - step)
    )
    return (above - below) / (2.0 * step)


def angle_of(
    machine: Machine, load: Load, voltage: float, frequency: float, signal: str = "current"
) -> float:
    """Detected angle of a settled load at a supply [V] and a drive frequency [Hz] [rad]."""
    inductance, resistance, link = (
        np.array([v]) for v in (load.inductance, load.resistance, voltage)
    )
    envelope = Envelope.of(machine, inductance, resistance, link, frequency, signal)
    return envelope.seen(0, envelope.settled(0, frequency), frequency).angle


def held_frequency(
    machine: Machine, load: Load, voltage: float, angle: float, signal: str = "current"
) -> float:
    """Frequency at which a settled load has an angle [Hz], above its resonance's lower flank."""
    low = 0.9 * machine.resonance(load.inductance)
    return _halved(lambda f: angle_of(machine, load, voltage, f, signal) - angle, low, 1.5 * low)


def slope_with(machine: Machine, line: Timeline, loop: Loop) -> float:
    """Slope [rad/Hz] with the load the bandwidth was set with, at the start's margin."""
    first, voltage = line.frequency.first, line.voltage.first
    here = (line.inductance.first, line.resistance.first)
    if loop.set_with is None:
        return slope_of(machine, here, voltage, first, loop.sensed)
    load = load_at(machine, loop.set_with, first, voltage)
    there = first * machine.resonance(load.inductance) / machine.resonance(here[0])
    return slope_of(machine, (load.inductance, load.resistance), voltage, there, loop.sensed)


def lead_angle(loop: Loop, frequency: float) -> float:
    """Angle at which a self-oscillating drive settles at a frequency [rad]: what its lead network
    gains, atan(2 pi f T), less what its delay loses, 2 pi f t_d."""
    omega = 2.0 * pi * frequency
    return atan(omega * (loop.lead_network or 0.0)) - omega * (loop.delay or 0.0)
