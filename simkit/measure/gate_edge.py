"""Edges of the gates: delays, excursions, ringing, and what the channels lose at each commutation.

At each half-period boundary one switch of a leg is commanded off, half a dead time before, and the
other on, half a dead time after (see commutation.py). All voltages are gate to source at the chip.

* Turn-off delay: from the off command until the outgoing gate falls through threshold.
* Turn-on delay: from the on command until the incoming gate climbs through threshold.
* Dead time eaten: turn-off less turn-on delay. What is left of the dead time at the gates is the
  dead time less this; below zero both channels are open at once.
* Overshoot: largest gate voltage of either switch above the on-level, which the outgoing gate
  shows before the driver's edge at its off command, when half a period has settled it.
  Undershoot: smallest below the off-level, which the incoming gate shows at that moment.
* Turn-off energy: channel current times drain-source voltage of the outgoing switch from its off
  command on; what the output capacitance takes is not in it. Turn-on energy: the same of the
  incoming switch while more than a tenth of the link is across it, so that a turn-on at zero
  voltage counts as none.
* Ringing: a decaying sine fitted to the incoming gate from its first peak over the on-level on.

Range: steady or slowly changing operation, both gates of a leg driven alike; each commutation is
watched until a microsecond after the on command, or three of its delays.
"""

from collections.abc import Sequence
from math import hypot, pi

import numpy as np

from simkit.measure.commutation import ZERO_VOLTAGE_SHARE, Transition, crossing
from simkit.measure.ringing import NoRinging, Ringing, ringing
from simkit.measure.series import Series
from simkit.measure.waveforms import SwitchWaves, Waves, integral, value_at

EARLIER = 0.4
"""Most that a level is read before the off command, in dead times [1]: so much is in the record."""
NEGLIGIBLE = 1e-12
"""Energy that counts as none [J]: a millionth of the least that any channel here loses at an edge;
what a channel just about to close still passes comes to far less."""
SAMPLES = 2000
"""Evenly spaced samples of a gate voltage that a ringing is looked for in [1]."""
UNITS = {
    "turn_off_delay": "s", "turn_on_delay": "s", "dead_time_eaten": "s", "overshoot": "V",
    "undershoot": "V", "turn_off_energy": "J", "turn_on_energy": "J",
}  # fmt: skip
"""Unit of each quantity; in all of them the largest value is the worst."""


def gate_edge_series(waves: Waves, found: Sequence[Transition]) -> tuple[Series, ...]:
    """Every quantity of `UNITS`, a value per commutation, under the outgoing switch's name."""
    figures = [(t, edge_figures(waves, t)) for t in found]
    out = []
    for number in sorted({t.outgoing for t in found}):
        mine = [(t, f) for t, f in figures if t.outgoing == number]
        times = np.array([t.time for t, _ in mine])
        for quantity, unit in UNITS.items():
            values = np.array([f[quantity] for _, f in mine])
            out.append(Series(f"Q{number}", quantity, unit, times, values))
    return tuple(out)


def edge_figures(waves: Waves, edge: Transition) -> dict[str, float]:
    """The quantities of `UNITS` at one commutation; inf for a gate that never crosses threshold."""
    dead = waves.machine.drive.dead_time
    off = edge.time - 0.5 * dead
    part = waves.between(off - 0.5 * dead, edge.end(waves))
    outgoing, incoming = (part.switches[n - 1] for n in (edge.outgoing, edge.incoming))
    threshold = part.machine.switch.channel.threshold
    before = _before(part, off)
    high, low = (value_at(part.time, s.gate_source, before) for s in (outgoing, incoming))
    late = part.time >= off
    falls = crossing(part.time[late], outgoing.gate_source[late], threshold, rising=False) - off
    both = np.concatenate((outgoing.gate_source[late], incoming.gate_source[late]))
    return {
        "turn_off_delay": falls,
        "turn_on_delay": edge.available - dead,
        "dead_time_eaten": falls - (edge.available - dead),
        "overshoot": max(float(both.max()) - high, 0.0),
        "undershoot": max(low - float(both.min()), 0.0),
        "turn_off_energy": _channel_energy(part, outgoing, off, 0.0),
        "turn_on_energy": _channel_energy(part, incoming, off, ZERO_VOLTAGE_SHARE),
    }


def _before(waves: Waves, off: float) -> float:
    """A moment before the driver's edge, whose middle is the off command [s]."""
    drive = waves.machine.drive
    return off - min(drive.edge_time, EARLIER * drive.dead_time)


def _channel_energy(part: Waves, switch: SwitchWaves, start: float, share: float) -> float:
    """Energy into a channel from a time on, where more than a share of the link is on it [J]."""
    counts = (part.time >= start) & (switch.drain_source > share * part.link_voltage)
    power = np.where(counts, switch.drain_source * switch.channel_current, 0.0)
    energy = integral(part.time, np.maximum(power, 0.0))
    return energy if energy > NEGLIGIBLE else 0.0


def gate_ringing(waves: Waves, edge: Transition) -> Ringing | None:
    """Ringing of the incoming gate after its turn-on; None when there is none to be measured."""
    half = 0.5 * waves.machine.drive.dead_time
    part = waves.between(edge.time + half, edge.end(waves))
    gate = part.switches[edge.incoming - 1].gate_source
    before = _before(waves, edge.time - half)
    level = value_at(waves.time, waves.switches[edge.outgoing - 1].gate_source, before)
    peak = int(np.argmax(gate))
    if gate[peak] <= level or len(gate) - peak < 8:
        return None
    even = np.linspace(part.time[peak], part.time[-1], SAMPLES)
    try:
        return ringing(even, np.interp(even, part.time, gate))
    except NoRinging:
        return None


def damping_ratio(ring: Ringing) -> float:
    """Damping ratio of a ringing: a/sqrt(a^2 + w^2), a = 1/decay, w = 2 pi f [1].

    Source: free response of a second-order system, textbook. Exact.
    """
    rate = 1.0 / ring.decay
    return rate / hypot(rate, 2.0 * pi * ring.frequency)
