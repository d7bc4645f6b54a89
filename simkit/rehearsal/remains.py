"""What a run's start from the fast model has left in it, read off the run itself.

A gap of the tank's state goes round in the complex plane as z^k from cycle to cycle, z its decay
and the turn of the tank's own frequency against the drive's. Two readings K cycles apart differ by
d = gap (z^K - 1), so that the gap behind is d z^K/(z^K - 1): a short run says how far it is from
where it will end. The first cycle is left out, in which the gates and diodes find their place.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf

import numpy as np

from simkit.measure.periodic import Cycle, cycle_average
from simkit.measure.waveforms import Waves
from simkit.parameters.machine import Machine
from simkit.rehearsal.stretches import Stretch, seed_at

NOISE = 4e-4
"""Scatter of a tank state read from two cycles of one run, as a share [1]: it went smoothly to
2e-4 in nine random machines at the tolerances used."""
SEEN = 0.15
"""Least |1 - z^K| for which a run says where it will end [1]: below, its scatter would."""
SWING_ERROR = 0.004
"""How far off the fast model's swing may be that a seed keeps where its run says too little, as a
share [1]: the largest seen against whole circuit runs of a pull-out (docs/numerics.md holds the
result to it)."""


@dataclass(frozen=True)
class Remains:
    """Share of its size by which the tank's state may be off in a run, and how that fades."""

    at: float
    """When it is that share [s]."""
    share: float
    """[1]"""
    memory: float
    """Time in which it falls to 1/e [s]; inf where it does not fade."""
    floor: float = 0.0
    """What does not fade [1]."""
    slow: float = 0.0
    """Share by which the states slower than the tank still move [1]; fades like it."""

    def tank(self, time: float) -> float:
        """Share by which the tank may be off at a time [s]."""
        return self.share * self._faded(time) + self.floor

    def others(self, time: float) -> float:
        """The same of the slower states."""
        return self.slow * self._faded(time)

    def _faded(self, time: float) -> float:
        if self.memory == inf:
            return 1.0
        return exp(min((self.at - time) / self.memory, 3.0)) if self.memory > 0.0 else 0.0


def uncertainty(seen: float) -> float:
    """Share by which a state read off a run may be off that has seen so much of its gap [1]."""
    return NOISE / seen if seen >= SEEN else SWING_ERROR


def link_memory(machine: Machine) -> float:
    """Time in which the link forgets [s]: its capacitance behind the supply's resistance."""
    supply = machine.supply
    return (supply.source_resistance + supply.link.esr) * supply.link.capacitance


def slow_move(waves: Waves, time: float, period: float) -> float:
    """Share of the link's voltage that a state slower than the tank may still be off at a time [1].

    The link goes on by what it moved in the last cycle for as many cycles as it remembers; the
    blocking capacitor swings to and fro, and counts by what it moved.
    """
    now, before = seed_at(waves, time), seed_at(waves, time - period)
    volts = max(abs(now.link_voltage), 1e-9)
    link = abs(now.link_voltage - before.link_voltage) * link_memory(waves.machine) / period
    return max(abs(now.blocking_voltage - before.blocking_voltage), link) / volts


def intake(stretch: Stretch, span: Cycle) -> tuple[float, float]:
    """Mean current out of the source and into the bridge over a span [A]."""
    waves = stretch.waves
    drawn = np.sum([s.drain_current for s in waves.switches[::2]], axis=0)
    return (
        cycle_average(waves, waves.supply_current, span),
        cycle_average(waves, drawn, span),
    )
