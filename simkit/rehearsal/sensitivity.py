"""How strongly a figure follows what its sample's start may have left of the tank's state.

The start may be off by a share of the tank's swing. A current's peak follows it one to one; a loss
and the power drawn go with the current's square; the slopes of a recovery go with the root of the
current that is left at turn-on, a small part of the swing near resonance, where the same slip of
the tank's phase is a large share of it. Which of these a figure does stands in its record.

Squares: d(x^2)/x^2 = 2 dx/x. Recoveries: a channel whose gate rises steadily carries K/2 (s t)^2,
so that by the time it carries i its current rises with s sqrt(2 K i).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simkit.circuit.analysis import Analysis
from simkit.figures.record import Gain
from simkit.figures.table import figures
from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.scout.envelope import Event

OTHERS: dict[str, Gain] = {"loss": "square"}
"""Of quantities that are no figure themselves."""
LEAST = 0.05
"""Least share of its peak that the current at turn-on is taken to have [1]: nearer to zero a
recovery's figures vanish with it."""


def gain(quantity: str, event: Event, time: float) -> float:
    """Change of a figure, as a share of it, over the share by which the tank's state is off [1].

    `time` is that of the figure [s]. For a recovery half of I_peak/|i_on| of the fast model's
    cycle, and one at least: a state off by a share r moves the current at any moment by up to
    r I_peak.
    """
    told = figures()[quantity].gain if quantity in figures() else OTHERS.get(quantity, "current")
    if told == "square":
        return 2.0
    if told == "current":
        return 1.0
    cycles = event.cycles
    k = int(np.clip(np.searchsorted(cycles.time, time, side="right") - 1, 0, len(cycles.time) - 1))
    peak = float(cycles.primary_current_peak[k])
    forced = max(abs(float(cycles.turn_on_current[k])), LEAST * peak, 1e-12)
    return max(0.5 * peak / forced, 1.0)


def worst_place(series: Sequence[Series], quantity: str) -> tuple[float, float]:
    """Largest value of a quantity over all parts, and its time [s]; zeros where it has none."""
    worst = [s.worst for s in series if s.quantity == quantity]
    return max((w for w in worst if np.isfinite(w[0])), default=(0.0, 0.0))


def resolution(machine: Machine, analysis: Analysis) -> dict[str, float]:
    """What the engine's tolerance lets pass in figures read from a waveform of known swing.

    An integration step may be off by trtol*reltol of a node's swing before it is taken again, and
    its equations count as solved to within reltol of it (the engine's manual on its options); a
    small difference read from a large swing, such as a gate's lift, is known no better, however
    little two runs differ. In volts.
    """
    share = (1.0 + analysis.trtol) * analysis.reltol
    swings = {name: f.swing(machine) for name, f in figures().items() if f.swing is not None}
    return {name: share * swing for name, swing in swings.items()}
