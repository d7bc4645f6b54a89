"""The electro-thermal loop: the switch at the temperature its own loss brings it to.

A warmer MOSFET loses more, which warms it. Before a rehearsal, short circuit runs of the settled
part are repeated until the junction that the loss gives is the one the switch was taken at, from
where the fast model expects it; as a rule the first run says that it was right. The
whole rehearsal then uses that switch: in the events, which last milliseconds, its resistance does
not follow the junction any further.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.parameters.machine import Load, Machine
from simkit.parts.heat_path import heat_path, settled_junctions
from simkit.parts.warming import warmed_machine
from simkit.rehearsal.stretches import Stretch
from simkit.scout.operating import operating_point

NEAR = 2.0
"""Between two rounds: half a per cent of R_DS(on), well below what a sheet is good for [K]."""
ROUNDS = 6


@dataclass(frozen=True)
class Warmed:
    """How the loop came to rest."""

    switch_at_c: float
    """Junction temperature the rehearsal's switches have [degC]."""
    settled_junction_c: float
    """Hottest junction that the settled part's loss gives with these switches [degC]."""
    rounds: int
    """Circuit runs it took [1]."""
    balanced: bool
    """Whether the two agree. If not, the loss outruns the cooling up to the junction's rating, and
    the switches are those at the rating; or the rounds were not enough."""


def warmed(
    machine: Machine, settled: Callable[[Machine], Stretch], begin: float | None = None
) -> tuple[Machine, Warmed, Stretch]:
    """The machine with its switches at their working temperature, and its settled part's run.

    `settled` runs some cycles of the settled part on a machine. The balance T = g(T), g from a
    circuit run, is sought by the secant rule from `begin` [degC], or without one from the
    temperature the file's values hold at.
    Errors: ValueError for a switch without `warming`; EngineError from the runs.
    """
    start = machine.switch.warming
    if start is None:
        raise ValueError("the switch does not say how its resistance goes with temperature")
    rating = machine.switch.ratings.junction_temperature
    begin = start.junction_temperature if begin is None else begin
    taken, seen = min(begin, rating), list[tuple[float, float]]()
    for count in range(1, ROUNDS + 1):
        trial = warmed_machine(machine, taken)
        run = settled(trial)
        found = hottest(trial, run)
        if abs(found - taken) <= NEAR:
            return trial, Warmed(taken, found, count, True), run
        if taken >= rating and found > taken:
            return trial, Warmed(taken, found, count, False), run
        seen.append((taken, found))
        taken = min(_next(seen), rating)
    return trial, Warmed(seen[-1][0], found, ROUNDS, False), run


def expected(machine: Machine, line: Timeline) -> float:
    """Junction temperature that the fast model's loss in the settled part gives [degC].

    Two rounds of T = g(T); where the model does not converge, the temperature so far.
    """
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)
    path = heat_path(machine)
    start = machine.switch.warming
    taken = start.junction_temperature if start else machine.cooling.ambient
    for _ in range(2):
        trial = warmed_machine(machine, min(taken, machine.switch.ratings.junction_temperature))
        point = operating_point(trial, load, line.frequency.first, line.voltage.first)
        if not (point.converged and np.isfinite(point.bridge_loss)):
            break
        each = np.full(path.switches, point.bridge_loss / path.switches)
        taken = float(settled_junctions(path, each).max())
    return taken


def _next(seen: list[tuple[float, float]]) -> float:
    """Where the straight line through the last two rounds meets T = g(T) [degC]."""
    (taken, found), before = seen[-1], seen[-2] if len(seen) > 1 else None
    if before is None or before[0] == taken:
        return found
    slope = (found - before[1]) / (taken - before[0])
    return taken + (found - taken) / (1.0 - slope) if slope < 0.9 else found


def hottest(machine: Machine, stretch: Stretch) -> float:
    """Hottest junction after a long time at the losses of a stretch [degC]."""
    losses = [float(np.mean(s.values)) for s in stretch.series if s.quantity == "loss"]
    return float(settled_junctions(heat_path(machine), np.array(losses)).max())
