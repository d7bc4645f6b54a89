"""Losses within the cycles, where a cycle's mean says too little of how hot a junction gets.

In normal work a junction follows the means; a leg shorted for a microsecond puts more into it
within a part of a cycle than any mean shows. What a node capacitance takes and gives back within a
cycle counts as heat here while it is taken: against a short that is next to nothing, so only
cycles of a short's size are looked at so closely.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from simkit.measure.periodic import LEAST_REST, Cycle, cycle_averages, middles
from simkit.measure.series import Series
from simkit.measure.waveforms import Array, Waves
from simkit.parts.heat_path import HeatPath, curve_impedance

PARTS = 24
"""Parts of a cycle [1]."""
NOTEWORTHY = 3.0
"""From this on a junction's course within a cycle is followed [K]."""
MOST = 80
"""Most cycles followed so [1]; a course's work goes with the square of its steps."""


@dataclass(frozen=True)
class LossCourse:
    """Losses that act from each start on, cycles and parts of them mixed.

    Fields
    ------
    starts : they rise [s]
    ends : where each ends [s]
    values : a row for each switch, a column for each start [W]
    cycle : index of the mean (of the loss's series) that each belongs to [1]
    """

    starts: Array
    ends: Array
    values: Array
    cycle: Array

    def raised(self, means: Sequence[Series], warmer: Sequence[Series]) -> "LossCourse":
        """Each by what its cycle's mean is raised by [W]."""
        more = [(w.values - m.values)[self.cycle] for m, w in zip(means, warmer, strict=True)]
        return LossCourse(self.starts, self.ends, self.values + np.array(more), self.cycle)

    def step(self, when: float) -> float:
        """Length of the step in which a time [s] lies [s]."""
        before = int(np.searchsorted(self.starts, when, side="right")) - 1
        k = min(max(before, 0), len(self.ends) - 1)
        return float(self.ends[k] - self.starts[k])


def within_cycles(
    waves: Waves, cycles: tuple[Cycle, ...], losses: Sequence[Series], path: HeatPath
) -> LossCourse | None:
    """Losses by cycles, and by parts of those in which a junction moves beside its mean course and
    of the rest after the last whole cycle, which has no mean; None where the means tell enough.

    Over each cycle the mean is that of `losses`, which finer runs may have put right [W].
    """
    own = {f"Q{s.number}": s.lead_voltage * s.drain_current for s in waves.switches}
    known = middles(cycles)
    if not cycles or any(not np.array_equal(s.times, known) for s in losses):
        return None
    raw = {s.part: cycle_averages(waves, own[s.part], cycles) for s in losses}
    rest = _rest(cycles[-1], float(waves.time[-1]))
    groups = [*map(_parts, cycles), *([rest] if rest else [])]
    every = tuple(span for group in groups for span in group)
    bounds = np.cumsum([len(group) for group in groups])[:-1]
    moved = np.zeros(len(groups))
    for s in losses:
        means = np.append(raw[s.part], s.values[-1])  # the rest has no mean of its own
        # One running integral for all parts: an average by itself would take it anew.
        fine = np.split(cycle_averages(waves, own[s.part], every), bounds)
        for k, (power, group) in enumerate(zip(fine, groups, strict=True)):
            moved[k] = max(moved[k], _beside(power - means[k], group[0].length, path))
    largest = np.argsort(moved)[::-1][:MOST]
    followed = set(largest[moved[largest] >= NOTEWORTHY].tolist())
    if not followed and not rest:
        return None
    return _course(waves, (cycles, rest), losses, (own, raw), followed)


def beside_mean(waves: Waves, cycle: Cycle, part: str, path: HeatPath) -> float:
    """By how much a switch's junction rises above the course of its means within a cycle [K].

    At most: what a node's capacitance takes and gives back counts as heat while it is taken.
    """
    switch = next(s for s in waves.switches if f"Q{s.number}" == part)
    power = switch.lead_voltage * switch.drain_current
    parts = _parts(cycle)
    mean = cycle_averages(waves, power, (cycle,))[0]
    return _beside(cycle_averages(waves, power, parts) - mean, parts[0].length, path)


def _course(
    waves: Waves,
    where: tuple[tuple[Cycle, ...], tuple[Cycle, ...]],
    losses: Sequence[Series],
    known: tuple[dict[str, Array], dict[str, Array]],
    followed: set[int],
) -> LossCourse:
    (cycles, rest), (own, raw) = where, known
    spans: list[Cycle] = []
    index: list[int] = []
    for k, cycle in enumerate(cycles):
        mine = _parts(cycle) if k in followed else (cycle,)
        spans += mine
        index += [k] * len(mine)
    spans += rest
    index += [len(cycles) - 1] * len(rest)
    which, fine = np.array(index), np.array([s.length for s in spans])
    whole = np.array([c.length for c in cycles])[which]
    rows = []
    for s in losses:
        put_right = (s.values - raw[s.part])[which]
        values = cycle_averages(waves, own[s.part], tuple(spans)) + put_right
        rows.append(np.where(np.isclose(fine, whole), s.values[which], values))
    starts, ends = (np.array([getattr(s, n) for s in spans]) for n in ("start", "end"))
    return LossCourse(starts, ends, np.array(rows), which)


def _parts(cycle: Cycle) -> tuple[Cycle, ...]:
    marks = np.linspace(cycle.start, cycle.end, PARTS + 1).tolist()
    return tuple(Cycle(a, b) for a, b in pairwise(marks))


def _rest(last: Cycle, end: float) -> tuple[Cycle, ...]:
    """What a run goes on after its last whole cycle, in parts as long as a cycle's."""
    left = end - last.end
    if left < LEAST_REST:
        return ()
    count = max(int(np.ceil(left / last.length * PARTS)), 1)
    marks = np.linspace(last.end, end, count + 1).tolist()
    return tuple(Cycle(a, b) for a, b in pairwise(marks))


def _beside(power: Array, width: float, path: HeatPath) -> float:
    """How far powers of equal length beside the mean move a junction [K]: by superposition of
    steps with the data sheet's curve, the largest rise above the mean's course."""
    ages: Array = width * np.arange(1.0, len(power) + 1.0)
    unit = np.diff(curve_impedance(path, ages), prepend=0.0)
    return float(np.abs(np.convolve(power, unit)[: len(power)]).max())
