"""Below resonance each turn-on forces a conducting body diode off: its charge by the diode's law.

The current turned before the switch went off and flows in its body diode until the other one takes
it. P. O. Lauritzen and C. L. Ma, IEEE Trans. Power Electronics 6 (1991) 188 (recalled from
memory): the stored charge follows dq/dt = i - q/tau, and the reverse current ends its ramp where
it is q/T_M; from there it dies by 1/tau_rr = 1/tau + 1/T_M.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from simkit.rehearsal.findings import Rehearsal
from tests.engine.runs import plain, situation

pytestmark = pytest.mark.slow

LIFETIME, TRANSIT, DEAD_TIME = 0.42e-6, 0.12e-6, 0.6e-6
NAMES = ("step-below", "drift-below")


def last(found: Rehearsal, quantity: str) -> float:
    return max(float(s.values[-1]) for s in found.series if s.quantity == quantity)


def stored_charge(found: Rehearsal) -> tuple[float, float]:
    """Of the diode at the end of the dead time [C], and its current then [A].

    The current is a sine of the primary's amplitude that has its turn-off value at the edge.
    """
    after = found.after
    amplitude, omega = np.sqrt(2.0) * after.primary_current_rms_a, 2 * np.pi * after.frequency_hz
    ahead = np.arcsin(-after.turn_off_current_a / amplitude)

    def current(time: float) -> float:
        return float(amplitude * np.sin(omega * time + ahead))

    charge, _ = quad(
        lambda t: current(t) * np.exp((t - DEAD_TIME) / LIFETIME), 0.0, DEAD_TIME
    )  # fmt: skip
    return charge, current(DEAD_TIME)


@pytest.mark.situation("effect", *NAMES)
@pytest.mark.parametrize("name", NAMES)
def test_the_diode_is_forced_off_with_its_stored_charge_over_the_transit_time(name: str) -> None:
    """Forced down at the measured di/dt, i ends at -q/T_M, q less what the ramp took; what is
    recovered until a quarter of the peak is I^2/(2 di/dt) + 3/4 I tau_rr.

    15 %: the gates' delays move both ends of the conduction by tens of nanoseconds, of a lifetime
    of 420, and at first the channel still carries some of it.
    """
    found = situation(name)
    charge, forward = stored_charge(found)
    slope = last(found, "recovery_di_dt")

    def gap(time: float) -> float:
        left = charge + forward * time - 0.5 * slope * time**2
        return slope * time - forward - left / TRANSIT

    peak = slope * brentq(gap, 0.0, 1e-6) - forward
    assert last(found, "recovery_current") == pytest.approx(peak, rel=0.15)
    dying = 1.0 / (1.0 / LIFETIME + 1.0 / TRANSIT)
    recovered = 0.5 * peak**2 / slope + 0.75 * peak * dying
    assert last(found, "recovery_charge") == pytest.approx(recovered, rel=0.15)


@pytest.mark.situation("effect", *NAMES)
@pytest.mark.parametrize("name", NAMES)
def test_each_switch_loses_at_least_the_charge_times_the_link(name: str) -> None:
    """What is recovered flows from the link through the switch that turns on, V Q f in each, beside
    what conduction took before. Not more than twice that: until its voltage falls the switch
    carries the load's current besides, 6 of 17 A, and charges the node."""
    found = situation(name)
    charge = last(found, "recovery_charge")
    least = found.after.supply_voltage_v * charge * found.after.frequency_hz
    added = 0.25 * (found.after.bridge_loss_w - found.before.bridge_loss_w)
    assert least < added < 2.0 * least


@pytest.mark.situation("absence", *NAMES)
@pytest.mark.parametrize("name", NAMES)
def test_above_resonance_no_diode_is_forced_off(name: str) -> None:
    """The current turns after the other switch took over: nothing is stored that could recover."""
    found = situation(name)
    began = found.line.events[0].start
    early = [v for s in found.series if s.quantity == "recovery_charge"
             for t, v in zip(s.times, s.values, strict=True) if t < began]  # fmt: skip
    assert early
    assert max(early) == 0.0
    assert not plain().whole.recoveries
