"""The drive's oscillator with its loop inside the deck: numbers for oscillator.cir.j2.

The angle is `time` times a fixed frequency plus what v(om) has gained on it; comparing its sine
with sin(pi t_d f) leaves a constant dead time t_d at any frequency. The detector multiplies two
signs, that of the signal and that of cos(angle - target): its mean is -2/pi times the error.
A self-oscillating drive has no angle of its own: v(yy) runs at an even pace towards the sign of the
sensed current, and the gates change over where it passes zero, its delay later.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import degrees, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.loop import Loop
from simkit.parameters.machine import Drive, Machine

SHARP = 0.01
"""Share of the signal's size below which its sign is not taken as whole [1]."""
EDGE = 0.364
"""Slope of a tanh that takes a straight edge's time from a tenth to nine tenths:
0.8 / (2 atanh(0.8)) [1]."""
MEAN = 3.0
"""Periods over which a level, or a sampled controller's phase, is averaged [1]."""
VECTORS = {"oscillator": ("om", "df"), "follower": ("yy",)}


@dataclass(frozen=True)
class LoopPath:
    """What the fast model makes of a loop.

    Fields: times [s]; angle by which the current lags the gates' change-over, and the error of the
    angle held [deg]; blind, limited: share of the time in which the detector saw nothing and in
    which a limit of frequency held it [1].
    """

    times: NDArray[np.float64]
    angle: NDArray[np.float64]
    error: NDArray[np.float64]
    blind: float
    limited: float


@dataclass(frozen=True)
class Oscillator:
    """A loop as a circuit closes it.

    Fields: loop; angle [rad] and seconds [s] of its target angle + 2 pi f seconds; gain [Hz/(s
    rad)]; closes: from when on [s]; size of what is sensed at its start [A] or [V]; path along
    the event.
    """

    loop: Loop
    angle: float
    seconds: float
    gain: float
    closes: float
    size: float
    path: LoopPath = field(compare=False)

    @property
    def form(self) -> str:
        """Which of the two kinds of oscillator: with an angle, or following the current."""
        return "follower" if self.loop.by == "self-oscillating" else "oscillator"

    def values(
        self, machine: Machine, begin: float, phase: float, frequency: float
    ) -> dict[str, Any]:
        """Namespace of oscillator.cir.j2 for a deck from `begin` [s] at a phase [periods]."""
        drive, kilo = machine.drive, frequency / 1e3
        numbers: dict[str, Any] = {
            "form": self.form,
            "sampled": self.loop.by == "sampled",
            "tank": self.loop.sensed == "tank",
            "blind": self.loop.blind,
            "turn": 2.0 * pi * frequency,
            "phase": 2.0 * pi * (phase % 1.0),
            "low": (drive.frequency_min - frequency) / 1e3,
            "high": (drive.frequency_max - frequency) / 1e3,
            "kilo": kilo,
            "dead": pi * drive.dead_time * 1e3,
            "angle": self.angle,
            "seconds": 2e3 * pi * self.seconds,
            "closes": self.closes - begin,
            "pace": 1e-6 * pi / 2.0 * self.gain,
            "edge": EDGE * 2.0 * pi * frequency * drive.edge_time,
            "mean": MEAN / frequency,
            "limit": self.loop.current_limit,
            "rate": 1e-6 * (self.loop.limit_rate or 0.0),
            "free": self.loop.holds == "none",
            "back": 1e-3 * kilo,
            "bank": self._bank(machine),
        }
        return numbers | self._of_its_kind(machine, begin, phase, frequency)

    def _bank(self, machine: Machine) -> str:
        return "s2,t1" if machine.tank.feed == "loop" else "w,t1"

    def _of_its_kind(
        self, machine: Machine, begin: float, phase: float, frequency: float
    ) -> dict[str, Any]:
        shared = sensor(self.loop, machine) | {"sharp": SHARP * self.size}
        if self.form == "follower":
            return shared | follower(self.loop, machine, phase)
        if self.loop.by == "sampled":
            shared |= sampler(self.loop, self.closes - begin, 1.0 / frequency)
        return shared


def sensor(loop: Loop, machine: Machine) -> dict[str, Any]:
    """What is read: ends of a resistance [ohm] and whether the coil's current goes off it."""
    transformer = machine.transformer
    if loop.sensed == "bank":
        coil = machine.tank.feed == "shunt"
        return {"across": "s1,s2", "resistance": transformer.secondary_resistance, "coil": coil}
    before = "pa" if transformer.blocking_capacitance is not None else "a"
    return {"across": f"{before},pb", "resistance": transformer.primary_resistance, "coil": False}


def sampler(loop: Loop, closes: float, period: float) -> dict[str, Any]:
    """A controller's pulses: each moves v(df) by its step within a period [s]."""
    interval = float(loop.interval or 0.0)
    passed = 0.0 if closes >= 0.0 else -closes // interval
    first = closes + (passed + 1.0) * interval
    return {
        "first": first,
        "width": period,
        "width_edge": 0.1 * period,
        "width_flat": 0.9 * period,
        "interval": interval,
        "per_radian": degrees(float(loop.step_per_degree or 0.0)) * pi / 2.0 / 1e3,
        "largest": (loop.largest_step or 1e9) / 1e3,
    }


def follower(loop: Loop, machine: Machine, phase: float) -> dict[str, Any]:
    """A self-oscillating drive's numbers: v(yy) takes two delays from sign to sign.

    Its lead network sees T di/dt from the voltages of the transformer's inductances.
    """
    drive: Drive = machine.drive
    delay, lead = float(loop.delay or 0.0), loop.lead_network or 0.0
    transformer, bank = machine.transformer, loop.sensed == "bank"
    turns = transformer.ratio if bank else 1.0
    return {
        "start": 1.0 if phase % 1.0 < 0.5 else -1.0,
        "slew": 1e-6 / delay,
        "apart": 0.5 * drive.dead_time / delay,
        "soft": EDGE * drive.edge_time / delay,
        "lead": lead,
        "ahead": lead * turns / transformer.leakage_inductance,
        "less": lead * turns / transformer.magnetising_inductance if bank else None,
        "turns": turns,
    }


Clock = tuple[NDArray[np.float64], NDArray[np.float64]]


def clock(
    form: str, time: NDArray[np.float64], raw: Mapping[str, NDArray[np.float64]], phase: float,
    frequency: float,
) -> Clock:  # fmt: skip
    """Times [s] and phases [periods] that an oscillator inside a deck ran through.

    `phase` and `frequency` [Hz]: at the deck's start, the first of the times.
    """
    if form == "oscillator":
        gained = raw["v(om)"] / (2.0 * pi)
        return time, phase + frequency * (time - time[0]) + gained
    y = raw["v(yy)"]
    found = np.flatnonzero(np.signbit(y[1:]) != np.signbit(y[:-1]))
    share = y[found] / (y[found] - y[found + 1])
    crossings = time[found] + share * (time[found + 1] - time[found])
    first = 0.5 * np.floor(2.0 * phase) + 0.5
    phases = first + 0.5 * np.arange(len(crossings))
    last = 0.5 * (time[-1] - crossings[-1]) / (crossings[-1] - crossings[-2])
    return (
        np.concatenate(([time[0]], crossings, [time[-1]])),
        np.concatenate(([phase], phases, [phases[-1] + last])),
    )
