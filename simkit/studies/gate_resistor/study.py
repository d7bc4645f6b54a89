"""The gate resistor swept: what each value does to edges and gates, and the band that is left.

Every resistance is a settled rehearsal of the machine at its working point, first pass and finer
runs, judged against every limit of the machine; the edges are measured in both passes, so that
each figure has an error. A second resistor for turn-off keeps its share of the first.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from simkit.judge.cautions import CAUTIONS
from simkit.judge.verdict import Judged
from simkit.measure.gate_edge import UNITS, damping_ratio, gate_edge_series, gate_ringing
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parts.gate_drive import GateLoop, loop_damping, suggested_resistor
from simkit.rehearsal.discretisation import refined
from simkit.rehearsal.findings import Rehearsal
from simkit.rehearsal.stretches import Stretch
from simkit.result.plain import plain
from simkit.run.backend import Budget
from simkit.run.cache import Store, code_digest, digest_of
from simkit.run.cached import identity_of
from simkit.run.engines import engine
from simkit.run.pool import Executor, collected
from simkit.studies.all_faults.study import closest
from simkit.studies.scenario.job import job_of, worked
from simkit.studies.situations.base import draft, main_load, rounded

SCHEMA = "simkit.gate-resistor/1"
SPAN = 10.0
"""The sweep's ends over the machine's own resistor, and the other way round [1]."""
POINTS = 9
"""Resistances, evenly spaced by ratio; odd, so that the machine's own is one of them [1]."""
SHOWN = ("gate_voltage_peak", "gate_lift", "drain_voltage_peak", "junction_held")
"""Judged quantities that the resistor moves, shown beside the verdict on all of them."""


@dataclass(frozen=True)
class Figure:
    """A measured figure, worst of all commutations; value and error in `unit`."""

    unit: str
    value: float | None
    """None when it could not be had."""
    error: float | None
    """What the finer run changed, and what the start from the fast model may have left."""


@dataclass(frozen=True)
class Held:
    """A judged quantity against its limit, in `unit`."""

    unit: str
    value: float | None
    error: float | None
    limit: float
    status: str


@dataclass(frozen=True)
class Point:
    """What one gate resistor came to."""

    resistance: float
    """[ohm]"""
    turn_off_resistance: float | None
    """Of the second resistor, through a diode [ohm]."""
    verdict: str
    reason: str
    figures: Mapping[str, Figure]
    """By quantity of `measure.gate_edge`."""
    limits: Mapping[str, Held]
    """The quantities of `SHOWN`."""
    part: str | None
    """Of the first limit to go, or the closest one."""
    quantity: str | None
    ratio: float | None
    """Of that one: value over limit [1]."""
    zero_voltage: bool | None
    """Whether every switch turned on with next to nothing across it."""
    ring_frequency: float | None
    """Of the gate after turn-on [Hz]; None when no ringing could be measured."""
    ring_damping: float | None
    """Damping ratio of that ringing [1]."""
    loop_damping: float
    """Damping ratio of the gate loop by formula, drain low [1]."""


@dataclass(frozen=True)
class End:
    """One end of the band."""

    resistance: float
    """Last tried value inside [ohm]."""
    next_resistance: float | None
    """First tried value outside [ohm]; None where the sweep ends."""
    closed_by: str
    """What the next value came to, in words."""


@dataclass(frozen=True)
class Band:
    """Neighbouring tried values that are all within the limits checked."""

    low: End
    high: End


def resistances(machine: Machine) -> list[float]:
    """The values tried [ohm]: geometric, a tenth to ten times the machine's own."""
    steps = np.linspace(-1.0, 1.0, POINTS)
    return [rounded(machine.drive.gate_resistor * float(SPAN**x)) for x in steps]


def sweep(
    machine: Machine,
    *,
    engine_name: str = "ngspice",
    budget: Budget | None = None,
    store: Store | None = None,
    executor: Executor | None = None,
    progress: Callable[[float], None] | None = None,
) -> list[Point]:
    """A point per resistance, in rising order; what is in the store is not run again.

    Errors: NotHere when the machine names no workpiece; EngineMissing when the engine is not there.
    """
    identity = identity_of(engine(engine_name))
    jobs = [_job(machine, r, engine_name, budget or Budget()) for r in resistances(machine)]
    keys = [digest_of("gate-resistor", job, identity, code_digest()) for job in jobs]
    work = dict(zip(keys, jobs, strict=True))
    found = collected(work, tried, store, executor, progress, keep=lambda r: not r["timed_out"])
    return [_point(work[key], found[key]) for key in keys]


def _job(machine: Machine, resistance: float, engine_name: str, budget: Budget) -> dict[str, Any]:
    """A settled rehearsal with another gate resistor as plain data, for any worker."""
    drive = machine.drive
    instead = {"drive.gate_resistor": resistance}
    if drive.turn_off_resistor is not None:
        share = resistance / drive.gate_resistor
        instead["drive.turn_off_resistor"] = rounded(drive.turn_off_resistor * share)
    case = draft(machine, "gate-resistor", instead=instead)
    return job_of(case.machine, case.scenario, engine_name, budget)


def tried(job: Mapping[str, Any]) -> dict[str, Any]:
    """One resistance, plain data in and out; runs in a worker."""
    return worked(job, measured)


def measured(rehearsal: Rehearsal) -> dict[str, Any]:
    """What a point needs of its rehearsal."""
    shown = rehearsal.verdict.first_over or closest(rehearsal.rows)
    finest = rehearsal.close[-1] if rehearsal.close else rehearsal.first_pass[-1]
    rings = [r for t in finest.transitions if (r := gate_ringing(finest.waves, t))]
    ring = max(rings, key=lambda r: r.decay, default=None)
    return {
        "verdict": rehearsal.verdict.outcome,
        "reason": rehearsal.verdict.reason,
        "figures": {name: asdict(figure) for name, figure in edge_figures(rehearsal).items()},
        "limits": {r.quantity: asdict(_held(r)) for r in rehearsal.rows if r.quantity in SHOWN},
        "part": shown.part if shown else None,
        "quantity": shown.quantity if shown else None,
        "ratio": shown.ratio if shown else None,
        "zero_voltage": all(t.zero_voltage for t in finest.transitions),
        "ring_frequency": ring.frequency if ring else None,
        "ring_damping": damping_ratio(ring) if ring else None,
    }


def edge_figures(rehearsal: Rehearsal) -> dict[str, Figure]:
    """The worst of each quantity of the edges, the finer run's values in place."""
    found = refined(_edges(rehearsal.whole), [_edges(s) for s in rehearsal.close])
    out = {}
    for quantity, unit in UNITS.items():
        worst = max(s.worst[0] for s in found.series if s.quantity == quantity)
        # Energies go with the square of the current, which the start may have left off.
        error = found.step_error(quantity) + 2.0 * rehearsal.seed_residue * abs(worst)
        known = bool(np.isfinite(worst) and np.isfinite(error))
        out[quantity] = Figure(unit, worst if known else None, error if known else None)
    return out


def _edges(stretch: Stretch) -> Stretch:
    """A stretch with the series of its gates' edges in the place of the others."""
    return replace(stretch, series=gate_edge_series(stretch.waves, stretch.transitions))


def _held(row: Judged) -> Held:
    return Held(row.unit, row.value, row.error, row.limit, row.status)


def _point(job: Mapping[str, Any], told: Mapping[str, Any]) -> Point:
    machine = Machine.model_validate(job["machine"])
    return Point(
        resistance=machine.drive.gate_resistor,
        turn_off_resistance=machine.drive.turn_off_resistor,
        verdict=told["verdict"],
        reason=told["reason"],
        figures={name: Figure(**f) for name, f in told.get("figures", {}).items()},
        limits={name: Held(**h) for name, h in told.get("limits", {}).items()},
        part=told.get("part"),
        quantity=told.get("quantity"),
        ratio=told.get("ratio"),
        zero_voltage=told.get("zero_voltage"),
        ring_frequency=told.get("ring_frequency"),
        ring_damping=told.get("ring_damping"),
        loop_damping=loop_damping(gate_loop(machine)),
    )


def gate_loop(machine: Machine) -> GateLoop:
    """The gate loop at turn-on, the drain low."""
    drive, channel = machine.drive, machine.switch.channel
    transformer = drive.transformer
    return GateLoop(
        inductance=drive.loop_inductance
        + machine.switch.package.common_source_inductance
        + (transformer.leakage_inductance if transformer else 0.0),
        input_capacitance=channel.gate_source_capacitance + channel.gate_drain_capacitance_max,
        driver_resistance=drive.source_resistance
        + (transformer.winding_resistance if transformer else 0.0),
        internal_resistance=channel.gate_resistance,
        resistor=drive.gate_resistor,
    )


def band_of(points: Sequence[Point], own: float) -> Band | None:
    """The band: neighbouring values within the limits checked, the machine's own [ohm] among them.

    Where the machine's own is not, the longest such stretch, of the lower values when two are
    alike. A value without a verdict belongs to no band. None when no value is within.
    """
    runs: list[list[int]] = []
    for k, point in enumerate(points):
        if point.verdict != "within_limits":
            continue
        if runs and runs[-1][-1] == k - 1:
            runs[-1].append(k)
        else:
            runs.append([k])
    if not runs:
        return None
    with_own = [r for r in runs if any(points[k].resistance == own for k in r)]
    best = (with_own or [max(runs, key=len)])[0]
    return Band(_end(points, best[0], best[0] - 1), _end(points, best[-1], best[-1] + 1))


def _end(points: Sequence[Point], inside: int, outside: int) -> End:
    here = points[inside].resistance
    if not 0 <= outside < len(points):
        return End(here, None, "the sweep ends here: nothing says that a value beyond is over")
    there = points[outside]
    return End(here, there.resistance, there.reason)


def document(machine: Loaded[Machine], points: Sequence[Point], seconds: float) -> dict[str, Any]:
    """The sweep as data, SI units. The verdict is that of the machine's own resistor."""
    model = machine.model
    own = rounded(model.drive.gate_resistor)
    mine = next(p for p in points if p.resistance == own)
    band = band_of(points, own)
    critical = suggested_resistor(gate_loop(model))
    return {
        "schema": SCHEMA,
        "cautions": list(CAUTIONS),
        "machine": {"name": model.name, "file": str(machine.file), "digest": machine.digest},
        "verdict": mine.verdict,
        "reason": mine.reason,
        "load": main_load(model),
        "dead_time_s": model.drive.dead_time,
        "own_resistor_ohm": own,
        "critical_damping_ohm": critical,
        "band": None if band is None else plain(asdict(band)),
        "points": [plain(asdict(p)) for p in points],
        "total_seconds": seconds,
    }
