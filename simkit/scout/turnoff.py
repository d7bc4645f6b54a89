"""What a channel loses while it turns off a current, and how long the node takes to swing.

Gate and drain voltage of the outgoing switch, integrated over the turn-off with the bridge current
held: the gate discharges through its resistor, its charge to the drain holds it on a plateau while
the node rises, and the channel carries what the output capacitances do not take.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, sqrt
from typing import TYPE_CHECKING

import numpy as np

from simkit.parts.igbt import base_share, gain
from simkit.parts.mosfet import drain_source_capacitance, gate_drain_capacitance
from simkit.scout.plant import Array

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine
    from simkit.parameters.switch import Bipolar, Channel

CURRENTS = 20
"""Currents above zero at which the turn-off is integrated, closer together where small [1]."""
STEPS = 250
"""Time steps of the integration, implicit, of a fiftieth of the gate's time constant each [1]: the
gate is off by then, and the node goes on by charge alone."""
GRID = 400
"""Voltages at which the node's charge is summed, closer together where it is steep [1]."""
TAILS = 3.0
"""Lifetimes that an IGBT's turn-off is integrated for beyond that [1]."""
MOST_TAIL_STEPS = 3000
STEPS_PER_TIME_CONSTANT = 50.0
ARRIVED = 0.9
"""Share of its way after which a node counts as arrived [1]."""


@dataclass(frozen=True)
class TurnOff:
    """Table over currents [A], beyond which it holds its last value: energy lost in one channel
    [J], time from the command until the node has covered half and nine tenths of its way [s],
    infinity without current; and the charge of both ways with the gate off [C]."""

    current: Array
    energy: Array
    half_way: Array
    arrival: Array
    half_charge: float
    charge: float

    def energy_at(self, current: Array) -> Array:
        """Energy lost in one channel at a current [J]; nothing when the current leads."""
        return np.interp(np.maximum(current, 0.0), self.current, self.energy)

    def arrival_at(self, current: Array) -> Array:
        """Time until the node has arrived, at a current [s]; infinity when the current leads."""
        return self._time(self.arrival, self.charge, current)

    def half_way_at(self, current: Array) -> Array:
        """Time until the node is half-way, at a current [s]; infinity when the current leads."""
        return self._time(self.half_way, self.half_charge, current)

    def _time(self, times: Array, charge: float, current: Array) -> Array:
        # t = t_gate + Q/i: the product t i is nearly a straight line, which t itself is not.
        moved = np.concatenate(([charge], times[1:] * self.current[1:]))
        held = np.minimum(np.asarray(current, dtype=np.float64), self.current[-1])
        lags = held > 0.0
        there = np.interp(held, self.current, moved) / np.where(lags, held, 1.0)
        return np.where(np.isnan(held), np.nan, np.where(lags, there, np.inf))


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

    The other switch of the leg adds its output capacitance; a gate transformer its resistance and
    leakage. Left out: inductances of the power loop.
    """
    drive, channel = machine.drive, machine.switch.channel
    low = drive.voltage_off if drive.isolation == "ideal" else 0.0
    second = drive.turn_off_resistor
    outer = 1.0 / (1.0 / drive.gate_resistor + (1.0 / second if second else 0.0))
    resistance = drive.sink_resistance + outer + channel.gate_resistance
    inductance = drive.loop_inductance
    if drive.transformer is not None:
        resistance += drive.transformer.winding_resistance
        inductance += drive.transformer.leakage_inductance
    gate = channel.gate_source_capacitance
    # Below critical damping the inductance sets the gate's pace, not the resistance.
    step = max(resistance * gate, 2.0 * sqrt(inductance * gate)) / STEPS_PER_TIME_CONSTANT
    snubber = machine.bridge.snubber
    across = snubber.capacitance if snubber and snubber.place == "switch" else 0.0
    leg = _Leg(channel, resistance, inductance, low, link, across, step, machine.switch.bipolar)
    return _table(leg, machine.switch.ratings.pulsed_current, drive.voltage_on)


@lru_cache(maxsize=32)  # edges, losses and delays of one machine ask for the same table
def _table(leg: _Leg, top: float, high: float) -> TurnOff:
    """The turn-offs of a leg up to a current [A], its gate beginning at a voltage [V]."""
    step, link = leg.step, leg.link
    current = top * np.linspace(0.0, 1.0, CURRENTS + 1) ** 2
    gate, drain = np.full_like(current, high), np.zeros_like(current)
    drive = np.zeros_like(current)
    energy, half_way = np.zeros_like(current), np.full_like(current, np.inf)
    arrival, stored = half_way, leg.stored(current)
    steps = STEPS + leg.tail_steps
    for k in range(steps):
        half_way = np.where((drain >= 0.5 * link) & np.isinf(half_way), k * step, half_way)
        arrival = np.where((drain >= ARRIVED * link) & np.isinf(arrival), k * step, arrival)
        tail = leg.tail(stored, drain)
        gate, drain, drive, lost, fed = leg.advance(current - tail, gate, drain, drive)
        stored = leg.decayed(stored, fed)
        energy += lost + tail * drain * step
    passed = leg.charge(drain)
    half, whole = (float(leg.charge(np.array(x * link))) for x in (0.5, ARRIVED))
    half_way = _rest(half_way, half - passed, current, steps * step)
    arrival = _rest(arrival, whole - passed, current, steps * step)
    for column in (current, energy, half_way, arrival):
        column.setflags(write=False)
    return TurnOff(current, energy, half_way, arrival, half, whole)


def _rest(times: Array, charge: Array, current: Array, integrated: float) -> Array:
    """Times [s], those not reached within the time integrated [s] by the charge that is left [C].

    t = t_integrated + Q/i: the gate is off then, and the channel carries nothing.
    """
    flowing = current > 0.0
    later = integrated + charge / np.where(flowing, current, 1.0)
    return np.where(np.isinf(times) & flowing, later, times)


@dataclass(frozen=True)
class _Leg:
    """Outgoing switch with what hangs on its node."""

    channel: Channel
    gate_resistance: float
    gate_inductance: float
    low: float
    link: float
    across: float
    step: float
    bipolar: Bipolar | None = None
    """Of an IGBT, whose charge goes on carrying current when the channel is off."""

    @property
    def tail_steps(self) -> int:
        """Steps more that a tail takes [1]."""
        if self.bipolar is None:
            return 0
        return min(int(TAILS * self.bipolar.lifetime / self.step), MOST_TAIL_STEPS)

    def stored(self, current: Array) -> Array:
        """Charge of a switch that has conducted a current [A], in [C]."""
        if self.bipolar is None:
            return np.zeros_like(current)
        return current * self.bipolar.lifetime / (1.0 + gain(self.bipolar, 0.0))

    def tail(self, stored: Array, drain: Array) -> Array:
        """Bipolar current of a charge [C] at a collector voltage [V], in [A]."""
        if self.bipolar is None:
            return np.zeros_like(stored)
        return stored / (self.bipolar.transit_time * base_share(self.bipolar, drain))

    def decayed(self, stored: Array, fed: Array) -> Array:
        """The charge a step later, fed by the channel's current [A]."""
        if self.bipolar is None:
            return stored
        tau = self.bipolar.lifetime
        return tau * fed + (stored - tau * fed) * exp(-self.step / tau)

    def advance(
        self, current: Array, gate: Array, drain: Array, drive: Array
    ) -> tuple[Array, Array, Array, Array, Array]:
        """Gate and drain voltage and gate current a step later, linearly implicit, and the
        channel's loss [J] and current [A].

        (C_gs + C_gd) dv_g - C_gd dv_d = i_g dt, L di_g = (V_low - v_g - R i_g) dt, and at the node
        (C_node + C_gd) dv_d - C_gd dv_g = (I - i_channel) dt.
        """
        channel, step = self.channel, self.step
        flow, by_gate, by_drain = channel_current(channel, gate, drain)
        cgd = gate_drain_capacitance(channel, gate - drain)
        node = self._node(drain)
        # The inductance over one step: a resistor, and a source for the current it had.
        lead = self.gate_inductance / step
        whole = self.gate_resistance + lead
        g11 = channel.gate_source_capacitance + cgd + step / whole
        g21, g22 = step * by_gate - cgd, node + cgd + step * by_drain
        into_gate = (self.low - gate + lead * drive) / whole * step
        into_node = (current - flow) * step
        det = g11 * g22 + cgd * g21
        after_gate = gate + (into_gate * g22 + cgd * into_node) / det
        after_drain = drain + (g11 * into_node - g21 * into_gate) / det
        after_drive = (self.low - after_gate + lead * drive) / whole
        held = np.clip(after_drain, 0.0, self.link)
        return after_gate, held, after_drive, flow * drain * step, flow

    def _node(self, drain: Array) -> Array:
        """Capacitance at the node but for the outgoing switch's to its gate [F]."""
        channel = self.channel
        return np.asarray(
            drain_source_capacitance(channel, drain)
            + drain_source_capacitance(channel, self.link - drain)
            + gate_drain_capacitance(channel, drain - self.link)
            + 2.0 * self.across
        )

    def charge(self, drain: Array) -> Array:
        """Charge that takes the node from zero to a voltage with the gate off [C]."""
        at = self.link * np.linspace(0.0, 1.0, GRID + 1) ** 2
        slope = self._node(at) + gate_drain_capacitance(self.channel, self.low - at)
        steps = 0.5 * (slope[1:] + slope[:-1]) * np.diff(at)
        return np.interp(drain, at, np.concatenate(([0.0], np.cumsum(steps))))
