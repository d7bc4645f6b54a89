"""How the coil's L and R go during an event that does more than move them between two values.

A piece by geometry leaves or enters along its own L(x), R(x); steel follows the current that supply
and frequency let through. A measured piece has neither: it moves along a raised cosine, which says
how long it takes and nothing about the way.
"""

from collections.abc import Mapping

import numpy as np

from simkit.parameters.events import Event
from simkit.parameters.machine import Load, Machine
from simkit.parts.loads import course_out
from simkit.parts.working import load_at

Course = dict[str, tuple[float, ...]]
"""Values at equal steps of time over an event, by what changes: inductance [H], resistance [ohm].
Empty where the change is the plain smooth one."""
STEPS = 33
"""Values along a course, as `parts.loads` has along a way out."""


def follows_level(machine: Machine, name: str) -> bool:
    """Whether a load's L and R follow the current it is driven with."""
    return name != "empty" and machine.workpieces[name].levels is not None


def part_out(machine: Machine, name: str, values: Mapping[str, float], share: float) -> Load | None:
    """A piece part of its way out of the coil, `share` of it [1]; None for a measured piece.

    `values`: frequency [Hz] and voltage [V].
    """
    if machine.workpieces[name].geometry is None:
        return None
    way = course_out(machine, name, values["frequency"], values["voltage"])
    at = share * (len(way.inductance) - 1)
    steps = range(len(way.inductance))
    return Load(
        inductance=float(np.interp(at, steps, way.inductance)),
        resistance=float(np.interp(at, steps, way.resistance)),
    )


def course(
    machine: Machine,
    event: Event,
    name: str,
    before: Mapping[str, float],
    after: Mapping[str, float],
) -> Course:
    """L and R during an event; `name` is the load in the coil before it.

    `before`: frequency [Hz], voltage [V], inductance, resistance at its start; `after` the same at
    its end. The ends of a course are those of the event, so that nothing jumps.
    """
    if event.kind in ("pull-out", "drop-in"):
        rows = _moved(machine, event, name, before)
    elif event.kind in ("supply", "frequency"):
        rows = _followed(machine, name, before, after)
    else:
        rows = {}
    return {key: (before[key], *values[1:-1], after[key]) for key, values in rows.items()}


def _moved(machine: Machine, event: Event, name: str, before: Mapping[str, float]) -> Course:
    """At an even speed along the axis; a piece comes in along the way it goes out."""
    out = event.kind == "pull-out"
    piece = name if out else str(event.load)
    if piece == "empty" or machine.workpieces[piece].geometry is None:
        return {}
    way = course_out(machine, piece, before["frequency"], before["voltage"])
    if not out:
        return {"inductance": way.inductance[::-1], "resistance": way.resistance[::-1]}
    # Part of the way only: as many of the steps, so that the speed stays even.
    count = max(round((event.share or 1.0) * (len(way.inductance) - 1)), 1) + 1
    return {"inductance": way.inductance[:count], "resistance": way.resistance[:count]}


def _followed(
    machine: Machine, name: str, before: Mapping[str, float], after: Mapping[str, float]
) -> Course:
    """At the level that frequency and voltage, on their raised cosines, let through."""
    if not follows_level(machine, name):
        return {}
    shares = 0.5 * (1.0 - np.cos(np.pi * np.linspace(0.0, 1.0, STEPS)))

    def between(key: str, share: float) -> float:
        return before[key] + (after[key] - before[key]) * share

    loads = [
        load_at(machine, name, between("frequency", share), between("voltage", share))
        for share in shares.tolist()
    ]
    return {
        "inductance": tuple(load.inductance for load in loads),
        "resistance": tuple(load.resistance for load in loads),
    }
