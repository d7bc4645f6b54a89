"""A model file beside our own switch of the same sheet, in two circuits that show its faults.

The double pulse of the sheet shows how its diode lets go and what a run with it costs; a slow sweep
of the drain shows its capacitances from volt to volt, so that a jump in one is seen.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.circuit import bench_decks
from simkit.circuit.netlist import Deck
from simkit.errors import EngineError
from simkit.parameters.switch import Switch
from simkit.run.backend import EngineRun

Array = NDArray[np.float64]
SNAPS = 2.5
"""Fall of the recovery current over its rise, and over the soft diode's own ratio, from which on a
diode counts as one that snaps [1]: soft ones lie between 0.3 and 2.7 here (JEDEC's reverse recovery
softness factor is the inverse, JESD282-B; recalled from memory)."""
LITTLE = 1.0
"""A recovery below it is not worth a word [A]."""
JUMP = 1.25
"""Change of a capacitance within WITHIN from which on it counts as a jump [1]; the steepest
junction laws change by an eighth in that, a superjunction's knee by less."""
WITHIN = 0.3
"""Width over which such a change counts as sudden [V]."""
GRID = 0.05
"""Step at which the sweep is read [V]."""
FIRST = 2.0
"""Drain voltage from which on the sweep is read [V]: below it every junction's law is steep."""
DEARER = 2.0
"""CPU over our own switch's from which on a file counts as dear [1]."""


@dataclass(frozen=True)
class LettingGo:
    """How a diode's recovery ends in the double pulse.

    Fields
    ------
    peak : of the reverse current, output capacitance included [A]
    fall : its steepest fall after the peak [A/s]
    ratio : that over the steepest rise before it [1]
    climb : steepest rise of the voltage [V/s]
    """

    peak: float
    fall: float
    ratio: float
    climb: float


@dataclass(frozen=True)
class Jump:
    """A capacitance that changes at once.

    Fields
    ------
    which : C_oss or C_rss
    voltage : at which [V]
    before, after : [F]
    """

    which: str
    voltage: float
    before: float
    after: float


@dataclass(frozen=True)
class Trial:
    """What the two circuits showed.

    Fields
    ------
    ours, theirs : recovery of our own switch and of the file's; None where the engine gave up
    jumps : of the file's capacitances
    cost : CPU of the file's double pulse over our own's [1]; NaN where it gave up
    steps : points of that run over our own's [1]
    reason : why the engine gave up, where it did
    """

    ours: LettingGo
    theirs: LettingGo | None
    jumps: tuple[Jump, ...]
    cost: float
    steps: float
    reason: str = ""

    @property
    def snaps(self) -> bool:
        """Whether the file's diode lets go far more abruptly than a soft one."""
        if self.theirs is None or self.theirs.peak < LITTLE:
            return False
        return self.theirs.ratio > SNAPS * max(self.ours.ratio, 1.0)


def tried(part: Any, ours: Switch, theirs: Switch, run: Callable[[Deck], EngineRun]) -> Trial:
    """Both circuits for a part, its own fitted switch and the one with its model file.

    Errors: EngineError when our own switch does not run.
    """
    test = pulses(part, ours)
    mine = run(test.deck)
    soft = letting_go(mine, test.turn_on)
    try:
        its = run(pulses(part, theirs).deck)
    except EngineError as error:
        return Trial(soft, None, _jumps(part, theirs, run), np.nan, np.nan, error.reason)
    again = [run(test.deck).cpu_seconds, mine.cpu_seconds]
    theirs_again = [run(pulses(part, theirs).deck).cpu_seconds, its.cpu_seconds]
    points = len(its.vectors["time"]) / len(mine.vectors["time"])
    return Trial(soft, letting_go(its, test.turn_on), _jumps(part, theirs, run),
                 min(theirs_again) / min(again), points)  # fmt: skip


def pulses(part: Any, switch: Switch) -> bench_decks.DoublePulseTest:
    """The double pulse of a MOSFET's sheet, or an IGBT's first turn-off as one."""
    given = part.turn_off[0] if part.kind == "igbt" else part.double_pulse
    amps = given.collector_current if part.kind == "igbt" else given.drain_current
    return bench_decks.double_pulse_test(
        switch, given.supply_voltage, amps, (given.gate_off, given.gate_on), given.gate_resistor,
        given.loop_inductance,
    )  # fmt: skip


def letting_go(run: EngineRun, turn_on: float) -> LettingGo:
    """Recovery of the upper switch's diode after the second pulse begins [s], from its lead."""
    after = run.vectors["time"] > turn_on
    time = run.vectors["time"][after]
    reverse = ((run.vectors["v(p)"] - run.vectors["v(d1)"]) / 1e-3)[after]
    volts = (run.vectors["v(p)"] - run.vectors["v(a)"])[after]
    top = int(np.argmax(reverse))
    slopes, climbs = _slopes(time, reverse), _slopes(time, volts)
    rise, fall = float(slopes[: top + 1].max()), float(-slopes[top:].min())
    return LettingGo(float(reverse[top]), fall, fall / rise, float(climbs.max()))


SPAN = 0.5e-9
"""Slopes are taken over it, which no probe resolves and the engine's steps do [s]."""


def _slopes(time: Array, values: Array) -> Array:
    even = np.arange(time[0], time[-1], SPAN)
    slopes: Array = np.gradient(np.interp(even, time, values), SPAN)
    return slopes[np.minimum(np.searchsorted(even, time), len(even) - 1)]


def _jumps(part: Any, switch: Switch, run: Callable[[Deck], EngineRun]) -> tuple[Jump, ...]:
    top = 0.9 * switch.ratings.drain_voltage
    sweep = bench_decks.capacitance_sweep(switch, top)
    try:
        found = dict(run(sweep.deck).vectors)
    except EngineError:
        return ()
    return tuple(jumps_of(found, sweep))


def jumps_of(vectors: dict[str, Array], sweep: bench_decks.CapacitanceSweep) -> Iterator[Jump]:
    """Where a capacitance changes at once in the sweep, the largest of each kind."""
    time = vectors["time"]
    volts = vectors["v(d1)"]
    inside = (time > sweep.begin) & (time < sweep.deck.stop)
    currents = {
        "C_oss": (vectors["v(vd)"] - volts) / sweep.sense,
        "C_rss": (vectors["v(g1)"] - vectors["v(vg)"]) / sweep.sense,
    }
    for which, current in currents.items():
        found = _largest_jump(volts[inside], current[inside] / sweep.slope)
        if found is not None:
            place, before, after = found
            yield Jump(which, place, before, after)


def _largest_jump(volts: Array, farads: Array) -> tuple[float, float, float] | None:
    """Voltage, and values on both sides, of the largest sudden change [V, F, F]."""
    even = np.arange(FIRST, volts[-1], GRID)
    smooth = np.interp(even, volts, farads)
    least = 1e-3 * float(np.max(np.abs(smooth)))
    reach = round(0.5 * WITHIN / GRID)
    low, high = smooth[: -2 * reach], smooth[2 * reach :]
    counts = np.minimum(low, high) > least  # below it the sweep's own noise
    change = np.where(counts, np.maximum(low / high, high / low), 1.0)
    k = int(np.argmax(change))
    if change[k] <= JUMP:
        return None
    return float(even[k + reach]), float(low[k]), float(high[k])
