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

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from simkit.scout.course import Conditions, Course, as_function, half_period_starts
from simkit.scout.halfwave import Complex, Edges, Modes, Piece, half_period, modes_of, phi
from simkit.scout.plant import OUTPUTS, Array, Network, Plant, network
from simkit.scout.recovery import Recovery
from simkit.scout.steady import IDEAL, RESONANT_SHARE, periodic, vertex

Index = NDArray[np.intp]

MAIN_POINTS = 25
"""Samples of each quarter with one pair on; a sinusoid's peak is then right to 1e-6."""
EDGE_POINTS = 5
"""Samples of each piece of the dead time."""
QUIET_SHARE = 0.6
"""Where in a half period nothing switches and fast states are at rest: 0.30 of the period."""


@dataclass(frozen=True)
class Cycles:
    """Arrays with one entry per full cycle.

    Fields
    ------
    time : start of the cycle (start of its positive half) [s]
    coil_current_peak, tank_voltage_peak, primary_current_peak : [A] [V] [A]
    turn_off_current : smaller of the two half periods', positive when lagging [A]
    turn_on_current : the same when the opposite pair turns on; negative: forced recovery [A]
    mode : 1 inductive, 0 resonant, -1 capacitive (see `steady.mode_of`)
    supply_current : average out of the link [A]
    switch_current_peak : estimate of the channel's, recovery current included when known [A]
    """

    time: Array
    coil_current_peak: Array
    tank_voltage_peak: Array
    primary_current_peak: Array
    turn_off_current: Array
    turn_on_current: Array
    mode: Array
    supply_current: Array
    switch_current_peak: Array


@dataclass(frozen=True)
class State:
    """Slow states at one time, true sign, as a circuit run is seeded with them.

    Fields: time [s]; phase of the drive there [periods]; currents [A]; tank and blocking
    voltage [V], the latter as deviation from its rest; link_voltage [V].
    """

    time: float
    phase: float
    primary_current: float
    magnetising_current: float
    load_current: float
    coil_current: float
    tank_voltage: float
    blocking_voltage: float
    link_voltage: float


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
    _march: _March

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
        return self._march.state_at(time, self)


@dataclass(frozen=True)
class _March:
    """Raw result: network and modes per quarter (two to a half period), all pieces in one list.

    `owner` is the quarter of each piece; `links` are per half period, `folded` are
    the states at the turn-offs.
    """

    net: Network
    modes: list[Modes]
    links: Array
    turn_offs: Array
    pieces: list[Piece]
    owner: Index
    folded: Array

    def state_at(self, time: float, event: Event) -> State:
        duration = self.turn_offs[1] - self.turn_offs[0]
        back = max(0, int(np.ceil((self.turn_offs[0] - time) / duration)))
        begin = np.array([p.start for p in self.pieces]) + self.turn_offs[self.owner // 2]
        inside = time + back * duration
        if inside > self.turn_offs[-1]:
            raise ValueError(f"time = {time!r} s lies beyond the end of the march")
        at = max(int(np.searchsorted(begin, inside, side="right")) - 1, 0)
        quarter, piece = int(self.owner[at]), self.pieces[at]
        half, modes = quarter // 2, self.modes[quarter]
        z = modes.step(piece.z, float(inside - begin[at]), piece.voltage, piece.slope)
        sign = (-1.0) ** (half + 1 - back)
        out = sign * (self.net.c[quarter] @ (modes.vectors @ z).real)
        phase = event.phase_at(inside) - 0.5 * back
        primary, magnetising, load, coil, tank, blocking = out.tolist()
        return State(time, phase, primary, magnetising, load, coil, tank, blocking,
                     float(self.links[half]))  # fmt: skip


def _run(plant: Plant, conditions: Conditions, edges: Edges, starts: Array) -> tuple[_March, float]:
    """March all half periods; folded states, see `halfwave`."""
    turn_offs = starts - edges.lead
    durations = np.diff(turn_offs)
    if edges.dead_time >= np.min(durations):
        raise ValueError(f"dead_time = {edges.dead_time!r} s fills the half period")
    link = _at(conditions.supply_voltage, turn_offs[:-1] + 0.5 * durations)
    quarters = (turn_offs[:-1, None] + np.outer(durations, (0.25, 0.75))).ravel()
    net = network(plant, _at(conditions.inductance, quarters), _at(conditions.resistance, quarters))
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
    return _March(net, modes, link, turn_offs, pieces, owners, np.array(folded)), residue


def _at(course: Course, times: Array) -> Array:
    """A course at times [s]; before zero, as at zero."""
    value = as_function(course)
    return np.array([value(max(t, 0.0)) for t in times.tolist()])


def _rest_steps(plant: Plant, net: Network, link: Array) -> Array:
    """What a step of the link does to the folded state: a blocking capacitor at Vdc/2 keeps its
    charge while its rest moves, so that its deviation moves the other way."""
    steps = np.zeros((len(link), len(net.states)))
    if plant.bridge == "half-blocking":
        signs = (-1.0) ** (np.arange(1, len(link)) + 1)
        steps[1:, net.states.index("blocking_voltage")] = -0.5 * np.diff(link) * signs
    return steps


@dataclass(frozen=True)
class _Halves:
    """Per half period: peaks, currents at the edges, energies."""

    coil: Array
    tank: Array
    primary: Array
    forward: Array
    off: Array
    on: Array
    supplied: Array
    lost: Array
    coil_lost: Array


def _samples(march: _March, chosen: Index, points: int) -> tuple[Array, Array, Array]:
    """States, bridge voltages and Simpson weights of pieces at evenly spaced times."""
    pieces, owner = [march.pieces[k] for k in chosen], march.owner[chosen]
    time = np.array([p.duration for p in pieces])[:, None] * np.linspace(0.0, 1.0, points)
    start = np.array([p.voltage for p in pieces])[:, None]
    slope = np.array([p.slope for p in pieces])[:, None]
    rates = np.array([march.modes[k].rates for k in owner], dtype=np.complex128)
    x: Complex = rates[:, None, :] * time[:, :, None]
    first, second = phi(x)
    forced = (start * time)[:, :, None] * first + (slope * time**2)[:, :, None] * second
    drive = np.array([march.modes[k].drive for k in owner])[:, None, :]
    z: Complex = np.exp(x) * np.array([p.z for p in pieces])[:, None, :] + drive * forced
    vectors = np.array([march.modes[k].vectors for k in owner])
    simpson = np.ones(points)
    simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
    weight = time[:, -1:] * simpson / (3.0 * (points - 1))
    return (z @ np.swapaxes(vectors, 1, 2)).real, start + slope * time, weight


def _measure(march: _March, edges: Edges) -> _Halves:
    starts = np.array([p.start for p in march.pieces])
    main = starts >= edges.dead_time
    found = {f.name: np.zeros(len(march.links)) for f in fields(_Halves)}
    for chosen, points in (
        (np.flatnonzero(main), MAIN_POINTS),
        (np.flatnonzero(~main), EDGE_POINTS),
    ):
        if chosen.size:
            _measure_pieces(march, chosen, points, found, starts[chosen], edges.dead_time)
    return _Halves(**found)


def _measure_pieces(
    march: _March,
    chosen: Index,
    points: int,
    found: dict[str, Array],
    starts: Array,
    dead_time: float,
) -> None:
    """Add what pieces of one kind hold to the figures of their half periods."""
    owner = march.owner[chosen]
    half = owner // 2
    states, voltage, weight = _samples(march, chosen, points)
    rows = np.moveaxis(states @ np.swapaxes(march.net.c[owner], 1, 2), 2, 0)
    out = dict(zip(OUTPUTS, rows, strict=True))
    primary = out["primary_current"]
    np.maximum.at(found["coil"], half, vertex(np.abs(out["coil_current"])))
    np.maximum.at(found["tank"], half, vertex(np.abs(out["capacitor_voltage"])))
    np.maximum.at(found["primary"], half, vertex(np.abs(primary)))
    on = starts >= dead_time
    np.maximum.at(found["forward"], half[on], vertex(-primary[on]) if on.any() else 0.0)
    np.add.at(found["supplied"], half, np.sum(weight * voltage * primary, axis=1))
    for name, matrix in (("lost", march.net.loss), ("coil_lost", march.net.coil_loss)):
        power = np.einsum("nti,nij,ntj->nt", states, matrix[owner], states, optimize=True)
        np.add.at(found[name], half, np.sum(weight * power, axis=1))
    for name, time in (("off", 0.0), ("on", dead_time)):
        first = starts == time
        found[name][half[first]] = primary[first, 0]


def _energy(march: _March, halves: _Halves, rest: Array) -> Energy:
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


def _cycles(march: _March, halves: _Halves, starts: Array, recovery: Recovery | None) -> Cycles:
    def both(values: Array) -> Array:
        return values[: len(values) // 2 * 2].reshape(-1, 2)

    primary, off = both(halves.primary).max(1), both(halves.off).min(1)
    on = both(halves.on).min(1)
    forced = np.maximum(-on, 0.0)
    recovered = forced + (recovery.peak(forced) if recovery else 0.0)
    begin = starts[:-1:2]
    charge = both(halves.supplied / march.links).sum(1)
    return Cycles(
        time=begin,
        coil_current_peak=both(halves.coil).max(1),
        tank_voltage_peak=both(halves.tank).max(1),
        primary_current_peak=primary,
        turn_off_current=off,
        turn_on_current=on,
        mode=np.where(np.abs(off) <= RESONANT_SHARE * primary, 0.0, np.sign(off)),
        supply_current=charge / (starts[2::2] - begin),
        switch_current_peak=np.maximum(both(halves.forward).max(1), recovered),
    )


def march(
    plant: Plant,
    conditions: Conditions,
    edges: Edges = IDEAL,
    recovery: Recovery | None = None,
) -> Event:
    """March a plant through an event; the plant's own L, R and Vdc give way to the conditions'.

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
    halves = _measure(raw, edges)
    fastest = [m.rates[np.argmax(np.abs(m.rates.imag))] for m in raw.modes[::4]]
    rest = _rest_steps(plant, raw.net, raw.links)
    return Event(
        plant=plant,
        conditions=conditions,
        edges=edges,
        cycles=_cycles(raw, halves, starts, recovery),
        energy=_energy(raw, halves, rest),
        start_residue=residue,
        starts=starts,
        memory=np.array([-1.0 / min(r.real, -1e-300) for r in fastest]),
        _march=raw,
    )
