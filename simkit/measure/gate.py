"""Gate of a switch that should be off, while the other switch of its leg turns on.

Spurious turn-on margin: threshold less the largest gate-source voltage, at the chip, of the
outgoing switch from the incoming switch's command until a microsecond after, or three of its
gate's delays. A fast climb of the drain pushes current through the gate-drain capacitance and lifts
the gate; a margin below zero means that the channel opened again.
"""

from dataclasses import dataclass

import numpy as np

from simkit.measure.commutation import Edge
from simkit.measure.waveforms import Waves


@dataclass(frozen=True)
class GateLift:
    """Largest gate voltage of one off switch at one transition."""

    time: float
    """[s]"""
    switch: int
    voltage: float
    """[V]"""
    margin: float
    """Threshold less voltage [V]."""


def gate_lift(waves: Waves, transition: Edge) -> GateLift:
    """How far the outgoing switch's gate was lifted after the incoming one was commanded on."""
    start = transition.time + 0.5 * transition.dead(waves)
    part = waves.between(start, transition.end(waves))
    values = part.switches[transition.outgoing - 1].gate_source
    k = int(np.argmax(values))
    highest = float(values[k])
    threshold = waves.machine.switch.channel.threshold
    return GateLift(float(part.time[k]), transition.outgoing, highest, threshold - highest)
