"""Operating points and maps by the fast model: what the instruments would show, in milliseconds.

The exact periodic solution of the linear plant between its switching edges (`batch`), the edges as
gates, output charges and body diodes make them (`drive`, `forced`), the link sagging behind the
source's resistance. A fast model: good for finding one's way (a live page, a map, a choice of
values); it gives no verdict. Its measured error against circuit runs is in `docs/numerics.md`.

Left out: ringing of the power loop, heating of the channel, harmonics of the link.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import asin, nan, pi
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from simkit.errors import Unworkable
from simkit.parts.igbt import conducting_resistance
from simkit.scout.batch import Index, cases, periodic
from simkit.scout.batchfigures import Subject, figures
from simkit.scout.drive import LEAST, gate_delays
from simkit.scout.forced import forcing
from simkit.scout.halfwave import modes_of
from simkit.scout.plant import Array, network, plant_from_machine, swing_charge
from simkit.scout.turnoff import turn_off

if TYPE_CHECKING:
    from simkit.parameters.machine import Load, Machine

Mode = Literal["inductive", "resonant", "capacitive"]

SAG_ROUNDS = 3
"""How often the link's sag, the charge of the diodes and the intake are brought into agreement
[1]: a bridge takes current in proportion to its link, which solves the sag at once; edges leave a
hundredth of that for each round."""
CONVERGED = 1e-4
"""Largest residue of a case whose figures are given [1]: a hundredth of the model's own error."""


@dataclass(frozen=True)
class Case:
    """One point of a map.

    Fields: load in the coil; frequency [Hz]; dead_time [s] and supply_voltage [V], the machine's
    own where None.
    """

    load: Load
    frequency: float
    dead_time: float | None = None
    supply_voltage: float | None = None


@dataclass(frozen=True)
class OperatingPoint:
    """Steady operation at one frequency; every figure is NaN where `converged` is False.

    Fields
    ------
    frequency, resonant_frequency : drive, and where voltage and current are in phase [Hz]
    dead_time : commanded [s]
    supply_voltage : no-load voltage of the source [V]
    link_voltage : what is left of it at the bridge [V]
    mode : by the currents at turn-off and turn-on, as `measure.commutation` has it
    phase : lag of the primary current's fundamental behind the bridge voltage's [deg]
    loaded_q : 2 pi f0 L/R at the coil [1]
    tank_voltage_peak : across the coil [V]
    bank_voltage_peak, bank_voltage_rms : across the capacitor bank [V]
    bank_current_rms : through the whole bank [A]
    coil_current_peak, coil_current_rms : [A]
    primary_current_peak, primary_current_rms : bridge output [A]
    turn_off_current : primary current at the off command, positive when lagging [A]
    turn_on_current : when the other pair's gates pass threshold, same sign [A]
    dead_time_needed : from the off command until the node has covered 90 % of its way [s];
        infinity when it only gets there after the other switch has turned on
    dead_time_available : from the off command until that turn-on [s]
    zero_voltage : whether less than a tenth of the link is left across the switch then
    supply_current : average into the bridge [A]
    input_power : into the bridge [W]
    load_power : in the coil and what it heats [W]
    conduction_loss, diode_loss, turn_on_loss, turn_off_loss : of all switches together [W]
    bridge_loss : their sum [W]
    flux_peak : in the transformer's core [T]; magnetising_current_peak [A]
    residue : what keeps the solution from being periodic, relative to the state [1]
    converged : whether the residue is small enough for the figures to count
    """

    frequency: float
    resonant_frequency: float
    dead_time: float
    supply_voltage: float
    link_voltage: float
    mode: Mode
    phase: float
    loaded_q: float
    tank_voltage_peak: float
    bank_voltage_peak: float
    bank_voltage_rms: float
    bank_current_rms: float
    coil_current_peak: float
    coil_current_rms: float
    primary_current_peak: float
    primary_current_rms: float
    turn_off_current: float
    turn_on_current: float
    dead_time_needed: float
    dead_time_available: float
    zero_voltage: bool
    supply_current: float
    input_power: float
    load_power: float
    conduction_loss: float
    diode_loss: float
    turn_on_loss: float
    turn_off_loss: float
    bridge_loss: float
    flux_peak: float
    magnetising_current_peak: float
    residue: float
    converged: bool

    @property
    def reversal(self) -> float:
        """From the off command until the current reverses [s]: asin(I_off/I_peak)/(2 pi f).

        The zero of a sine of that peak which passes the turn-off current; zero when it leads.
        """
        if not self.converged:
            return nan
        share = self.turn_off_current / self.primary_current_peak
        return asin(min(max(share, 0.0), 1.0)) / (2.0 * pi * self.frequency)


def operating_point(
    machine: Machine, load: Load, frequency: float, supply_voltage: float | None = None
) -> OperatingPoint:
    """Operating point of a machine with a load in the coil at a drive frequency [Hz].

    The source's no-load voltage is the machine's own unless given [V]. NaN for what a
    current through both switches of a leg decides, where their gates leave nothing of the dead
    time. Raises ValueError for a frequency or voltage not above zero, Unworkable for a dead time
    that fills the half period.
    """
    return operating_cases(machine, [Case(load, frequency, None, supply_voltage)])[0]


def operating_map(
    machine: Machine,
    load: Load,
    frequencies: Sequence[float] | Array,
    supply_voltage: float | None = None,
    dead_time: float | None = None,
) -> tuple[OperatingPoint, ...]:
    """Operating points of one load over drive frequencies [Hz], in their order; errors as there."""
    row = [Case(load, float(f), dead_time, supply_voltage) for f in frequencies]
    return operating_cases(machine, row)


def operating_cases(machine: Machine, wanted: Sequence[Case]) -> tuple[OperatingPoint, ...]:
    """Operating points of any cases of one machine, in their order; errors as there."""
    if not wanted:
        return ()
    return Solver(machine, wanted).points()


SHOT_THROUGH = ("supply_current", "input_power", "turn_on_loss", "bridge_loss")
"""What the current through both switches of a leg decides, where their gates overlap: not known."""


class Solver:
    """One batch; everything is an array over the cases."""

    def __init__(self, machine: Machine, wanted: Sequence[Case]) -> None:
        drive, supply = machine.drive, machine.supply
        self.machine = machine
        self.frequency = np.array([c.frequency for c in wanted])
        self.source = np.array([_own(c.supply_voltage, supply.voltage) for c in wanted])
        self.dead = np.array([_own(c.dead_time, drive.dead_time) for c in wanted])
        self.delays = gate_delays(machine)
        left = self.dead - self.delays.off + self.delays.on
        self.overlap, self.seen = left <= 0.0, np.maximum(left, LEAST)
        self._refuse()
        loads, self.which = _distinct([c.load for c in wanted])
        self.on_resistance = np.full(len(wanted), on_resistance(machine))
        self.plant = plant_from_machine(machine, loads[0])
        self.inductance = np.array([load.inductance for load in loads])
        self.resistance = np.array([load.resistance for load in loads])
        self.net = network(self.plant, self.inductance, self.resistance)
        self.modes = modes_of(self.net)
        self.forcing = forcing(machine)
        voltages, self.voltage_of = np.unique(self.source, return_inverse=True)
        charges = np.array([swing_charge(machine, v) for v in voltages.tolist()])
        self.charge = charges[self.voltage_of]
        self.turn_offs = tuple(turn_off(machine, v) for v in voltages.tolist())

    def _refuse(self) -> None:
        for name, values in (("frequency", self.frequency), ("supply_voltage", self.source)):
            if not np.all(values > 0.0):
                raise ValueError(f"{name} = {values.min()!r} must be above zero")
        filled = self.dead >= 0.5 / self.frequency
        if np.any(filled):
            at = f"{float(self.frequency[filled][0]) / 1e3:.4g} kHz"
            raise Unworkable(f"drive.dead_time fills the half period at {at}")

    def points(self) -> tuple[OperatingPoint, ...]:
        """All figures, the link sagging with what the bridge takes."""
        resistance = self.machine.supply.source_resistance
        link, stored, start = self.source, np.zeros_like(self.source), None
        for _ in range(SAG_ROUNDS):
            found, y, residue = self._solved(link, stored, start)
            after = sagged(self.source, resistance, found["supply_current"] / link)
            start, stored, used, link = y * (after / link)[:, None], found["stored"], link, after
        return self._told(found | {"link_voltage": used, "residue": residue})

    def _solved(
        self, link: Array, stored: Array, start: Array | None
    ) -> tuple[dict[str, Array], Array, Array]:
        c = cases(self.modes, self.net, self.which, link * self.plant.level_share,
                  0.5 / self.frequency, self.seen, self.charge)  # fmt: skip

        def wait(current: Array, chosen: Index) -> Array:
            return self.forcing.takeover(current, stored[chosen]).wait

        y, residue, pieces = periodic(c, wait, start)
        subject = Subject(
            self.machine, self.net, self.which, self.forcing, self.delays, self.frequency, link,
            self.dead, self.inductance[self.which], self.resistance[self.which], self.on_resistance,
            self.turn_offs, self.voltage_of,
        )  # fmt: skip
        return figures(subject, c, pieces), y, residue

    def _told(self, found: dict[str, Any]) -> tuple[OperatingPoint, ...]:
        resonant = np.array([self.machine.resonance(v) for v in self.inductance.tolist()])
        found |= {
            "frequency": self.frequency,
            "resonant_frequency": resonant[self.which],
            "dead_time": self.dead,
            "supply_voltage": self.source,
            "loaded_q": (2.0 * pi * resonant * self.inductance / self.resistance)[self.which],
            "mode": _modes(found),
            "converged": np.asarray(found["residue"] <= CONVERGED),
        }
        names = [f.name for f in fields(OperatingPoint)]
        known = ("frequency", "resonant_frequency", "dead_time", "supply_voltage", "loaded_q",
                 "residue", "converged", "mode", "zero_voltage")  # fmt: skip
        for name in names:
            if name not in known:
                found[name] = np.where(found["converged"], found[name], nan)
        for name in SHOT_THROUGH:
            found[name] = np.where(self.overlap, nan, found[name])
        rows = zip(*(found[name].tolist() for name in names), strict=True)
        return tuple(OperatingPoint(*row) for row in rows)


def on_resistance(machine: Machine) -> float:
    """On-resistance of one channel [ohm]."""
    return conducting_resistance(machine.switch, machine.drive.voltage_on)


def sagged(source: Array, resistance: Array | float, conductance: Array) -> Array:
    """What is left of a source [V] behind its resistance [ohm], V/(1 + R G) for a bridge that
    takes its current in proportion to the link, G [S], as a linear plant does.

    No less than half: beyond that a source cannot give what a bridge asks for. Source: Ohm's law.
    Range: G below zero counts as none.
    """
    left = source / (1.0 + resistance * np.maximum(conductance, 0.0))
    return np.asarray(np.maximum(left, 0.5 * source))


def _own(given: float | None, default: float) -> float:
    return default if given is None else given


def _modes(found: dict[str, Array]) -> Array:
    lags = np.where(found["turn_on_current"] > 0.0, "inductive", "resonant")
    return np.where(found["turn_off_current"] < 0.0, "capacitive", lags)


def _distinct(loads: Sequence[Load]) -> tuple[list[Load], Index]:
    """Different loads, and which of them each case has."""
    keys = [(load.inductance, load.resistance) for load in loads]
    first = {key: k for k, key in reversed(list(enumerate(keys)))}
    order = {key: k for k, key in enumerate(first)}
    return [loads[k] for k in first.values()], np.array([order[key] for key in keys], dtype=np.intp)
