"""Junction temperature from the loss per cycle and the data sheet's transient impedance.

* Steady state before the event: ambient + all losses through the heatsink + one switch's loss
  through pad and junction-to-case resistance.
* During the event: heatsink and pad hold still, the junction follows the change of loss by
  superposition of steps, T(t) = T0 + sum of dP_k Z(t - t_k).
* Holding: the last state's loss kept up; time until the limit from Z(t).

Z between the given points is straight on log-log axes, below the first it follows the square
root of time (semi-infinite slab), beyond the last it stays at the steady resistance.
"""

import numpy as np

from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine, SwitchRatings

BLOCK = 40_000
"""Ages worked out at a time [1]: enough to be quick, little enough for any length of course."""
NO_AGE = 1e-9
"""Age of a step at its own time [s]: it counts there already, by next to nothing."""


def transient_impedance(ratings: SwitchRatings, time: Array) -> Array:
    """Junction-to-case rise per watt after a step [K/W]."""
    times = np.array([p.time for p in ratings.transient])
    values = np.array([p.impedance for p in ratings.transient])
    safe = np.maximum(time, 1e-12)
    inside = np.exp(np.interp(np.log(safe), np.log(times), np.log(values)))
    below = values[0] * np.sqrt(safe / times[0])
    # From the last point on: the steady resistance, approached within a decade of time.
    share = np.clip(np.log10(safe / times[-1]), 0.0, 1.0)
    beyond = values[-1] + (ratings.thermal_resistance - values[-1]) * share
    out = np.where(safe < times[0], below, np.where(safe > times[-1], beyond, inside))
    return np.where(time <= 0.0, 0.0, out)


def settled_junction(machine: Machine, loss: float, all_losses: float) -> float:
    """Junction temperature after a long time at constant losses [degC]."""
    cooling = machine.cooling
    own = machine.switch.ratings.thermal_resistance + cooling.pad_resistance
    return cooling.ambient + all_losses * cooling.heatsink_resistance + loss * own


def junction_course(
    ratings: SwitchRatings, start: float, before: float, times: Array, losses: Array
) -> Array:
    """Junction temperature at each time from losses per cycle [degC].

    `start`: temperature and `before`: loss of the settled state; times [s] rise, losses [W].
    """
    steps = np.diff(losses, prepend=before)
    rise = np.zeros_like(times)
    at_once = max(BLOCK // max(len(times), 1), 1)
    for first in range(0, len(times), at_once):
        chosen = slice(first, first + at_once)
        ages = times[first:, None] - times[None, chosen]
        rise[first:] += transient_impedance(ratings, ages + NO_AGE) @ steps[chosen]
    return start + rise


def time_to_limit(
    ratings: SwitchRatings, start: float, before: float, after: float, bound: float
) -> float:
    """How long the junction takes from a settled state to a bound at a new loss [s].

    Zero when it is beyond already, inf when case temperature and steady rise stay below.
    """
    if start >= bound:
        return 0.0
    grid = np.logspace(-6, 3, 901)
    course = start + (after - before) * transient_impedance(ratings, grid)
    over = np.flatnonzero(course >= bound)
    return float(grid[over[0]]) if len(over) else float("inf")


def held_junction(
    ratings: SwitchRatings, start: float, before: float, after: float, hold: float
) -> float:
    """Junction temperature after a state was held for a time [degC]."""
    rise = (after - before) * transient_impedance(ratings, np.array([hold]))
    return start + float(rise[0])
