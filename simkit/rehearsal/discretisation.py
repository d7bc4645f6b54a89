"""How far a rehearsal's figures can be trusted: the numerical error of each, by its cause.

Sampled or whole, errors have the same causes: the steps of the integration, told by the same
stretch on finer steps; the start from the fast model, told by how fast the circuit leaves it; the
link's voltage at the start, which outlasts a sample; what lies between samples; and what the states
slower than the tank still move. Each can be made smaller, the first by still finer steps, the
others by a longer run-in or more samples.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.figures.record import Limit
from simkit.measure.periodic import Cycle
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.rehearsal.remains import Remains, intake, link_memory
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import worst_of

ENOUGH = 0.05
"""Largest error of a judged figure, as a share of its size [1]."""
SMALL = 0.2
"""Below this share of its limit the size of a figure counts as that share of the limit [1]."""
LINK_MARGIN = 1.5
"""On the gap of the link's intake [1]: a few samples do not see it at its largest."""
WIDER = 2.0
"""By how much an error that is large for its figure is widened before it is judged [1]."""
HALF = 0.5
"""Largest error of a figure below its limit, as a share of the limit [1]."""
SAME = 1e-6
"""Two runs' cycles or transitions this near in time are the same one [s]."""


@dataclass(frozen=True)
class ErrorByCause:
    """Numerical error of one quantity by cause, each in the quantity's unit."""

    step: float
    """What finer steps changed last."""
    start: float = 0.0
    """What the start from the fast model may have left."""
    link: float = 0.0
    """What the link's voltage at the start may have left."""
    between: float = 0.0
    """By how much its course between the samples may rise above all of them."""
    periodicity: float = 0.0
    """What the states slower than the tank still move in the settled part."""
    load: float = 0.0
    """What L and R of a load worked out beyond its method's range may be off."""

    @property
    def total(self) -> float:
        """All causes together."""
        return sum(self.parts.values())

    @property
    def parts(self) -> dict[str, float]:
        """By cause, as a result names them."""
        return {
            "steps": self.step,
            "start": self.start,
            "between_samples": self.between,
            "link": self.link,
            "periodicity": self.periodicity,
            "load": self.load,
        }

    @property
    def cause(self) -> str:
        """Name of the largest."""
        parts = self.parts
        return max(CAUSES, key=lambda name: parts[name])

    def scaled(self, share: float) -> "ErrorByCause":
        """The same causes of a figure that follows this one by a share."""
        return ErrorByCause(*(share * v for v in (self.step, self.start, self.link, self.between,
                                           self.periodicity, self.load)))  # fmt: skip


CAUSES = {
    "steps": "the steps of the integration",
    "start": "the start from the fast model",
    "link": "the link's voltage at the start",
    "between_samples": "what may lie between the samples (none with --whole)",
    "periodicity": "the settled part, which is not periodic yet",
    "load": "L and R of a load beyond the range of their method",
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


def tank_off(residues: Mapping[float, Remains], time: float) -> float:
    """Share by which the tank's state may be off at a time [s]: in a whole run as its start has
    faded until then, in samples as it was in the nearest; 0 without any."""
    nearest = min(residues, key=lambda t: abs(t - time), default=None)
    return 0.0 if nearest is None else residues[nearest].tank(time)


def slow_off(residues: Mapping[float, Remains], time: float) -> float:
    """The same of the states slower than the tank."""
    nearest = min(residues, key=lambda t: abs(t - time), default=None)
    return 0.0 if nearest is None else residues[nearest].others(time)


def counts(value: float, error: float, limit: Limit, zero: float = 0.0) -> bool:
    """Whether a figure with its error can be held against its limit.

    What counts is the distance to the limit: an error that is large for the figure is doubled, and
    the figure refused only where that interval holds the limit. An error larger than half the
    limit makes no figure that could lie below it.
    """
    if error <= allowed(value, limit, zero):
        return True
    if value - WIDER * error > limit.bound:
        return True
    return value + WIDER * error <= limit.bound and error <= HALF * abs(limit.bound - zero)


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


def link_gap(machine: Machine, scout: Scouted, stretches: Sequence[Stretch]) -> float:
    """What the link's start from the fast model may have left in the source's current [A].

    The link capacitor remembers for longer than a sample lasts: what the source gives and the
    bridge does not take goes into it. By as much as that differs from the fast model's the
    source's current may be off. Of the stretches only those count whose source current may be the
    largest.
    """
    gaps = np.array([_link_gap(scout, s) for s in stretches])
    values = np.array([worst_of(s, "supply_current") for s in stretches])
    if not np.isfinite(values).all():
        return float(gaps.max())
    worst = int(np.argmax(values))
    return float(gaps[values + gaps >= values[worst] - gaps[worst]].max())


def _link_gap(scout: Scouted, stretch: Stretch) -> float:
    span = Cycle(stretch.cycles[0].start, stretch.cycles[-1].end)
    given, drawn = intake(stretch, span)
    return LINK_MARGIN * abs((given - drawn) - scout.into_link(span))


def whole_link_gap(machine: Machine, scout: Scouted, whole: Stretch, settled: float) -> float:
    """The same of a whole run: what still went into the link in the last settled cycle, faded with
    the link's memory until the source's current is largest [A]."""
    calm = [c for c in whole.cycles if c.end <= settled + SAME] or list(whole.cycles[:1])
    given, drawn = intake(whole, calm[-1])
    worst = max((s.worst for s in whole.series if s.quantity == "supply_current"),
                default=(0.0, settled))  # fmt: skip
    memory = link_memory(machine)
    later = worst[1] - calm[-1].end
    fade = float(np.exp(min(-later / memory, 1.0))) if memory > 0.0 else 0.0
    return LINK_MARGIN * abs(given - drawn) * fade
