"""The link between two crests of the mains: whether a rehearsal has to be run at its trough too.

A rehearsal runs at the link's crest, where currents and voltages are largest: at a fixed frequency
they go with the link's voltage. What may be worse at the trough is the commutation: less current
has to move nearly the same charge. The fast model says whether zero-voltage switching is kept
there, before the event and after it; where it is, one run serves. Where it is lost, or the model
does not know, the circuit runs once more at the trough, and the worse of each figure counts.
"""

from collections.abc import Callable
from dataclasses import replace

from simkit.circuit.timeline import Timeline
from simkit.judge.verdict import Judged, verdict
from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.findings import Rehearsal, SlowFact, context_of
from simkit.rehearsal.mains_limits import mains_states
from simkit.scout.operating import operating_point

CALM = 0.02
"""Share by which the link may fall between crests and count as standing still [1]."""
LEAST = 0.1
"""The lowest link worth a run, over its crest [1]: below it nothing is left to break."""


def trough(rehearsal: Rehearsal) -> float | None:
    """The link's lowest voltage between two crests [V]; None where it stands still or is not known:
    without a rectifier, or where the scenario itself changes the supply."""
    machine, rectifier = rehearsal.machine, rehearsal.machine.supply.rectifier
    if rectifier is None or moved(rehearsal):
        return None
    found = (mains_states(rehearsal) or {}).values()
    lowest = min((d.lowest for d in found if d is not None), default=machine.supply.voltage)
    if lowest > (1.0 - CALM) * machine.supply.voltage:
        return None
    return max(lowest, LEAST * machine.supply.voltage)


def moved(rehearsal: Rehearsal) -> bool:
    """Whether the scenario itself moves the supply, or starts below it."""
    line = rehearsal.line
    return bool(line.voltage.changes) or line.voltage.first < rehearsal.machine.supply.voltage


def commutates_alike(machine: Machine, line: Timeline, low: float) -> bool:
    """Whether the fast model keeps mode and zero voltage at a lower link [V], before and after."""
    ends = (
        (line.inductance.first, line.resistance.first, line.frequency.first),
        (line.inductance.at(line.end), line.resistance.at(line.end), line.frequency.at(line.end)),
    )
    for inductance, resistance, frequency in ends:
        load = Load(inductance=inductance, resistance=resistance)
        high, below = (
            operating_point(machine, load, frequency, v) for v in (machine.supply.voltage, low)
        )
        if not (high.converged and below.converged):
            return False
        if (high.mode, high.zero_voltage) != (below.mode, below.zero_voltage):
            return False
    return True


def with_trough(rehearsal: Rehearsal, again: Callable[[Machine], Rehearsal]) -> Rehearsal:
    """The rehearsal with what its link's trough makes worse; `again` runs it on another machine."""
    name = "link, lowest between the mains' crests"
    low = trough(rehearsal)
    if low is None:
        if rehearsal.machine.supply.rectifier is None or not moved(rehearsal):
            return rehearsal
        note = "not looked at: the scenario itself sets the supply"
        return replace(rehearsal, slow=(*rehearsal.slow, SlowFact(name, None, "V", note)))
    machine = rehearsal.machine
    if commutates_alike(machine, rehearsal.line, low):
        note = "the fast model commutates there as at the crest: every figure is smaller"
        return replace(rehearsal, slow=(*rehearsal.slow, SlowFact(name, low, "V", note)))
    supply = machine.supply.model_copy(update={"voltage": low})
    other = again(machine.model_copy(update={"supply": supply}))
    rows = tuple(worse(row, _row_of(other, row), low) for row in rehearsal.rows)
    note = "run there too: the worse of each figure counts"
    first = min((e.start for e in rehearsal.line.events), default=None)
    cycle = 1.0 / rehearsal.line.frequency.first
    return replace(
        rehearsal,
        rows=rows,
        slow=(*rehearsal.slow, SlowFact(name, low, "V", note)),
        retries=(*rehearsal.retries, *other.retries),
        verdict=verdict(rows, first, context_of(rows, rehearsal.modes, rehearsal.line), cycle),
    )


def _row_of(rehearsal: Rehearsal, row: Judged) -> Judged | None:
    return next((r for r in rehearsal.rows if r.quantity == row.quantity), None)


def worse(crest: Judged, low: Judged | None, volts: float) -> Judged:
    """The worse of a figure at crest and trough; one that was not evaluated stays so."""
    if low is None or crest.value is None:
        return crest
    if low.value is not None and low.value <= crest.value:
        return crest
    return replace(
        low, limit=crest.limit, source=f"{low.source}; at the link's trough, {volts:.0f} V"
    )
