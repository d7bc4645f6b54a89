"""Between the samples: the fast model's course of a quantity, scaled by what circuit runs showed.

For most judged quantities the fast model has one that runs along with it. Its ratio to the
circuit's own, known at the samples, changes little from one sample to the next; the fast model's
course times this ratio says where the worst may lie that no sample has seen, and when a limit is
crossed. It chooses where to look and adds to the error; the judged values are the circuit's own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from simkit.figures.record import Fast, FastEvent
from simkit.figures.table import figures
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.rehearsal.stretches import Stretch
from simkit.scout.course import values_at
from simkit.scout.envelope import Event

LOSS = Fast(course=lambda event: event.cycles.bridge_loss)
"""How the fast model follows the switches' loss, which is judged by the heat it makes."""
FAINT = 0.02
"""Below this share of its largest a fast course counts as nothing: there its ratio is noise [1]."""


@dataclass(frozen=True)
class Curve:
    """Course of one quantity over the event, worst part of it.

    Fields: time at which each cycle starts [s]; values in the quantity's unit; missed: by how much
    its scale misses a sample that is left out, the most, as a share [1], 1 where too few say.
    """

    time: Array
    values: Array
    missed: float = 1.0

    @property
    def peak(self) -> tuple[float, float]:
        """Largest value and its time [s]."""
        k = int(np.argmax(self.values))
        return float(self.values[k]), float(self.time[k])

    def first_above(self, bound: float) -> float | None:
        """When it first exceeds a bound [s], straight between cycles; None when it never does."""
        over = np.flatnonzero(self.values > bound)
        if not len(over):
            return None
        k = int(over[0])
        if k == 0:
            return float(self.time[0])
        low, high = self.values[k - 1], self.values[k]
        share = (bound - low) / (high - low)
        return float(self.time[k - 1] + share * (self.time[k] - self.time[k - 1]))


def missed_between(times: Array, values: Array) -> Array:
    """By how much each sample between two others is missed straight between its neighbours, in its
    unit; two values fewer than there are samples."""
    inner = [
        abs(np.interp(times[k], np.delete(times, k), np.delete(values, k)) - values[k])
        for k in range(1, len(times) - 1)
    ]
    return np.array(inner, dtype=float)


def missed_share(times: Array, scale: Array) -> float:
    """By how much a scale misses a sample that is left out, the most, as a share [1]; infinite
    where too few say."""
    if len(times) < 3 or not (scale[1:-1] > 0.0).all():
        return float("inf")
    return float(np.max(missed_between(times, scale) / scale[1:-1]))


def whole_cycles_of(event: Event) -> Array:
    """Which cycles of a march lie wholly in the event."""
    cycles = event.cycles
    last = cycles.time[-1] + event.starts[-1] - event.starts[-3]
    ends = np.append(cycles.time[1:], last)
    return np.asarray((cycles.time >= 0.0) & (ends <= event.conditions.stop))


def followed() -> dict[str, Fast]:
    """How the fast model follows each quantity that it has a course of, the loss included."""
    known = [f for f in figures().values() if f.fast.course is not None]
    # Of a part, what only comes on top of something known is looked at last: the others' samples
    # show it too.
    parts = list(dict.fromkeys(f.part for f in known))
    known.sort(key=lambda f: (parts.index(f.part), f.fast.above is not None))
    return {f.name: f.fast for f in known} | {"loss": LOSS}


def fast_event(machine: Machine, event: Event, source: Array) -> FastEvent:
    """The whole cycles of an event; `source` is the voltage of the source at each [V]."""
    keep, cycles = whole_cycles_of(event), event.cycles
    whole = replace(cycles, **{f.name: getattr(cycles, f.name)[keep] for f in fields(cycles)})
    link = values_at(event.conditions.supply_voltage, whole.time)
    return FastEvent(machine, whole, link, source)


def fast_courses(event: FastEvent) -> dict[str, Array]:
    """The fast model's companion of each quantity that has one, per whole cycle, in any scale."""
    told = {name: fast.course for name, fast in followed().items()}
    return {name: course(event) for name, course in told.items() if course is not None}


def worst_of(stretch: Stretch, quantity: str) -> float:
    """Largest value of a quantity over all parts in one stretch."""
    values = [s.worst[0] for s in stretch.series if s.quantity == quantity]
    return max(values, default=float("nan"))


def scaled(
    time: Array, fast: Array, stretches: Sequence[Stretch], values: Sequence[float]
) -> Curve | None:
    """A fast course scaled to a circuit's values at some stretches; None when nothing scales it."""
    at, ratios = [], []
    floor = FAINT * float(np.max(fast, initial=0.0))
    for stretch, value in zip(stretches, values, strict=True):
        begin, end = stretch.cycles[0].start, stretch.cycles[-1].end
        inside = (time >= begin - 1e-9) & (time < end)
        # Of a slow event only chosen cycles are known: then what lies between them.
        near = fast[inside] if inside.any() else np.interp([0.5 * (begin + end)], time, fast)
        here = float(np.max(near, initial=0.0))
        if here > floor and np.isfinite(value):
            at.append(0.5 * (begin + end))
            ratios.append(value / here)
    if not at:
        return None
    missed = min(missed_share(np.array(at), np.array(ratios)), 1.0)
    return Curve(time, fast * np.interp(time, at, ratios), missed)


def curves(
    event: FastEvent, stretches: Sequence[Stretch], parts: Sequence[str] = ()
) -> dict[str, Curve]:
    """Courses of the quantities that have one, worst part of each; by part for the loss.

    Keys are quantities; with `parts`, also "loss Q1" and so on.
    """
    time, fast, ways = event.cycles.time, fast_courses(event), followed()
    found = {
        q: _on_top(
            time, fast[q], ways[q].above, event, stretches, [worst_of(s, q) for s in stretches]
        )
        for q in fast
    }
    for part in parts:
        values = [_mean_of(s, part, "loss") for s in stretches]
        found[f"loss {part}"] = scaled(time, fast["loss"], stretches, values)
    return {name: curve for name, curve in found.items() if curve is not None}


def _on_top(
    time: Array,
    fast: Array,
    above: Callable[[FastEvent], Array] | None,
    event: FastEvent,
    stretches: Sequence[Stretch],
    values: Sequence[float],
) -> Curve | None:
    """A course scaled to the samples, where it comes on top of a known part that part put aside."""
    if above is None:
        return scaled(time, fast, stretches, values)
    known = above(event)
    rest = [v - float(np.interp(s.cycles[0].start, time, known))
            for s, v in zip(stretches, values, strict=True)]  # fmt: skip
    found = scaled(time, fast, stretches, rest)
    return None if found is None else Curve(time, known + found.values)


def _mean_of(stretch: Stretch, part: str, quantity: str) -> float:
    mine = [s.values for s in stretch.series if (s.part, s.quantity) == (part, quantity)]
    return float(np.mean(mine[0])) if mine and len(mine[0]) else float("nan")
