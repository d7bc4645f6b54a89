"""Periodic steady state of bridge and plant, exact between the switching edges.

The bridge is symmetric, so that half a period on every state has changed its sign:
x(T/2) = -x(0). With the voltage of the half period known this is one linear equation,
(I + exp(A T/2)) x = -forced; how the voltage flips in the dead time depends on the current found,
so the equation is solved again until both agree, and what is left is reported as the residue.

A fast model: it seeds and steers circuit runs and gives no verdict. Left out: diode drops and
the charge of recovery, ringing of the power loop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from math import pi
from typing import Literal

import numpy as np

from simkit.errors import Unworkable
from simkit.scout.halfwave import Complex, Edges, Modes, Piece, half_period, modes_of, sample
from simkit.scout.phasor import input_impedance
from simkit.scout.plant import OUTPUTS, Array, Network, Plant, network, pole_frequency

Mode = Literal["inductive", "resonant", "capacitive"]

RESONANT_SHARE = 0.05
"""Turn-off current below this share of the peak counts as resonant: there the sign is not to be
relied on, the engine's own mode changes from half wave to half wave."""
RESIDUE_ALLOWED = 1e-6
"""Largest change of the state over a half period, relative to its size, called periodic."""
POINTS = 129
"""Samples per piece (odd, for Simpson's rule); its error is then below 1e-8 of an integral."""
IDEAL = Edges()


@dataclass(frozen=True)
class Waveforms:
    """One period from the turn-on of the positive half, by interval; both ends of each are kept.

    Fields: time [s]; bridge_voltage [V]; outputs by name as in `plant.OUTPUTS` [A] or [V].
    """

    time: Array
    bridge_voltage: Array
    outputs: dict[str, Array]


@dataclass(frozen=True)
class SteadyState:
    """Periodic operation at one frequency.

    Fields
    ------
    plant, edges : what was solved
    frequency : [Hz]
    bank_voltage_peak : across the capacitance of the bank [V]
    coil_current_peak, coil_current_rms : [A]
    primary_current_peak, primary_current_rms : bridge output [A]
    supply_current : average out of the DC link [A]
    input_power : mean out of the bridge [W]
    coil_power : mean in the coil and its load [W]
    phase_deg : lag of the primary current's fundamental behind the bridge voltage's [deg]
    turn_off_current : primary current when a pair turns off, positive when lagging [A]
    turn_on_current : the same when the opposite pair turns on; negative: forced recovery [A]
    mode : by the turn-off current
    residue : what keeps it from being periodic, relative to the state [1]
    power_residue : input power less all losses, over the input power [1]
    state : plant state at the turn-off that ends the positive half, deviation from the mean
    """

    plant: Plant
    edges: Edges
    frequency: float
    bank_voltage_peak: float
    coil_current_peak: float
    coil_current_rms: float
    primary_current_peak: float
    primary_current_rms: float
    supply_current: float
    input_power: float
    coil_power: float
    phase_deg: float
    turn_off_current: float
    turn_on_current: float
    mode: Mode
    residue: float
    power_residue: float
    state: Array

    @property
    def converged(self) -> bool:
        """Whether the residue is within `RESIDUE_ALLOWED`."""
        return self.residue <= RESIDUE_ALLOWED


def mode_of(turn_off_current: float, peak: float) -> Mode:
    """Mode from the current at turn-off and its peak [A], resonant within `RESONANT_SHARE`."""
    if abs(turn_off_current) <= RESONANT_SHARE * peak:
        return "resonant"
    return "inductive" if turn_off_current > 0.0 else "capacitive"


def periodic(
    modes: Modes, level: float, duration: float, edges: Edges, scale: Array
) -> tuple[Array, float]:
    """Folded state y = -end(y) at a turn-off, and the relative residue.

    Fixed point with the linear network's own (I + exp(A T/2)) as Jacobian: exact in one step
    while the edges stay as they are. Where the dead-time edges and the current chase each other
    a general root finder takes over from the best point. `scale` holds the size of each state.
    """
    grow = ((modes.vectors * np.exp(modes.rates * duration)) @ modes.inverse).real
    jacobian = np.eye(len(scale)) + grow

    def gap(y: Array) -> Array:
        _, end = half_period(modes, modes.inverse @ y, level, duration, edges)
        return np.asarray(y + (modes.vectors @ end).real)

    y = np.zeros(len(scale))
    best, least = y, np.inf
    for _ in range(12):
        error = gap(y)
        size = _size(error / scale) / _size(y / scale)
        if size < least:
            best, least = y, size
        if size < 1e-11:
            break
        y = y - np.linalg.solve(jacobian, error)
    return (best, least) if least <= 1e-9 else _by_root_finder(gap, best, least, scale)


def _size(vector: Array) -> float:
    """Length of a vector, never zero."""
    return max(float(np.linalg.norm(vector)), 1e-300)


def _by_root_finder(
    gap: Callable[[Array], Array], start: Array, before: float, scale: Array
) -> tuple[Array, float]:
    from scipy.optimize import root

    unit = scale * _size(start / scale)

    def scaled(v: Array) -> Array:
        return np.asarray(gap(v * unit) / unit)

    found = root(scaled, start / unit, method="hybr", tol=1e-12)
    size = _size(scaled(found.x)) / _size(found.x)
    return (found.x * unit, size) if size < before else (start, before)


def turn_on_of(modes: Modes, pieces: list[Piece], edges: Edges) -> float:
    """Bridge current when the opposite pair turns on [A]."""
    return modes.current(next(p.z for p in pieces if p.start >= edges.dead_time))


def _duration(frequency: float, edges: Edges) -> float:
    if not frequency > 0.0:
        raise ValueError(f"frequency = {frequency!r} Hz must be above zero")
    duration = 0.5 / frequency
    if edges.dead_time >= duration:
        raise Unworkable(f"drive.dead_time fills the half period at {5e-4 / duration:.4g} kHz")
    return duration


def _pieces(
    plant: Plant, frequency: float, edges: Edges
) -> tuple[Network, Modes, list[Piece], Array, float]:
    duration = _duration(frequency, edges)
    net = network(plant)
    modes = modes_of(net)[0]
    scale = 1.0 / np.sqrt(np.diagonal(net.energy[0]))
    y, residue = periodic(modes, plant.level, duration, edges, scale)
    pieces, _ = half_period(modes, modes.inverse @ y, plant.level, duration, edges)
    return net, modes, pieces, y, residue


@dataclass(frozen=True)
class _Samples:
    """Folded half period: time since turn-off, Simpson weights, voltage, states."""

    time: Array
    weight: Array
    voltage: Array
    state: Array

    def mean(self, values: Array, duration: float) -> float:
        return float(self.weight @ values / duration)


def _sampled(modes: Modes, pieces: list[Piece], points: int = POINTS) -> _Samples:
    shares = np.linspace(0.0, 1.0, points)
    simpson = np.ones(points)
    simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
    simpson /= 3.0 * (points - 1)
    states: list[Complex] = [sample(modes, p, shares) for p in pieces]
    return _Samples(
        np.concatenate([p.start + shares * p.duration for p in pieces]),
        np.concatenate([simpson * p.duration for p in pieces]),
        np.concatenate([p.voltage + p.slope * shares * p.duration for p in pieces]),
        np.concatenate([(z @ modes.vectors.T).real for z in states]),
    )


def vertex(values: Array) -> Array:
    """Largest value along the last axis of evenly spaced samples, refined by a parabola.

    The parabola goes through the largest sample and its neighbours, or through the last three at
    an end; its vertex counts when it lies within them.
    """
    at = np.argmax(values, axis=-1)[..., None]
    mid = np.clip(at, 1, values.shape[-1] - 2)
    before, top, after = (np.take_along_axis(values, mid + k, -1) for k in (-1, 0, 1))
    bend = np.minimum(before - 2.0 * top + after, -1e-300)
    offset = 0.5 * (before - after) / bend
    peak = top - 0.25 * (before - after) * offset
    return np.where(np.abs(offset) <= 1.0, peak, np.take_along_axis(values, at, -1))[..., 0]


def _peak(values: Array, count: int) -> float:
    """Largest value of `count` pieces. At resonance it lies near a switching edge, whose two sides
    are the first and the last sample: equal, so that rounding chooses which is the largest. The
    peak is inside on one side only, so both halves of a piece are asked."""
    rows = np.abs(values).reshape(count, -1)
    middle = rows.shape[1] // 2
    return float(max(np.max(vertex(rows[:, : middle + 1])), np.max(vertex(rows[:, middle:]))))


def steady(plant: Plant, frequency: float, edges: Edges = IDEAL) -> SteadyState:
    """Steady state at a drive frequency [Hz] with given edges; see the heading of this module.

    Means are integrals over the half period by Simpson's rule inside each piece. Raises
    ValueError when the dead time fills the half period or the network cannot be taken apart.
    """
    net, modes, pieces, y, residue = _pieces(plant, frequency, edges)
    run, duration = _sampled(modes, pieces), 0.5 / frequency
    out = dict(zip(OUTPUTS, net.c[0] @ run.state.T, strict=True))
    primary, coil = out["primary_current"], out["coil_current"]
    power = run.mean(run.voltage * primary, duration)
    losses = run.mean(np.einsum("ti,ij,tj->t", run.state, net.loss[0], run.state), duration)
    turn = run.weight * np.exp(-2j * pi * frequency * run.time)
    lag = np.angle(np.sum(turn * run.voltage) / np.sum(turn * primary))
    peak = _peak(primary, len(pieces))
    return SteadyState(
        plant=plant,
        edges=edges,
        frequency=frequency,
        bank_voltage_peak=_peak(out["capacitor_voltage"], len(pieces)),
        coil_current_peak=_peak(coil, len(pieces)),
        coil_current_rms=run.mean(coil**2, duration) ** 0.5,
        primary_current_peak=peak,
        primary_current_rms=run.mean(primary**2, duration) ** 0.5,
        supply_current=power / plant.supply_voltage,
        input_power=power,
        coil_power=plant.coil_resistance * run.mean(coil**2, duration),
        phase_deg=float(np.degrees(lag)),
        turn_off_current=float(primary[0]),
        turn_on_current=turn_on_of(modes, pieces, edges),
        mode=mode_of(float(primary[0]), peak),
        residue=residue,
        power_residue=(power - losses) / power if power else 0.0,
        state=y,
    )


def waveforms(solution: SteadyState, points: int = POINTS) -> Waveforms:
    """One period of all outputs, `points` exact samples per interval between edges.

    Time zero is the drive's half-period boundary before the positive half (phase 0); the half
    period that begins at the turn-off before it comes first, then its negative.
    """
    plant, edges = solution.plant, solution.edges
    net, modes, pieces, _, _ = _pieces(plant, solution.frequency, edges)
    run, half = _sampled(modes, pieces, points), 0.5 / solution.frequency
    start = run.time - edges.lead
    time = np.concatenate((start, start + half))
    both = np.concatenate((-run.state, run.state)) @ net.c[0].T
    voltage = np.concatenate((-run.voltage, run.voltage))
    return Waveforms(time, voltage, dict(zip(OUTPUTS, both.T, strict=True)))


def outputs_at(solution: SteadyState, phase: float) -> dict[str, float]:
    """Outputs by name [A] or [V] at a phase of the drive [periods], 0 as in `waveforms`; exact."""
    plant, edges = solution.plant, solution.edges
    net, modes, pieces, _, _ = _pieces(plant, solution.frequency, edges)
    since = 2.0 * ((phase + edges.lead * solution.frequency) % 1.0)
    time = (since % 1.0) * 0.5 / solution.frequency
    piece = [p for p in pieces if p.start <= time][-1]
    z = modes.step(piece.z, time - piece.start, piece.voltage, piece.slope)
    values = (1.0 if since >= 1.0 else -1.0) * (net.c[0] @ (modes.vectors @ z).real)
    return dict(zip(OUTPUTS, values.tolist(), strict=True))


def resonant_frequency(plant: Plant) -> float:
    """Frequency at which voltage and current of the bridge's fundamental are in phase [Hz].

    The zero of the input impedance's angle nearest to the tank pole, rising from leading to
    lagging. Raises ValueError when there is none: then the bridge never sees a resistance.
    """
    return _frequency_at_phase(plant, 0.0)


def _frequency_at_phase(plant: Plant, phase_deg: float) -> float:
    from scipy.optimize import brentq

    pole = pole_frequency(plant)

    def angle(frequency: float) -> float:
        return float(np.degrees(np.angle(input_impedance(plant, frequency)))) - phase_deg

    grid = pole * np.geomspace(0.5, 2.0, 1201)
    angles = np.degrees(np.angle(input_impedance(plant, grid))) - phase_deg
    rising = np.flatnonzero((angles[:-1] < 0.0) & (angles[1:] >= 0.0))
    if not rising.size:
        raise ValueError(f"no frequency near {pole:.6g} Hz has a phase of {phase_deg:g} degrees")
    at = rising[np.argmin(np.abs(np.log(grid[rising] / pole)))]
    return float(brentq(angle, grid[at], grid[at + 1], xtol=1e-9 * pole))


def find_frequency(
    plant: Plant,
    *,
    phase_deg: float | None = None,
    turn_off_current: float | None = None,
    edges: Edges = IDEAL,
) -> float:
    """Drive frequency [Hz] for a wanted lag of the fundamental [deg] or turn-off current [A].

    Exactly one is given. The phase is that of the input impedance (the edges do not matter to
    it); the turn-off current is met at the first frequency above resonance where the exact steady
    state has it. Raises ValueError when no frequency up to 1.5 times resonance does.
    """
    if (phase_deg is None) == (turn_off_current is None):
        raise ValueError("give either phase_deg or turn_off_current")
    if phase_deg is not None:
        return _frequency_at_phase(plant, phase_deg)
    from scipy.optimize import brentq

    resonance = resonant_frequency(plant)

    def short_of(frequency: float) -> float:
        return steady(plant, frequency, edges).turn_off_current - (turn_off_current or 0.0)

    grid = resonance * np.linspace(1.0, 1.5, 101)
    before = short_of(float(grid[0]))
    for low, high in pairwise(grid.tolist()):
        after = short_of(high)
        if before < 0.0 <= after:
            return float(brentq(short_of, low, high, xtol=1e-9 * resonance))
        before = after
    raise ValueError(f"no frequency above {resonance:.6g} Hz turns off {turn_off_current:g} A")


def at_supply(plant: Plant, supply_voltage: float) -> Plant:
    """The same plant on another link voltage [V]."""
    return replace(plant, supply_voltage=supply_voltage)
