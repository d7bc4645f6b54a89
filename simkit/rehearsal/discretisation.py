"""How far a rehearsal's figures can be trusted: the numerical error of each, by its cause.

Three things are doubted: the steps of the integration, told by the same stretch on finer steps;
the start from the fast model, told by how fast the circuit leaves it; and the link's voltage at
the start, which outlasts a sample. Each can be made smaller, the first by still finer steps, the
others by a longer run-in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.figures.record import Limit
from simkit.figures.table import figures
from simkit.measure.periodic import Cycle, cycle_average
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.rehearsal.closeup import MEMORIES
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch, seed_at
from simkit.rehearsal.surrogate import worst_of

ENOUGH = 0.05
"""Largest error of a judged figure, as a share of its size [1]."""
SMALL = 0.2
"""Below this share of its limit the size of a figure counts as that share of the limit [1]."""
SWING_ERROR = 0.004
"""How far off the fast model's swing may be that a sample's seed keeps, as a share [1]: the largest
seen against whole circuit runs of a pull-out (docs/numerics.md holds the result to it)."""
LINK_MARGIN = 1.5
"""On the gap of the link's intake [1]: a few samples do not see it at its largest."""
SAME = 1e-6
"""Two runs' cycles or transitions this near in time are the same one [s]."""


@dataclass(frozen=True)
class Doubt:
    """Numerical error of one quantity by cause, each in the quantity's unit."""

    step: float
    """What finer steps changed last."""
    start: float = 0.0
    """What the start from the fast model may have left."""
    link: float = 0.0
    """What the link's voltage at the start may have left."""
    between: float = 0.0
    """By how much its course between the samples rises above all of them."""

    @property
    def total(self) -> float:
        """All causes together."""
        return self.step + self.start + self.link + self.between

    @property
    def cause(self) -> str:
        """Name of the largest."""
        return max(CAUSES, key=lambda name: float(getattr(self, name)))


CAUSES = {
    "step": "the steps of the integration",
    "start": "the start from the fast model",
    "link": "the link's voltage at the start",
    "between": "what may lie between the samples (none with --whole)",
}


@dataclass(frozen=True)
class Refined:
    """Series with the finer values in place."""

    series: tuple[Series, ...]
    gaps: tuple[Array, ...]
    """By series, what the finest run changed at each value; nan where none was run."""

    def step_error(self, quantity: str) -> float:
        """Largest change by finer steps of any value that may be the quantity's worst.

        nan when no finer run touched it. Values that stay below the worst with all their change
        count for nothing: another mode's coarse figures say nothing of this one's.
        """
        mine = [k for k, s in enumerate(self.series) if s.quantity == quantity]
        values = np.concatenate([self.series[k].values for k in mine] or [np.array([])])
        gaps = np.concatenate([self.gaps[k] for k in mine] or [np.array([])])
        known = np.isfinite(gaps) & np.isfinite(values)
        if not known.any():
            return float("nan")
        values, gaps = values[known], gaps[known]
        worst = int(np.argmax(values))
        rivals = values + gaps >= values[worst] - gaps[worst]
        return float(gaps[rivals].max())


def refined(whole: Stretch, fine: Sequence[Stretch]) -> Refined:
    """Put the finer runs' values in place, the finest coming last.

    A value is the same one when part, quantity and cycle are. Its gap is what the last finer run
    changed against the run before.
    """
    out, gaps = [], []
    for series in whole.series:
        values, gap = series.values.copy(), np.full(len(series.values), np.nan)
        for stretch in fine:
            other = _same(stretch.series, series)
            for when, value in zip(other.times, other.values, strict=True):
                k = int(np.argmin(np.abs(series.times - when))) if len(series.times) else -1
                if k < 0 or abs(series.times[k] - when) > SAME:
                    continue
                gap[k] = abs(float(value - values[k]))
                values[k] = value
        out.append(replace(series, values=values))
        gaps.append(gap)
    return Refined(tuple(out), tuple(gaps))


def _same(pool: Sequence[Series], wanted: Series) -> Series:
    for series in pool:
        if (series.part, series.quantity) == (wanted.part, wanted.quantity):
            return series
    return replace(wanted, times=np.array([]), values=np.array([]))


def spread(series: Series, known: Array) -> Array:
    """A figure known at some values of a series, run straight between them; nan if at none."""
    at = np.isfinite(known)
    if not at.any():
        return np.full(len(series.values), np.nan)
    return np.interp(series.times, series.times[at], known[at])


def doubts(
    found: Refined,
    starts: Mapping[str, float],
    link: float,
    between: Mapping[str, float],
    least: Mapping[str, float],
) -> dict[str, Doubt]:
    """Doubt of each quantity of which `starts` says what the samples' start may have left of it.

    `between`: by how much a course between the samples rises above them; `least`: what finer steps
    cannot tell apart.
    """
    out = {}
    for quantity, start in starts.items():
        step = found.step_error(quantity)
        if np.isfinite(step):
            feels = quantity in figures() and figures()[quantity].remembers == "link"
            own = link if feels else 0.0
            step = max(step, least.get(quantity, 0.0))
            out[quantity] = Doubt(step, start, own, between.get(quantity, 0.0))
    return out


def tank_off(residues: Mapping[float, float], time: float) -> float:
    """Share by which the tank's state may be off in the sample nearest a time [s]; 0 without any.

    `residues`: what a sample may remember of its seed, by the time it begins [s].
    """
    nearest = min(residues, key=lambda t: abs(t - time), default=None)
    return 0.0 if nearest is None else residues[nearest] + SWING_ERROR


def allowed(value: float, limit: Limit, zero: float = 0.0) -> float:
    """Largest error a figure may have to be judged, in its unit.

    A twentieth of its size; a figure far below its limit is held against the limit instead, as
    what is zero by nature has no share of itself. `zero` is where the quantity begins: for a
    temperature the coolant's.
    """
    if value < zero:  # such as a gate that never rises: even so it stays far from its limit
        return SMALL * abs(limit.bound - zero)
    return ENOUGH * max(value - zero, SMALL * abs(limit.bound - zero))


def natural_zero(machine: Machine, limit: Limit) -> float:
    """Where a limit's quantity begins, in its unit."""
    return machine.cooling.ambient if limit.unit == "degC" else 0.0


def link_memory(machine: Machine) -> float:
    """Time in which the link forgets [s]: its capacitance behind the supply's resistance."""
    supply = machine.supply
    return (supply.source_resistance + supply.link.esr) * supply.link.capacitance


def link_gap(machine: Machine, scout: Scouted, stretches: Sequence[Stretch]) -> float:
    """What the link's start from the fast model may put into the source's current [A].

    The link capacitor remembers for longer than a sample lasts, so that the source's current there
    follows from what the fast model drew before: it is off by as much as the fast model's intake
    of the bridge differs from the circuit's, fading over the run-in with the link's memory. Of the
    stretches only those count whose source current may be the largest.
    """
    gaps = np.array([_link_gap(machine, scout, s) for s in stretches])
    values = np.array([worst_of(s, "supply_current") for s in stretches])
    if not np.isfinite(values).all():
        return float(gaps.max())
    worst = int(np.argmax(values))
    return float(gaps[values + gaps >= values[worst] - gaps[worst]].max())


def _link_gap(machine: Machine, scout: Scouted, stretch: Stretch) -> float:
    cycles = scout.event.cycles
    span = Cycle(stretch.cycles[0].start, stretch.cycles[-1].end)
    upper = stretch.waves.switches[::2]
    drawn = cycle_average(stretch.waves, np.sum([s.drain_current for s in upper], axis=0), span)
    inside = (cycles.time >= span.start - 1e-9) & (cycles.time < span.end)
    guess = float(np.mean(cycles.supply_current[inside])) if inside.any() else drawn
    memory = link_memory(machine)
    # Fading counts only over what a run-in is longer than usual: the usual one is in the margin.
    more = max(span.start - stretch.deck.begin - scout.run_in(span.start, MEMORIES), 0.0)
    left = np.exp(-more / memory) if memory > 0.0 else 0.0
    return LINK_MARGIN * abs(drawn - guess) * float(left)


def periodicity(stretch: Stretch, tank_memory: float) -> float:
    """How far a settled stretch still is from periodic, as a share of its size [1].

    The slow states are read at the same moment of the last two whole cycles; what one moves in a
    cycle it may go on moving for as many cycles as the tank remembers (`tank_memory` [s]). inf for
    a stretch of a single cycle, which says nothing.
    """
    if len(stretch.cycles) < 2:
        return float("inf")
    last = stretch.cycles[-1]
    # Three tenths of a cycle on, where nothing switches.
    moments = (last.start + 0.3 * last.length - back * last.length for back in (0.0, 1.0))
    now, before = (seed_at(stretch.waves, when) for when in moments)
    part = stretch.waves.between(last.start, last.end)
    swing = {
        "coil_current": np.abs(part.coil_current).max(),
        "tank_voltage": np.abs(part.bank_voltage).max(),
        "primary_current": np.abs(part.primary_current).max(),
        "blocking_voltage": np.abs(part.link_voltage).max(),
        "link_voltage": np.abs(part.link_voltage).max(),
    }
    moved = [abs(getattr(now, n) - getattr(before, n)) / size for n, size in swing.items() if size]
    return float(max(moved) * max(tank_memory / last.length, 1.0))
