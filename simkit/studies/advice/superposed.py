"""What combinations of changes would come to: each step's effect in the fast model, put together.

The effect of a step on a share of a limit is a factor, found by the fast model for some steps of
each lever and straight between them in its logarithm; factors of steps taken together multiply. A
combination so found is looked at by the fast model itself, then run by circuit: nothing here is
shown to anybody.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Machine
from simkit.studies.advice.levers import Step

Array = NDArray[np.float64]
Row = Mapping[str, Any]
FLOOR = 1e-6
"""Least share of a limit whose logarithm is taken [1]."""
MOST = 6.0
"""Largest logarithm of a factor that is believed [1]."""
EDGE = 0.05
"""Share of the bridge current's swing within which the fast model may be wrong about whether a
diode is forced off [1]."""
GENTLE = 1.0
"""Logarithm by which a recovery falls for each swing's worth of current less that is forced [1]."""
CLEARED = 0.5
"""Most that a recovery comes to where the fast model is sure that no diode is forced off [1]."""
FORCED = 1.5
"""Share of a limit told where a diode would be forced off that was not before [1]."""
OVERSHOOT, LIFT = "drain_voltage_peak", "gate_lift"
"""Figures that how abrupt an edge is decides: the first above the link, the second above the level
at which the drive holds a gate off."""
FOLLOWS: Mapping[str, tuple[str, float]] = {
    "coil_current_rms": ("coil", 1.0),
    "coil_loss": ("coil", 2.0),
    "coil_wall_temperature": ("coil", 1.0),
    "water_temperature": ("coil", 1.0),
    "secondary_current_rms": ("coil", 1.0),
    "secondary_current_density": ("coil", 1.0),
    "primary_current_rms": ("primary", 1.0),
    "primary_current_density": ("primary", 1.0),
    "blocking_current_rms": ("primary", 1.0),
    "blocking_voltage_peak": ("primary", 1.0),
    "split_current_rms": ("primary", 1.0),
    "film_current_rms": ("primary", 1.0),
    "link_ripple_current": ("supply_current", 1.0),
    "mains_current_rms": ("supply_current", 1.0),
    "rectifier_current": ("supply_current", 1.0),
    "junction_later": ("loss", 1.0),
}
"""What a figure without a course in the fast model goes with, and by which power."""
TOLD = ("power", "coil", "primary", "loss")


@dataclass(frozen=True)
class Base:
    """The machine as it is: what the circuit found and what the fast model says of it.

    Fields: full, fast: rows; ambient: the air over the hottest junction allowed, by figure [1].
    """

    full: Row
    fast: Row
    ambient: Mapping[str, float]

    @classmethod
    def of(cls, machine: Machine, full: Row, fast: Row) -> Base:
        """With the air's temperature of a machine."""
        known = figures()
        air = {x.quantity: machine.cooling.ambient / x.bound for x in machine_limits(machine)
               if known[x.quantity].of_loss and x.bound > 0.0}  # fmt: skip
        return cls(full, fast, air)

    @property
    def ratios(self) -> dict[str, float]:
        """The circuit's shares of limits, of what was evaluated [1]."""
        found = {q: r["ratio"] for q, r in self.full["limits"].items()}
        return {q: float(r) for q, r in found.items() if r is not None}

    @property
    def over(self) -> frozenset[str]:
        """What is over its limit."""
        rows = self.full["limits"].items()
        return frozenset(q for q, r in rows if r["status"] == "over")


def predicted(base: Base, fast: Row, off: Mapping[str, float] | None = None) -> dict[str, float]:
    """Shares of limits of a changed machine from its fast row, and its `power` as a share [1].

    `off`: logarithms by which circuit runs of other changes lay above what was told.
    """
    effects = effect(base, fast)
    turned = _turned(base.fast, fast)
    off = off or {}
    found = {q: _share(q, r, effects.get(q, 0.0) + off.get(q, 0.0), base, turned)
             for q, r in base.ratios.items()}  # fmt: skip
    return found | {"power": exp(effects.get("power", 0.0) + off.get("power", 0.0))}


def effect(base: Base, fast: Row) -> dict[str, float]:
    """Logarithm of the factor on each share of a limit, `power` beside them [1]."""
    told = {q: _log(fast["limits"].get(q), base.fast["limits"].get(q)) for q in base.ratios}
    plain = {n: _log(fast.get(n), base.fast.get(n)) for n in TOLD}
    plain["supply_current"] = _log(fast["limits"].get("supply_current"),
                                   base.fast["limits"].get("supply_current"))  # fmt: skip
    for quantity in base.ratios:
        if quantity in base.ambient:
            told[quantity] = plain["loss"]
        elif quantity == OVERSHOOT and "broken" in fast and "broken" in base.fast:
            told[quantity] = _overshoot(base, fast)
        elif quantity == LIFT and "hold" in fast and "hold" in base.fast:
            told[quantity] = _lift(base, fast)
        elif quantity in FOLLOWS and quantity not in base.fast["limits"]:
            name, power = FOLLOWS[quantity]
            told[quantity] = power * plain[name]
    return told | {"power": plain["power"]}


def _log(new: Any, old: Any) -> float:
    if not isinstance(new, int | float) or not isinstance(old, int | float) or old <= FLOOR:
        return 0.0
    if not np.isfinite(new) or not np.isfinite(old):
        return 0.0
    return float(np.clip(log(max(new, FLOOR) / old), -MOST, MOST))


def _overshoot(base: Base, fast: Row) -> float:
    """What an edge adds to the link's voltage goes with the current that it breaks off."""
    link, after = (r["limits"].get(OVERSHOOT, 0.0) for r in (base.fast, fast))
    now = base.ratios[OVERSHOOT]
    over = max(now - link, 0.0)
    return _log(after + over * exp(_log(fast["broken"], base.fast["broken"])), max(now, link))


def _lift(base: Base, fast: Row) -> float:
    """What an edge adds to the level a gate is held off at goes with the path it is held by."""
    hold, after = base.fast["hold"], fast["hold"]
    over = max(base.ratios[LIFT] - hold, 0.0)
    return _log(after + over * exp(_log(fast["lifted"], base.fast["lifted"])), base.ratios[LIFT])


def _turned(old: Row, new: Row) -> tuple[float, float]:
    """Current forced out of a diode over the bridge current's swing, before and after [1]."""
    one, two = (r["forced"] / max(r["swing"], 1e-9) for r in (old, new))
    return one, two


def _share(
    quantity: str, now: float, change: float, base: Base, turned: tuple[float, float]
) -> float:
    """A share of a limit after a change of a logarithm [1]."""
    if quantity in base.ambient:
        air = base.ambient[quantity]
        return air + (now - air) * exp(change)
    if _of_forced(quantity, turned[0]):
        return _recovery(now, change, *turned)
    return now * exp(change)


def _of_forced(quantity: str, before: float) -> bool:
    """Whether a figure is there only while a diode is forced off; a gate is lifted by any edge."""
    known = figures()
    forced = quantity in known and known[quantity].fast.only_forced
    return forced and (quantity != LIFT or before > EDGE)


def _recovery(now: float, change: float, before: float, after: float) -> float:
    """What is there only while a diode is forced off: by how much current is forced [1]."""
    return float(_recoveries(now, np.array([change]), before, np.array([after]))[0])


def _recoveries(now: float, change: Array, before: float, after: Array) -> Array:
    """As long as the fast model is not sure that none is forced off, much stays as it is; where it
    is wrong by as much either way, it lies between."""
    still = np.where(np.minimum(before, after) > 0.0, change, 0.0) + GENTLE * (after - before)
    shares = now * np.exp(still)
    shares = np.maximum(shares, FORCED) if before < -EDGE else shares
    clear = max(min(now, CLEARED), FLOOR)  # a gate held below its level has a share below none
    sure = np.clip((after + EDGE) / (2.0 * EDGE), 0.0, 1.0)
    return np.asarray(clear * (np.maximum(shares, clear) / clear) ** sure)


@dataclass(frozen=True)
class Effects:
    """Every step with its effect; `turned`: change of the forced share of the swing [1]."""

    steps: tuple[Step, ...]
    names: tuple[str, ...]
    logs: Array
    turned: Array


def effects_of(
    base: Base, ladders: Mapping[str, Sequence[Step]], seen: Mapping[Step, Row]
) -> Effects:
    """Effects of all steps from those that the fast model looked at, straight between them.

    A step beyond all that gave an answer is left out.
    """
    names = (*base.ratios, "power")
    steps: list[Step] = []
    logs: list[Array] = []
    turned: list[float] = []
    for ladder in ladders.values():
        known = [(0.0, np.zeros(len(names)), 0.0)]
        for step in ladder:
            row = seen.get(step)
            if row is not None and row["limits"]:
                found = effect(base, row)
                one, two = _turned(base.fast, row)
                known.append((step.x, np.array([found[n] for n in names]), two - one))
        known.sort(key=lambda k: k[0])
        x = np.array([k[0] for k in known])
        for step in ladder:
            if x[0] - 1e-12 <= step.x <= x[-1] + 1e-12:
                steps.append(step)
                table = np.array([k[1] for k in known])
                logs.append(np.array([np.interp(step.x, x, column) for column in table.T]))
                turned.append(float(np.interp(step.x, x, [k[2] for k in known])))
    return Effects(tuple(steps), names, np.array(logs).reshape(len(steps), len(names)),
                   np.array(turned))  # fmt: skip


def told(
    base: Base, effects: Effects, combinations: NDArray[np.intp], off: Mapping[str, float]
) -> tuple[Array, Array]:
    """Shares of limits of combinations (a row each, -1 where fewer steps), and the power kept."""
    logs = np.vstack([effects.logs, np.zeros((1, len(effects.names)))])[combinations].sum(axis=1)
    moved = np.append(effects.turned, 0.0)[combinations].sum(axis=1)
    before = _turned(base.fast, base.fast)[0]
    out = np.empty((len(combinations), len(effects.names) - 1))
    for k, name in enumerate(effects.names[:-1]):
        now, change = base.ratios[name], logs[:, k] + off.get(name, 0.0)
        if name in base.ambient:
            out[:, k] = base.ambient[name] + (now - base.ambient[name]) * np.exp(change)
        elif _of_forced(name, before):
            out[:, k] = _recoveries(now, change, before, before + moved)
        else:
            out[:, k] = now * np.exp(change)
    return out, np.exp(logs[:, -1] + off.get("power", 0.0))
