"""One leg of a bridge by itself, from textbook relations, integrated in time by scipy.

The outgoing switch carries the load's current, which stays constant meanwhile; the incoming one
follows a dead time later. In it are: channels by the square law (Shichman and Hodges, 1968,
recalled from memory) behind the drift region, gates as capacitances behind resistances, C_ds of a
junction, C_gd as the engine has it for a VDMOS (recalled from memory), inductances of loop and
leads, and what the common source lead takes of the driver's voltage. Left out are the gate loops'
inductance, the bulk capacitor's path, and how the load's current goes on. The netlist is not used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from simkit.parameters.machine import Machine


def gate_drain_capacitance(machine: Machine, voltage: float) -> float:
    """At a gate-drain voltage v [V], [F]: s tanh(A v) + y above zero, s atan(A v) + y below, with s
    and y such that it is C_max far above and C_min far below."""
    channel = machine.switch.channel
    low, high = channel.gate_drain_capacitance_min, channel.gate_drain_capacitance_max
    turned = channel.gate_drain_slope * voltage
    half = (high - low) / (1.0 + 0.5 * np.pi)
    return float(high - half + half * (np.tanh(turned) if voltage > 0.0 else np.arctan(turned)))


def gate_drain_charge(machine: Machine, start: float, end: float) -> float:
    """Integral of that capacitance between two gate-drain voltages [V], [C]."""
    volts = np.linspace(start, end, 4001)
    return float(np.trapezoid([gate_drain_capacitance(machine, v) for v in volts], volts))


def output_capacitance(machine: Machine, voltage: float) -> float:
    """C_ds of a junction at a drain voltage [V], [F]."""
    channel = machine.switch.channel
    reverse = max(voltage, 0.0) / channel.junction_potential
    return float(channel.output_capacitance_zero * (1.0 + reverse) ** -channel.junction_grading)


def channel_current(machine: Machine, gate: float, drain: float) -> float:
    """Square law with its triode part behind the drift region [A], gate and drain against source
    [V]: what the channel itself drops solves K (u - d/2) d = (V_DS - d)/R_D, at most u."""
    channel = machine.switch.channel
    above = gate - channel.threshold
    if above <= 0.0 or drain <= 0.0:
        return 0.0
    steep = channel.transconductance * channel.drain_resistance
    middle = steep * above + 1.0
    rest = middle**2 - 2.0 * steep * drain
    drop = min((middle - np.sqrt(rest)) / steep, above) if rest > 0.0 else above
    return float(channel.transconductance * (above - 0.5 * drop) * drop)


@dataclass(frozen=True)
class Commutation:
    """What an edge costs."""

    shoot_through: float
    """Integral of the smaller of the two channels' currents [C]."""
    outgoing_loss: float
    """Integral of the outgoing channel's voltage times its current [J]."""
    incoming_loss: float
    """The same of the incoming one [J]."""
    delay: float
    """From the off command until the outgoing switch has 90 % of the link [s]."""


@dataclass(frozen=True)
class Leg:
    """A leg of a machine at one edge."""

    machine: Machine
    dead_time: float
    """[s]"""
    link: float
    """[V]"""
    current: float
    """Of the load, which the outgoing switch carries [A]."""

    def driver(self, time: float, on: bool) -> float:
        """The driver's voltage before its resistance, its edge from full to zero or back [V]."""
        drive = self.machine.drive
        middle = self.dead_time if on else 0.0
        share = float(np.clip(0.5 + (time - middle) / drive.edge_time, 0.0, 1.0))
        return drive.voltage_on * (share if on else 1.0 - share)

    def slope(self, time: float, state: np.ndarray) -> list[float]:
        """Derivatives of loop and lead current [A] and both switches' gate and drain [V]."""
        machine = self.machine
        damped, current, *volts = state
        loop = machine.bridge.loop_damping * (current - damped)
        package = machine.switch.package
        lead = package.drain_inductance + package.common_source_inductance
        leads = 2.0 * (lead + package.source_inductance) + machine.supply.film.esl
        rising = (self.link - loop - volts[1] - volts[3]) / leads
        slopes = [loop / machine.bridge.loop_inductance, rising]
        carried = (current + self.current, current)
        for k, on in enumerate((False, True)):
            gate, drain = volts[2 * k], volts[2 * k + 1]
            slopes += self.chip(self.driver(time, on), gate, drain, carried[k], rising)
        return slopes

    def chip(
        self, driver: float, gate: float, drain: float, current: float, rising: float
    ) -> tuple[float, float]:
        """How gate and drain of one switch go [V/s]: Kirchhoff at both of its nodes."""
        machine, channel = self.machine, self.machine.switch.channel
        left = driver - gate - machine.switch.package.common_source_inductance * rising
        drive = machine.drive
        own = drive.source_resistance if left > 0.0 else drive.sink_resistance
        into_gate = left / (own + drive.gate_resistor + channel.gate_resistance)
        diode = 50.0 * max(-drain - 0.8, 0.0)
        into_drain = current - channel_current(machine, gate, drain) + diode
        between = gate_drain_capacitance(machine, gate - drain)
        at_gate = channel.gate_source_capacitance + between
        at_drain = output_capacitance(machine, drain) + between
        whole = at_gate * at_drain - between**2
        return (
            (into_gate * at_drain + into_drain * between) / whole,
            (into_drain * at_gate + into_gate * between) / whole,
        )

    def run(self) -> Commutation:
        """Through the edge, on a grid of 0.1 ns."""
        machine = self.machine
        end = max(self.dead_time, 0.0) + 0.6e-6
        grid = np.linspace(-5e-8, end, int((end + 5e-8) / 1e-10))
        on = self.current / machine.switch.channel.transconductance
        drop = on / (machine.drive.voltage_on - machine.switch.channel.threshold)
        start = [0.0, 0.0, machine.drive.voltage_on, drop, 0.0, self.link - drop]
        done = solve_ivp(
            self.slope, (grid[0], grid[-1]), start, "LSODA", grid, rtol=1e-6, atol=1e-6,
            max_step=1e-9,
        )  # fmt: skip
        pairs = [(done.y[2 * k], done.y[2 * k + 1]) for k in (1, 2)]
        out, into = (
            np.array([channel_current(machine, g, d) for g, d in zip(*p, strict=True)])
            for p in pairs
        )
        risen = np.flatnonzero(pairs[0][1] > 0.9 * self.link)
        return Commutation(
            float(np.trapezoid(np.minimum(out, into), grid)),
            float(np.trapezoid(out * pairs[0][1], grid)),
            float(np.trapezoid(into * pairs[1][1], grid)),
            float(grid[risen[0]]),
        )
