"""Drawn machines with their switches as warm as their own loss makes them.

As the rehearsal does it for the file's own machine: the balance of loss and junction in the settled
part, no warmer than the rating, and the whole event with the switches of that.
"""

from collections.abc import Sequence

import numpy as np

from simkit.figures.switch_temperature import settled
from simkit.parameters.machine import Machine
from simkit.parts.warming import warmed_machine
from simkit.scout.draws import Drawn, drawn
from simkit.studies.maps.space import Array
from simkit.studies.tolerance.machines import Sample

NEAR = 10.0
"""Between the junction that a machine is taken at and the one its loss gives [K]: two or three per
cent of R_DS(on), as much as the fast model itself is off."""
ROUNDS = 3
"""Rounds, at most; each asks only those that are not near yet [1]."""


def warmed(taken: Sample, own: float) -> tuple[tuple[Machine, ...], list[Drawn]]:
    """Machines of a sample, warm, and what the fast model says of them.

    `own`: junction at which the rehearsal took the file's own machine [degC], which stays there.
    Errors: as of `drawn`.
    """
    at = np.full(len(taken.machines), own)
    machines = [warmed_machine(m, own) for m in taken.machines]
    found = drawn(machines, taken.ways)
    seen: list[tuple[Array, Array]] = []
    for _ in range(ROUNDS - 1):
        shown = np.array([_junction(m, d) for m, d in zip(machines, found, strict=True)])
        seen.append((at, shown))
        after = _next(seen, np.array([m.switch.ratings.junction_temperature for m in machines]))
        far = [k for k in range(1, len(at)) if abs(after[k] - at[k]) > NEAR]
        if not far:
            break
        at = np.array([after[k] if k in far else at[k] for k in range(len(at))])
        for k in far:
            machines[k] = warmed_machine(taken.machines[k], float(at[k]))
        asked = [0, *far]
        again = drawn([machines[k] for k in asked], [taken.ways[k] for k in asked])
        for k, one in zip(far, again[1:], strict=True):
            found[k] = one
    return tuple(machines), found


def _junction(machine: Machine, one: Drawn) -> float:
    """Junction that the settled part's loss gives [degC]; nan without an answer."""
    return settled(machine, float(one.cycles.bridge_loss[0])) if one.known else float("nan")


def _next(seen: Sequence[tuple[Array, Array]], ratings: Array) -> Array:
    """Where the line through the last two rounds meets T = g(T), at most the rating [degC]."""
    taken, shown = seen[-1]
    after = shown
    if len(seen) > 1:
        before, then = seen[-2]
        moved = np.where(taken == before, 1.0, taken - before)
        slope = np.where(taken == before, 0.0, (shown - then) / moved)
        after = np.where(
            slope < 0.9, taken + (shown - taken) / (1.0 - np.minimum(slope, 0.9)), shown
        )
    return np.where(np.isfinite(after), np.minimum(after, ratings), taken)
