"""What a channel loses while it turns off a current, and how long the node takes to swing.

Gate and drain voltage of the outgoing switch, integrated over the turn-off with the bridge current
held: the gate discharges through its resistor, its charge to the drain holds it on a plateau while
the node rises, and the channel carries what the output capacitances do not take.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from simkit.parts.mosfet import drain_source_capacitance, gate_drain_capacitance
from simkit.scout.plant import Array

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine
    from simkit.parameters.switch import Channel

CURRENTS = 20
"""Currents above zero at which the turn-off is integrated, closer together where small [1]."""
STEPS = 250
"""Time steps of the integration, implicit, of a fiftieth of the gate's time constant each [1]."""
STEPS_PER_TIME_CONSTANT = 50.0
ARRIVED = 0.9
"""Share of its way after which a node counts as arrived [1]."""


@dataclass(frozen=True)
class TurnOff:
    """Table over currents [A], beyond which it holds its last value: energy lost in one channel
    [J], time from the command until the node has covered half and nine tenths of its way [s],
    infinity where it does not within the time integrated."""

    current: Array
    energy: Array
    half_way: Array
    arrival: Array

    def energy_at(self, current: Array) -> Array:
        """Energy lost in one channel at a current [J]; nothing when the current leads."""
        return np.interp(np.maximum(current, 0.0), self.current, self.energy)

    def arrival_at(self, current: Array) -> Array:
        """Time until the node has arrived, at a current [s]; infinity at small ones."""
        return np.interp(current, self.current, self.arrival, left=np.inf)


def channel_current(channel: Channel, gate: Array, drain: Array) -> tuple[Array, Array, Array]:
    """Current [A] of a square-law channel behind its drift region, and its slopes over gate and
    drain voltage [S].

    Triode: v = x + R K (g x - x^2/2) for the voltage x across the channel alone, g = v_gs - V_t.
    """
    k, r = channel.transconductance, channel.drain_resistance
    g = np.maximum(gate - channel.threshold, 0.0)
    b = 1.0 + r * k * g
    x = (b - np.sqrt(np.maximum(b * b - 2.0 * r * k * drain, 0.0))) / (r * k)
    open_ = x < g
    x = np.minimum(x, g)
    current = k * (g * x - 0.5 * x * x)
    inner = k * (g - x)
    drain_slope = np.where(open_, inner / (1.0 + r * inner), 0.0)
    gate_slope = k * x / np.where(open_, 1.0 + r * inner, 1.0)
    return current, gate_slope, drain_slope


def turn_off(machine: Machine, link: float) -> TurnOff:
    """Table of turn-offs on a link voltage [V] up to the switch's pulsed current; see the heading.

    The other switch of the leg adds its output capacitance. Left out: inductances.
    """
    drive, channel = machine.drive, machine.switch.channel
    low = drive.voltage_off if drive.isolation == "ideal" else 0.0
    second = drive.turn_off_resistor
    outer = 1.0 / (1.0 / drive.gate_resistor + (1.0 / second if second else 0.0))
    resistance = drive.sink_resistance + outer + channel.gate_resistance
    step = resistance * channel.gate_source_capacitance / STEPS_PER_TIME_CONSTANT
    snubber = machine.bridge.snubber
    across = snubber.capacitance if snubber and snubber.place == "switch" else 0.0
    leg = _Leg(channel, resistance, low, link, across, step)
    return _table(leg, machine.switch.ratings.pulsed_current, drive.voltage_on)


@lru_cache(maxsize=32)  # edges, losses and delays of one machine ask for the same table
def _table(leg: _Leg, top: float, high: float) -> TurnOff:
    """The turn-offs of a leg up to a current [A], its gate beginning at a voltage [V]."""
    step, link = leg.step, leg.link
    current = top * np.linspace(0.0, 1.0, CURRENTS + 1) ** 2
    gate, drain = np.full_like(current, high), np.zeros_like(current)
    energy, half_way = np.zeros_like(current), np.full_like(current, np.inf)
    arrival = half_way
    for k in range(STEPS):
        half_way = np.where((drain >= 0.5 * link) & np.isinf(half_way), k * step, half_way)
        arrival = np.where((drain >= ARRIVED * link) & np.isinf(arrival), k * step, arrival)
        gate, drain, lost = leg.advance(current, gate, drain)
        energy += lost
    for column in (current, energy, half_way, arrival):
        column.setflags(write=False)
    return TurnOff(current, energy, half_way, arrival)


@dataclass(frozen=True)
class _Leg:
    """Outgoing switch with what hangs on its node."""

    channel: Channel
    gate_resistance: float
    low: float
    link: float
    across: float
    step: float

    def advance(self, current: Array, gate: Array, drain: Array) -> tuple[Array, Array, Array]:
        """Gate and drain voltage a step later, linearly implicit, and the channel's loss [J].

        (C_gs + C_gd) dv_g - C_gd dv_d = (V_low - v_g)/R dt, and at the node
        (C_node + C_gd) dv_d - C_gd dv_g = (I - i_channel) dt.
        """
        channel, step = self.channel, self.step
        flow, by_gate, by_drain = channel_current(channel, gate, drain)
        cgd = gate_drain_capacitance(channel, gate - drain)
        node = (
            drain_source_capacitance(channel, drain)
            + drain_source_capacitance(channel, self.link - drain)
            + gate_drain_capacitance(channel, drain - self.link)
            + 2.0 * self.across
        )
        g11 = channel.gate_source_capacitance + cgd + step / self.gate_resistance
        g21, g22 = step * by_gate - cgd, node + cgd + step * by_drain
        into_gate = (self.low - gate) / self.gate_resistance * step
        into_node = (current - flow) * step
        det = g11 * g22 + cgd * g21
        after_gate = gate + (into_gate * g22 + cgd * into_node) / det
        after_drain = drain + (g11 * into_node - g21 * into_gate) / det
        return after_gate, np.clip(after_drain, 0.0, self.link), flow * drain * step
