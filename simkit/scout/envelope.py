"""A whole event, half period by half period, on the linear plant with its time-varying coil.

Coil inductance and resistance, link voltage and drive frequency change during the event. Link and
frequency are held over a half period, L and R over a quarter period at their values in its
middle; where they step, the fluxes and capacitor voltages are continuous, so that what a moving
piece does to the coil, d(L i)/dt, is kept, and the work done is counted: E(after) - E(before) at
constant flux. Steps a quarter period apart see sin^2 and cos^2 of a sinusoidal current, whose sum
is the same at any phase; steps at half periods alone would all fall on the same phase. The march
starts in steady state, found by solving, not by ringing up.

A fast model: it tells where the worst cycles are and with which states to start a circuit run
there; it gives no verdict. Left out: diode drops and recovery, ringing of the power loop, the
sag of the link under load. Valid while L and R change by little within one half period.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.errors import Unworkable
from simkit.parameters.bridge import FORMS
from simkit.scout.course import Conditions, as_function, half_period_starts, values_at
from simkit.scout.edgeloss import EdgeLosses
from simkit.scout.halfwave import Edges, Piece, half_period, modes_of
from simkit.scout.march import Halves, March, State, measure
from simkit.scout.plant import Array, Network, Plant, network
from simkit.scout.steady import IDEAL, RESONANT_SHARE, periodic

QUIET_SHARE = 0.6
"""Where in a half period nothing switches and fast states are at rest: 0.30 of the period."""


@dataclass(frozen=True)
class Cycles:
    """Arrays with one entry per full cycle.

    Fields
    ------
    time : start of the cycle (start of its positive half) [s]
    coil_current_peak, bank_voltage_peak, primary_current_peak : [A] [V] [A]
    turn_off_current : smaller of the two half periods', positive when lagging [A]
    turn_on_current : the same when the opposite pair turns on; negative: forced recovery [A]
    mode : 1 inductive, 0 resonant, -1 capacitive (see `steady.mode_of`)
    supply_current : average out of the link [A], what the edges take included when known
    switch_current_peak : estimate of the channel's, recovery current included when known [A]
    recovery_slope : of the current that is forced out of a diode [A/s], zero when not known
    magnetising_current_peak : [A]
    primary_current_rms : [A]
    bridge_loss : of all switches, what the edges take included when known [W]
    """

    time: Array
    coil_current_peak: Array
    bank_voltage_peak: Array
    primary_current_peak: Array
    turn_off_current: Array
    turn_on_current: Array
    mode: Array
    supply_current: Array
    switch_current_peak: Array
    recovery_slope: Array
    magnetising_current_peak: Array
    primary_current_rms: Array
    bridge_loss: Array


@dataclass(frozen=True)
class Energy:
    """Energy over the whole march [J]; supplied + work = lost + stored, to the residual.

    Fields: supplied out of the bridge; work done on the network by the change of inductance;
    lost in all resistances, coil: the part of it in the coil; stored: gain of the stores;
    residual: relative to what was supplied [1].
    """

    supplied: float
    work: float
    lost: float
    coil: float
    stored: float
    residual: float


@dataclass(frozen=True)
class Event:
    """The march over an event.

    Fields
    ------
    plant, conditions, edges : what was marched
    cycles : arrays per cycle
    energy : the balance
    start_residue : what keeps the start from being periodic, relative to the state [1]
    starts : times at which half periods begin [s], one more than there are
    memory : time in which the tank forgets, 2L/R of the whole loop, per cycle [s]
    """

    plant: Plant
    conditions: Conditions
    edges: Edges
    cycles: Cycles
    energy: Energy
    start_residue: float
    starts: Array
    memory: Array
    _march: March

    def phase_at(self, time: float) -> float:
        """Phase of the drive at a time [periods], straight within each half period."""
        return float(0.5 * np.interp(time, self.starts, np.arange(len(self.starts))))

    def quiet_time(self, time: float) -> float:
        """Latest time at or before the given one [s] at which nothing switches."""
        half = 0.5 / float(as_function(self.conditions.frequency)(0.0))
        first = self.starts[0] + QUIET_SHARE * half
        if time < first:
            return float(first - half * np.ceil((first - time) / half))
        quiet = self.starts[:-1] + QUIET_SHARE * np.diff(self.starts)
        return float(quiet[np.searchsorted(quiet, time, side="right") - 1])

    def state_at(self, time: float) -> State:
        """Slow states at a time [s] up to the end; before zero the steady operation goes on."""
        return self._march.state_at(time, self.phase_at)


def _run(plant: Plant, conditions: Conditions, edges: Edges, starts: Array) -> tuple[March, float]:
    """March all half periods; folded states, see `halfwave`."""
    turn_offs = starts - edges.lead
    durations = np.diff(turn_offs)
    if edges.dead_time >= np.min(durations):
        at = f"{5e-4 / float(np.min(durations)):.4g} kHz"
        raise Unworkable(f"drive.dead_time fills the half period at {at}")
    link = values_at(conditions.supply_voltage, turn_offs[:-1] + 0.5 * durations)
    quarters = (turn_offs[:-1, None] + np.outer(durations, (0.25, 0.75))).ravel()
    net = network(
        plant,
        values_at(conditions.inductance, quarters),
        values_at(conditions.resistance, quarters),
    )
    modes = modes_of(net)
    levels = link * plant.level_share
    scale = 1.0 / np.sqrt(np.diagonal(net.energy[0]))
    y, residue = periodic(modes[0], float(levels[0]), float(durations[0]), edges, scale)
    rest = _rest_steps(plant, net, link)
    pieces: list[Piece] = []
    owner: list[int] = []
    folded = [y]
    for k, (level, duration) in enumerate(zip(levels.tolist(), durations.tolist(), strict=True)):
        mode, later = modes[2 * k], modes[2 * k + 1]
        new, end = half_period(mode, mode.inverse @ (y + rest[k]), level, duration, edges, later)
        pieces += new
        owner += [2 * k] * (len(new) - 1) + [2 * k + 1]
        y = -(later.vectors @ end).real
        folded.append(y)
    owners = np.array(owner, dtype=np.intp)
    return March(net, modes, link, levels, turn_offs, pieces, owners, np.array(folded)), residue


def _rest_steps(plant: Plant, net: Network, link: Array) -> Array:
    """What a step of the link does to the folded state: a blocking capacitor at Vdc/2 keeps its
    charge while its rest moves, so that its deviation moves the other way."""
    steps = np.zeros((len(link), len(net.states)))
    rest = FORMS[plant.bridge].rest_share
    if rest:
        signs = (-1.0) ** (np.arange(1, len(link)) + 1)
        steps[1:, net.states.index("blocking_voltage")] = -rest * np.diff(link) * signs
    return steps


def _energy(march: March, halves: Halves, rest: Array) -> Energy:
    """Balance; the work is what the stored energy steps by where L steps, at constant flux."""
    late = [p for p, q in zip(march.pieces, march.owner.tolist(), strict=True) if q % 2]
    middles = [(m.vectors @ p.z).real for m, p in zip(march.modes[1::2], late, strict=True)]
    begins = np.zeros((len(march.modes), march.folded.shape[1]))
    ends = np.zeros_like(begins)
    begins[::2], ends[1::2] = march.folded[:-1] + rest, march.folded[1:]
    begins[1::2] = ends[::2] = np.array(middles)
    before, after = (
        0.5 * np.einsum("ni,nij,nj->n", x, march.net.energy, x) for x in (begins, ends)
    )
    work = float(np.sum(before[1:] - after[:-1]))
    supplied, lost = float(np.sum(halves.supplied)), float(np.sum(halves.lost))
    stored = float(after[-1] - before[0])
    return Energy(
        supplied=supplied,
        work=work,
        lost=lost,
        coil=float(np.sum(halves.coil_lost)),
        stored=stored,
        residual=(supplied + work - lost - stored) / supplied if supplied else 0.0,
    )


def cycles_of(
    march: March,
    halves: Halves,
    starts: Array,
    losses: EdgeLosses | None,
) -> Cycles:
    """What each full cycle holds."""

    def both(values: Array) -> Array:
        return values[: len(values) // 2 * 2].reshape(-1, 2)

    primary, off = both(halves.primary).max(1), both(halves.off).min(1)
    on = both(halves.on).min(1)
    forced = np.maximum(-on, 0.0)
    taken, slope = np.zeros_like(march.links), np.zeros_like(on)
    conducted = np.zeros_like(on)
    recovered = forced
    if losses is not None:
        taken = losses.energy(halves.off, halves.on, halves.left * march.links, march.links)
        recovered = forced + losses.takeover(off, on).reverse_peak
        slope = losses.slope(on)
        conducted = losses.on_resistance * both(halves.square).sum(1)
    begin = starts[:-1:2]
    charge = both((halves.supplied + taken) / march.links).sum(1)
    period = starts[2::2] - begin
    return Cycles(
        time=begin,
        coil_current_peak=both(halves.coil).max(1),
        bank_voltage_peak=both(halves.tank).max(1),
        primary_current_peak=primary,
        turn_off_current=off,
        turn_on_current=on,
        mode=np.where(np.abs(off) <= RESONANT_SHARE * primary, 0.0, np.sign(off)),
        supply_current=charge / period,
        switch_current_peak=np.maximum(both(halves.forward).max(1), recovered),
        recovery_slope=slope,
        magnetising_current_peak=both(halves.magnetising).max(1),
        primary_current_rms=np.sqrt(both(halves.square).sum(1) / period),
        bridge_loss=(conducted + both(taken).sum(1)) / period,
    )


def march(
    plant: Plant,
    conditions: Conditions,
    edges: Edges = IDEAL,
    losses: EdgeLosses | None = None,
) -> Event:
    """March a plant through an event; the plant's own L, R and Vdc give way to the conditions'.

    What the edges take, and the recovery's part of the switch current, come from `losses`.

    Raises ValueError for a dead time that fills a half period, courses whose times fall, or a
    network that cannot be taken apart.
    """
    plant = replace(
        plant,
        coil_inductance=as_function(conditions.inductance)(0.0),
        coil_resistance=as_function(conditions.resistance)(0.0),
        supply_voltage=as_function(conditions.supply_voltage)(0.0),
    )
    starts = half_period_starts(conditions)
    raw, residue = _run(plant, conditions, edges, starts)
    halves = measure(raw, edges)
    fastest = [m.rates[np.argmax(np.abs(m.rates.imag))] for m in raw.modes[::4]]
    rest = _rest_steps(plant, raw.net, raw.links)
    return Event(
        plant=plant,
        conditions=conditions,
        edges=edges,
        cycles=cycles_of(raw, halves, starts, losses),
        energy=_energy(raw, halves, rest),
        start_residue=residue,
        starts=starts,
        memory=np.array([-1.0 / min(r.real, -1e-300) for r in fastest]),
        _march=raw,
    )
