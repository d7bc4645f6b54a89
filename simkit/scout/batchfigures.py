"""What the instruments would show, from the pieces of many periodic solutions at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from simkit.scout.batch import Cases, Index, Pieces
from simkit.scout.drive import GateDelays
from simkit.scout.forced import Forcing, diode_share, diode_voltage, topping_charge
from simkit.scout.halfwave import Complex, phi
from simkit.scout.plant import OUTPUTS, Array, Network
from simkit.scout.steady import vertex
from simkit.scout.turnoff import ARRIVED, TurnOff

if TYPE_CHECKING:
    from simkit.parameters.machine import Machine

MAIN_POINTS = 65
"""Samples of the main stretch (odd, for Simpson's rule)."""
EDGE_POINTS = 5
"""Samples of each piece of the dead time."""
CLEAN = 0.1
"""Share of the link that may be left across a switch that turns on, for zero voltage [1]."""


@dataclass(frozen=True)
class Samples:
    """Samples of pieces; axes: output if any, case, piece, sample.

    Fields: time since the turn-off [s], Simpson weight [s], bridge voltage [V], outputs by name
    [A] or [V], power lost in the plant [W].
    """

    time: Array
    weight: Array
    voltage: Array
    outputs: dict[str, Array]
    lost: Array


def sampled(c: Cases, p: Pieces, net: Network, which: Index, chosen: slice, points: int) -> Samples:
    """Exact samples at even distances in some of the pieces."""
    shares = np.linspace(0.0, 1.0, points)
    simpson = np.ones(points)
    simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
    simpson /= 3.0 * (points - 1)
    duration, start, slope = (a[:, chosen, None] for a in (p.duration, p.voltage, p.slope))
    time = duration * shares
    x: Complex = np.asarray(c.rates[:, None, None, :] * time[..., None])
    first, second = phi(x)
    push = (start * time)[..., None] * first + (slope * time**2)[..., None] * second
    z = np.exp(x) * p.z[:, chosen, None, :] + c.drive[:, None, None, :] * push
    state = np.einsum("bpsj,bij->bpsi", z, c.vectors, optimize=True).real
    voltage = start + slope * time
    rows = np.einsum("bpsj,bij->ibps", state, net.c[which], optimize=True)
    outputs = dict(zip(OUTPUTS, rows, strict=True))
    rate = np.einsum("bpsj,bj->bps", state, _coil_rate(net)[which], optimize=True)
    outputs["coil_current_rate"] = (
        rate + (net.c[:, OUTPUTS.index("coil_current")] @ net.b)[which][:, None, None] * voltage
    )
    lost = np.einsum("bpsi,bij,bpsj->bps", state, net.loss[which], state, optimize=True)
    return Samples(p.start[:, chosen, None] + time, duration * simpson, voltage, outputs, lost)


def _coil_rate(net: Network) -> Array:
    """Row that gives di/dt of the coil from the state [A/s]; a row per network."""
    row: Array = np.einsum("ni,nij->nj", net.c[:, OUTPUTS.index("coil_current")], net.a)
    return row


@dataclass(frozen=True)
class Subject:
    """What the figures are of: machine, networks, which of them each case has, and the cases' own
    frequency [Hz], link voltage [V], commanded dead time [s], coil L [H] and R [ohm];
    the switch's turn-offs per source voltage, and which of them each case has."""

    machine: Machine
    net: Network
    which: Index
    forcing: Forcing
    delays: GateDelays
    frequency: Array
    link: Array
    dead_time: Array
    inductance: Array
    resistance: Array
    on_resistance: Array
    turn_offs: tuple[TurnOff, ...]
    turn_off_of: Index

    def turn_off(self, ask: Callable[[TurnOff, Array], Array], current: Array) -> Array:
        """What the table of each case's own source voltage says about its current [A]."""
        rows = np.stack([ask(table, current) for table in self.turn_offs])
        return np.asarray(np.take_along_axis(rows, self.turn_off_of[None, :], axis=0)[0])

    @property
    def legs(self) -> int:
        """Legs of the bridge [1]."""
        return self.machine.bridge.legs


def figures(s: Subject, c: Cases, p: Pieces) -> dict[str, Array]:
    """Figures by name, an array over the cases each; "stored" is the charge in a diode that is
    about to be forced off [C]."""
    main = sampled(c, p, s.net, s.which, slice(-1, None), MAIN_POINTS)
    edge = sampled(c, p, s.net, s.which, slice(0, -1), EDGE_POINTS)
    both = _Both(main, edge, c.duration)
    out = _currents_and_voltages(s, both)
    out |= _edges(s, c, p)
    out |= _powers(s, c, p, both, out)
    return out


@dataclass(frozen=True)
class _Both:
    """Main stretch and edges together."""

    main: Samples
    edge: Samples
    duration: Array

    def mean(self, make: Callable[[Samples], Array]) -> Array:
        """Mean over the half period of what a function makes of samples."""
        total = sum(np.sum(x.weight * make(x), axis=(1, 2)) for x in (self.main, self.edge))
        return np.asarray(total / self.duration)

    def peak(self, name: str) -> Array:
        """Largest magnitude of an output."""
        main = vertex(np.abs(self.main.outputs[name][:, 0]))
        edge = np.abs(self.edge.outputs[name]).max(axis=(1, 2))
        return np.asarray(np.maximum(main, edge))

    def rms(self, name: str) -> Array:
        """Root mean square of an output."""
        return np.asarray(np.sqrt(self.mean(lambda part: part.outputs[name] ** 2)))


def _currents_and_voltages(s: Subject, both: _Both) -> dict[str, Array]:
    shunt = 1.0 if s.machine.tank.feed == "shunt" else 0.0
    for part in (both.main, both.edge):
        out = part.outputs
        out["coil_voltage"] = (
            s.inductance[:, None, None] * out["coil_current_rate"]
            + s.resistance[:, None, None] * out["coil_current"]
        )
        out["bank_current"] = out["load_current"] - shunt * out["coil_current"]
    transformer = s.machine.transformer
    magnetising = both.peak("magnetising_current")
    linked = transformer.primary_turns * transformer.core_area
    return {
        "tank_voltage_peak": both.peak("coil_voltage"),
        "bank_voltage_peak": both.peak("capacitor_voltage"),
        "bank_voltage_rms": both.rms("capacitor_voltage"),
        "bank_current_rms": both.rms("bank_current"),
        "coil_current_peak": both.peak("coil_current"),
        "coil_current_rms": both.rms("coil_current"),
        "primary_current_peak": both.peak("primary_current"),
        "primary_current_rms": both.rms("primary_current"),
        "magnetising_current_peak": magnetising,
        "flux_peak": transformer.magnetising_inductance * magnetising / linked,
        "phase": _phase(s, both),
    }


def _phase(s: Subject, both: _Both) -> Array:
    """Lag of the current's fundamental behind the voltage's [deg]."""

    def fundamental(values: Callable[[Samples], Array]) -> Complex:
        def part(which: Samples) -> Complex:
            turn = np.exp(-2j * pi * s.frequency[:, None, None] * which.time)
            return np.asarray(np.sum(which.weight * turn * values(which), axis=(1, 2)))

        return np.asarray(part(both.main) + part(both.edge))

    voltage = fundamental(lambda x: x.voltage)
    current = fundamental(lambda x: x.outputs["primary_current"])
    return np.asarray(np.degrees(np.angle(voltage / current)))


def _edges(s: Subject, c: Cases, p: Pieces) -> dict[str, Array]:
    """Currents at command and turn-on, and how the node swings between them."""
    flat = np.zeros_like(c.duration)
    # The command comes earlier than the gate's crossing, still in the half period before.
    since = p.duration[:, -1] - s.delays.off
    before = c.step(p.z[:, -1], since, -c.level, flat)
    turn_on = c.current(p.z[:, -2])
    turn_off = -c.current(before)
    node = p.voltage[:, -2]
    missing = 0.5 * (node / c.level + 1.0) * s.link
    forced = np.maximum(-turn_on, 0.0)
    return {
        "turn_off_current": turn_off,
        "turn_on_current": turn_on,
        "forced_current": forced,
        "missing_voltage": missing,
        "dead_time_needed": _needed(s, c, p, turn_off),
        "dead_time_available": s.dead_time + s.delays.on,
        "zero_voltage": missing < CLEAN * s.link,
    }


def _needed(s: Subject, c: Cases, p: Pieces, turn_off: Array) -> Array:
    """Time from the off command until the node has covered 90 % of its way [s]."""
    ends = p.voltage[:, :-1] + p.slope[:, :-1] * p.duration[:, :-1]
    goal = (1.0 - 2.0 * ARRIVED) * c.level[:, None]
    there = ends <= goal
    first = np.argmax(there, axis=1)
    rows = np.arange(len(first))
    start, slope = p.voltage[rows, first], np.minimum(p.slope[rows, first], -1e-300)
    time = p.start[rows, first] + np.maximum((goal[:, 0] - start) / slope, 0.0)
    alone = np.where(there.any(axis=1), s.delays.off + time, np.inf)
    # With plenty of current the gate sets the pace, not the output charge.
    slowed = s.turn_off(TurnOff.arrival_at, turn_off)
    return np.where(np.isfinite(alone) & np.isfinite(slowed), np.maximum(alone, slowed), alone)


def _powers(
    s: Subject, c: Cases, p: Pieces, both: _Both, found: dict[str, Array]
) -> dict[str, Array]:
    """Losses of the bridge, and what the link delivers."""
    plant = both.mean(lambda part: part.voltage * part.outputs["primary_current"])
    on, duration = s.legs * s.on_resistance, c.duration
    diode, in_place_of = _dead_time_losses(s, both, on)
    stored = _stored(s, c, p, both.main)
    over = s.forcing.takeover(found["forced_current"], stored)
    charge = np.where(found["forced_current"] > 0.0, over.charge, 0.0)
    charge = charge + topping_charge(s.machine, s.link, found["missing_voltage"])
    turn_on = s.legs * s.link * charge / duration
    turn_off = s.legs * s.turn_off(TurnOff.energy_at, found["turn_off_current"]) / duration
    conduction = on * found["primary_current_rms"] ** 2 - in_place_of / duration
    # The plant holds the channels' resistance throughout; edges come on top.
    power = plant + (diode - in_place_of) / duration + turn_on + turn_off
    return {
        "stored": stored,
        "input_power": power,
        "supply_current": power / s.link,
        "load_power": s.resistance * found["coil_current_rms"] ** 2,
        "conduction_loss": conduction,
        "diode_loss": diode / duration,
        "turn_on_loss": turn_on,
        "turn_off_loss": turn_off,
        "bridge_loss": conduction + diode / duration + turn_on + turn_off,
    }


def _dead_time_losses(s: Subject, both: _Both, on: Array) -> tuple[Array, Array]:
    """Energy in the diodes over a dead time, and what the plant's channel resistance [ohm] takes
    there in their place [J]."""
    weight, current = both.edge.weight, np.abs(both.edge.outputs["primary_current"])
    charge = np.sum(weight * current, axis=(1, 2))
    typical = charge / np.maximum(np.sum(weight, axis=(1, 2)), 1e-300)
    diode = s.legs * diode_voltage(s.machine, typical) * charge
    return diode, on * np.sum(weight * current**2, axis=(1, 2))


def _stored(s: Subject, c: Cases, p: Pieces, main: Samples) -> Array:
    """Charge in the diode that a leading current forces off, at the turn-on [C].

    dq/dt = i - q/tau over the end of the half period, where the diode lies beside an open
    channel and takes its share, and over the dead time, where it takes all.
    """
    tau = s.forcing.lifetime
    current = main.outputs["primary_current"][:, 0]
    # Folded: the pair that is on carries a negative current forward, a positive one backward.
    step = p.duration[:, -1] / (MAIN_POINTS - 1)
    keep = np.exp(-step / tau)
    charge = np.zeros_like(step)
    for k in range(MAIN_POINTS // 2, MAIN_POINTS):
        share = diode_share(s.machine, np.maximum(current[:, k], 0.0), s.on_resistance)
        charge = charge * keep + share * tau * (1.0 - keep)
    at_rail = p.voltage[:, :-2] >= c.level[:, None] * (1.0 - 1e-9)
    for k in range(p.start.shape[1] - 2):
        keep = np.exp(-p.duration[:, k] / tau)
        flows = np.maximum(-_middle(c, p, k), 0.0) * at_rail[:, k]
        charge = charge * keep + flows * tau * (1.0 - keep)
    return charge


def _middle(c: Cases, p: Pieces, k: int) -> Array:
    """Bridge current in the middle of a piece [A]."""
    return c.current(c.step(p.z[:, k], 0.5 * p.duration[:, k], p.voltage[:, k], p.slope[:, k]))
