"""Between the samples: the fast model's course of a quantity, scaled by what circuit runs showed.

For most judged quantities the fast model has one that runs along with it. Its ratio to the
circuit's own, known at the samples, changes little from one sample to the next; the fast model's
course times this ratio says where the worst may lie that no sample has seen, and when a limit is
crossed. It chooses where to look and adds to the error; the judged values are the circuit's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.measure.waveforms import Array
from simkit.rehearsal.stretches import Stretch
from simkit.scout.course import values_at
from simkit.scout.envelope import Event

OVERSHOOT = "drain_overshoot"
"""Course of the drain's peak above the link; no judged quantity itself."""
FAINT = 0.02
"""Below this share of its largest a fast course counts as nothing: there its ratio is noise [1]."""


@dataclass(frozen=True)
class Curve:
    """Course of one quantity over the event, worst part of it.

    Fields: time at which each cycle starts [s]; values in the quantity's unit.
    """

    time: Array
    values: Array

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


def whole_cycles_of(event: Event) -> Array:
    """Which cycles of a march lie wholly in the event."""
    cycles = event.cycles
    ends = np.append(cycles.time[1:], event.starts[-1])
    return np.asarray((cycles.time >= 0.0) & (ends <= event.conditions.stop))


def _links(event: Event) -> Array:
    """Link voltage at each whole cycle [V]."""
    return values_at(event.conditions.supply_voltage, event.cycles.time[whole_cycles_of(event)])


def fast_courses(event: Event, source_voltage: Array) -> dict[str, Array]:
    """The fast model's companion of each judged quantity, per whole cycle, in any scale.

    `source_voltage` is that of the source at each whole cycle [V]. A drain's overshoot runs along
    with the current that is broken off: at turn-off, or out of a recovering diode.
    """
    keep, c = whole_cycles_of(event), event.cycles
    links = _links(event)
    return {
        "channel_current_peak": c.switch_current_peak[keep],
        "drain_current_rms": c.primary_current_rms[keep],
        "recovery_di_dt": c.recovery_slope[keep],
        "recovery_dv_dt": c.recovery_slope[keep],
        OVERSHOOT: np.maximum(np.maximum(c.turn_off_current, -c.turn_on_current)[keep], 0.0),
        "can_voltage_rms": c.tank_voltage_peak[keep],
        "can_current_rms": c.coil_current_peak[keep],
        "flux_peak": c.magnetising_current_peak[keep],
        "supply_current": np.maximum(source_voltage - links, 0.0),
        "loss": c.bridge_loss[keep],
    }


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
        here = float(np.max(fast[inside], initial=0.0))
        if here > floor and np.isfinite(value):
            at.append(0.5 * (begin + end))
            ratios.append(value / here)
    if not at:
        return None
    return Curve(time, fast * np.interp(time, at, ratios))


def curves(
    event: Event, source_voltage: Array, stretches: Sequence[Stretch], parts: Sequence[str] = ()
) -> dict[str, Curve]:
    """Courses of the quantities that have one, worst part of each; by part for the loss.

    Keys are quantities; with `parts`, also "loss Q1" and so on.
    """
    time = event.cycles.time[whole_cycles_of(event)]
    fast = fast_courses(event, source_voltage)
    wanted = {q: [worst_of(s, q) for s in stretches] for q in fast if q != OVERSHOOT}
    found = {q: scaled(time, fast[q], stretches, values) for q, values in wanted.items()}
    found["drain_voltage_peak"] = _drain_peak(time, fast[OVERSHOOT], _links(event), stretches)
    for part in parts:
        values = [_mean_of(s, part, "loss") for s in stretches]
        found[f"loss {part}"] = scaled(time, fast["loss"], stretches, values)
    return {name: curve for name, curve in found.items() if curve is not None}


def _drain_peak(
    time: Array, broken: Array, links: Array, stretches: Sequence[Stretch]
) -> Curve | None:
    """The link's course and, on top, that of the overshoot scaled to the samples."""
    starts = [s.cycles[0].start for s in stretches]
    above = [worst_of(s, "drain_voltage_peak") - float(np.interp(t, time, links))
             for s, t in zip(stretches, starts, strict=True)]  # fmt: skip
    found = scaled(time, broken, stretches, above)
    return None if found is None else Curve(time, links + found.values)


def _mean_of(stretch: Stretch, part: str, quantity: str) -> float:
    mine = [s.values for s in stretch.series if (s.part, s.quantity) == (part, quantity)]
    return float(np.mean(mine[0])) if mine and len(mine[0]) else float("nan")
