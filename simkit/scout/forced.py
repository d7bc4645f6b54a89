"""What it takes to force a body diode off: time, charge and loss at a hard turn-on.

The current leads, a body diode carries it when the dead time ends, and the other switch of the
leg turns on into it. Its channel takes the current over as its gate allows, the diode first
goes on carrying the rest and then gives its stored charge back; only then does the node move.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import TYPE_CHECKING

import numpy as np

from simkit.circuit.values import THERMAL_VOLTAGE
from simkit.parts.igbt import conducting_resistance
from simkit.scout.plant import Array, output_charge, swing_charge

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine

KNEE_CURRENT = 0.05
"""Least current at which a diode's forward voltage is asked for [A]."""


@dataclass(frozen=True)
class Takeover:
    """A hard turn-on into a forward current, arrays over cases.

    Fields: wait until the node is half-way over [s]; reverse_peak [A]; charge that the link
    delivers into the leg beyond the bridge current [C].
    """

    wait: Array
    reverse_peak: Array
    charge: Array


@dataclass(frozen=True)
class Forcing:
    """Switch and gate as a hard turn-on sees them.

    Fields: gain KP [A/V^2]; overdrive, on-level less threshold [V]; gate_time, R C of the turn-on
    [s]; common inductance [H]; lifetime, transit of the diode [s]; node_charge, that moves a leg's
    node over [C].
    """

    gain: float
    overdrive: float
    gate_time: float
    common: float
    lifetime: float
    transit: float
    node_charge: float

    def ramp_time(self, current: Array) -> Array:
        """Time in which the channel reaches a current after the threshold [s].

        Square law i = KP v^2/2, gate charged through its resistor against the common source
        inductance: (RC + L KP v) dv/dt = D - v, so that
        t = -(RC + L KP D) ln(1 - v/D) - L KP v.
        """
        v = np.sqrt(2.0 * np.maximum(current, 0.0) / self.gain)
        share = np.minimum(v / self.overdrive, 1.0 - 1e-9)
        braked = self.common * self.gain
        whole = self.gate_time + braked * self.overdrive
        return np.asarray(-whole * np.log1p(-share) - braked * v)

    def slope(self, current: Array) -> Array:
        """Slope of the channel current where it has reached a current [A/s]."""
        v = np.minimum(np.sqrt(2.0 * current / self.gain), 0.999 * self.overdrive)
        steep = self.gain * v
        return np.asarray(steep * (self.overdrive - v) / (self.gate_time + self.common * steep))

    def takeover(self, current: Array, stored: Array) -> Takeover:
        """Hard turn-on into a forward current [A] of a diode that stores a charge [C].

        Lumped-charge diode (Lauritzen and Ma, IEEE Trans. Power Electronics 6(2), 1991): while
        the current falls, dq/dt = i - q/tau; the diode holds until -i = q/T_M and then follows
        exp(-t/tau_rr), 1/tau_rr = 1/tau + 1/T_M. The channel's current grows as t^2 at first,
        so that the diode still passes 2/3 of i t on the way down; beyond zero the slope is taken
        as constant.
        """
        tau = self.lifetime
        down = self.ramp_time(current)
        keep = np.exp(-down / tau)
        left = stored * keep + tau * current * (2.0 / 3.0) * (1.0 - keep)
        slope = np.maximum(self.slope(np.maximum(current, KNEE_CURRENT)), 1.0)
        back = self._until_blocked(left, slope)
        peak = slope * back
        fade = 1.0 / tau + 1.0 / self.transit
        tail = peak / fade
        # What the diode no longer takes of the channel's current moves the node, and more of it the
        # longer it lasts: (slope + peak/tau_rr) t^2/2 = Q/2. A small current's slope still grows.
        rough = np.sqrt(self.node_charge / (slope + peak * fade))
        later = self.slope(current + peak + slope * rough)
        half_way = np.sqrt(self.node_charge / (np.maximum(slope, later) + peak * fade))
        drawn = current * (down / 3.0 + back) + 0.5 * peak * back + tail
        return Takeover(down + back + half_way, peak, drawn)

    def _until_blocked(self, left: Array, slope: Array) -> Array:
        """Time from the current's zero until the junction is empty, -i = q/T_M [s]."""
        tau, transit = self.lifetime, self.transit
        time = np.sqrt(2.0 * np.maximum(left, 0.0) / slope) * 0.5
        for _ in range(12):
            fade = np.exp(-time / tau)
            q = slope * tau * (tau - time) + (left - slope * tau * tau) * fade
            dq = -slope * tau - (left / tau - slope * tau) * fade
            gap, steep = q - slope * time * transit, dq - slope * transit
            time = np.maximum(time - gap / steep, 0.0)
        return time


def forcing(machine: Machine) -> Forcing:
    """Forcing of a machine's switch and gate drive."""
    channel, drive, diode = machine.switch.channel, machine.drive, machine.switch.diode
    resistance = drive.source_resistance + drive.gate_resistor + channel.gate_resistance
    return Forcing(
        gain=channel.transconductance,
        overdrive=drive.voltage_on - channel.threshold,
        gate_time=resistance
        * (channel.gate_source_capacitance + channel.gate_drain_capacitance_min),
        common=machine.switch.package.common_source_inductance,
        lifetime=diode.lifetime,
        transit=diode.transit_time,
        node_charge=swing_charge(machine),
    )


def stored_charge(machine: Machine, dead_time: float, turn_off: Array, turn_on: Array) -> Array:
    """Charge in a body diode at the turn-on that forces it off [C].

    From the bridge current when a pair turns off and when the other turns on [A], negative where
    it leads: before, the diode lies beside an open channel in steady conduction, q = tau i; in
    the dead time it carries all of a current that runs straight. dq/dt = i - q/tau in closed form.
    """
    tau = machine.switch.diode.lifetime
    channel = conducting_resistance(machine.switch, machine.drive.voltage_on)
    first, last = np.maximum(-turn_off, 0.0), np.maximum(-turn_on, 0.0)
    keep = exp(-dead_time / tau)
    share = tau / dead_time * (1.0 - keep)
    carried = tau * (last * (1.0 - share) + first * (share - keep))
    return np.asarray(tau * diode_share(machine, first, channel) * keep + carried)


TABLE = 24
"""Currents of a release's table each way [1]."""
TABLE_TOP = 1.5
"""Largest of them, in times of the switch's pulsed current [1]; held beyond."""


class TabledRelease:
    """`halfwave.Release` of a machine, from a table over both currents."""

    def __init__(self, machine: Machine, dead_time: float) -> None:
        top = TABLE_TOP * machine.switch.ratings.pulsed_current
        axis = np.linspace(0.0, top, TABLE)
        off, on = (a.ravel() for a in np.meshgrid(-axis, -axis, indexing="ij"))
        stored = stored_charge(machine, dead_time, off, on)
        waits = forcing(machine).takeover(-on, stored).wait
        self._table: list[list[float]] = waits.reshape(TABLE, TABLE).tolist()
        self._step = top / (TABLE - 1)

    def wait(self, turn_off: float, turn_on: float) -> float:
        """See `halfwave.Release`; straight between the table's currents."""
        x = min(max(-turn_off, 0.0) / self._step, TABLE - 1.001)
        y = min(max(-turn_on, 0.0) / self._step, TABLE - 1.001)
        i, j = int(x), int(y)
        low, high = self._table[i], self._table[i + 1]
        before = low[j] + (y - j) * (low[j + 1] - low[j])
        after = high[j] + (y - j) * (high[j + 1] - high[j])
        return before + (x - i) * (after - before)


def diode_share(machine: Machine, current: Array, channel_resistance: Array | float) -> Array:
    """Part of a reverse current that flows in the body diode beside an open channel [A].

    Diode as V_F + n V_T ln(i/I_F) + R_s (i - I_F), channel as a resistor: common voltage.
    """
    if machine.switch.bipolar is not None:  # its channel conducts one way
        return np.maximum(current, 0.0)
    diode = machine.switch.diode
    thermal = diode.emission * THERMAL_VOLTAGE
    size = np.maximum(current, KNEE_CURRENT)
    share = np.zeros_like(size)
    for _ in range(4):
        knee = thermal * np.log(np.maximum(share, KNEE_CURRENT) / diode.forward_current)
        knee = knee + diode.forward_voltage - diode.series_resistance * diode.forward_current
        share = (channel_resistance * size - knee) / (channel_resistance + diode.series_resistance)
        share = np.clip(share, 0.0, size)
    return np.where(current > 0.0, share, 0.0)


def diode_voltage(machine: Machine, current: Array) -> Array:
    """Forward voltage of the body diode at a current [V]."""
    diode = machine.switch.diode
    size = np.maximum(current, KNEE_CURRENT)
    thermal = diode.emission * THERMAL_VOLTAGE * np.log(size / diode.forward_current)
    ohmic = diode.series_resistance * (size - diode.forward_current)
    return np.asarray(diode.forward_voltage + thermal + ohmic)


def topping_charge(machine: Machine, link: Array, missing: Array) -> Array:
    """Charge a leg draws when a switch turns on with a voltage [V] still missing of the swing [C].

    The capacitance of the other switch is charged from link - missing to the link's voltage.
    """
    channel = machine.switch.channel
    whole = np.array([output_charge(channel, v) for v in link.tolist()])
    part = np.array([output_charge(channel, max(v, 0.0)) for v in (link - missing).tolist()])
    return np.asarray(whole - part)
