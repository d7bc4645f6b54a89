"""Readings as observations: what was read, how sure, at which setting."""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from math import hypot

import numpy as np

from simkit.errors import InputError, Problem
from simkit.measure.ringing import NoRinging, Ringing, ringing
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.readings import Readings
from simkit.parameters.readings import Trace as TraceEntry
from simkit.parameters.scope_csv import Trace
from simkit.rehearsal.rehearser import Rehearser
from simkit.scout.bench import POWERED, Setting, fast_readings
from simkit.studies.fit.solve import Observation
from simkit.studies.inputs.uncertain_values import COVERAGE, Array
from simkit.studies.low_voltage.bench_point import circuit_readings

CIRCUIT_SHARE = 0.0025
"""Standard deviation of a circuit run's own figures, as a share: a sample may remember 0.5 % of
its start from the fast model (closeup.RESIDUE), taken as a 95 % half-width [1]."""
CIRCUIT_PHASE = 0.2
"""The same for a phase: 0.5 % of a radian, rounded up, is 0.3 deg at 95 % [deg]."""
SUPPLY_FLOOR = 0.005
"""Least deviation of a supply current as a share of the bridge current's peak: where the two are
far out of phase, what the tank still gains or loses while it is measured is no longer small [1]."""
ABSOLUTE = {"phase": CIRCUIT_PHASE, "heatsink": 0.0}


def observations(
    readings: Loaded[Readings], traces: Sequence[Trace], machine: Machine
) -> tuple[Observation, ...]:
    """Every reading of a file as an observation.

    Errors: InputError for a load the machine has not, a scope reading without `[probes]`, a
    reading that cannot exist on this machine, a trace that does not ring.
    """
    problems = list(_misfits(readings, machine))
    if problems:
        raise InputError(problems)
    found = [*_of_points(readings.model, machine)]
    for number, (entry, trace) in enumerate(zip(readings.model.traces, traces, strict=True)):
        found += _of_trace(number, entry, _rings(readings, number, entry, trace))
    return tuple(found)


def _misfits(readings: Loaded[Readings], machine: Machine) -> Iterator[Problem]:
    known = ["empty", *machine.workpieces]
    entries = [(f"points.{k}", p) for k, p in enumerate(readings.model.points)]
    named = [(key, p.load) for key, p in entries]
    named += [(f"traces.{k}", t.load) for k, t in enumerate(readings.model.traces)]
    for key, load in named:
        if load not in known:
            yield _problem(readings, f"{key}.load", load, "the machine has no such workpiece",
                           f"known: {', '.join(known)}")  # fmt: skip
    for key, point in entries:
        if point.load in known:
            possible = fast_readings(machine, Setting(point.load, point.supply_voltage,
                                                      point.frequency))  # fmt: skip
            for name, _, _ in point.read():
                if name not in possible:
                    yield _problem(readings, f"{key}.{name}", "", _why_not(name))


def _why_not(name: str) -> str:
    if name.endswith("_scope"):
        return "needs [probes] in the machine file, to know divider and burden"
    return "the machine as described shows no such ringing: its damping leaves less than a cycle"


def _problem(
    readings: Loaded[Readings], key: str, value: str, rule: str, hint: str = ""
) -> Problem:
    return Problem(str(readings.file), readings.line_of(key), key, value, rule, hint)


def _of_points(readings: Readings, machine: Machine) -> Iterator[Observation]:
    for number, point in enumerate(readings.points):
        setting = Setting(point.load, point.supply_voltage, point.frequency)
        for name, value, uncertainty in point.read():
            own = own_deviation(name, value, machine, setting)
            deviation = hypot(uncertainty / COVERAGE, own)
            yield Observation(f"points.{number}.{name}", name, value, deviation, setting)


def own_deviation(name: str, value: float, machine: Machine, setting: Setting) -> float:
    """Standard deviation that a circuit run's figure brings along, in the reading's unit."""
    if name not in POWERED:
        return 0.0
    if name == "supply_current":
        bridge = fast_readings(machine, setting, frozenset({"primary_current"}))
        return hypot(CIRCUIT_SHARE * value, SUPPLY_FLOOR * bridge["primary_current"])
    return ABSOLUTE.get(name, CIRCUIT_SHARE * abs(value))


def _rings(readings: Loaded[Readings], number: int, entry: TraceEntry, trace: Trace) -> Ringing:
    late = trace.time >= (entry.start if entry.start is not None else trace.time[0])
    try:
        if late.sum() < 16:
            raise NoRinging("fewer than 16 samples after start")
        return ringing(trace.time[late], trace.volts[late])
    except NoRinging as error:
        where = f"traces.{number}"
        raise InputError([_problem(readings, where, entry.file, str(error))]) from None


def _of_trace(number: int, entry: TraceEntry, found: Ringing) -> list[Observation]:
    setting = Setting(entry.load, entry.supply_voltage)
    share = entry.frequency_uncertainty / COVERAGE
    clock = hypot(found.frequency_error, share * found.frequency)
    names = ("ring_down_frequency", "ring_down_q")
    second, error = found.quality, found.quality_error
    if entry.kind == "edge":
        names = ("node_ringing_frequency", "node_ringing_decay")
        second, error = found.decay, found.decay_error
    # An envelope a scope digitised with 8 bits is not better than a per cent; common practice.
    error = hypot(error, 0.01 * second)
    return [
        Observation(f"traces.{number}.{names[0]}", names[0], found.frequency, clock, setting),
        Observation(f"traces.{number}.{names[1]}", names[1], second, error, setting),
    ]


def circuit_of(rehearser: Rehearser, machine: Machine, wanted: Sequence[Observation]) -> Array:
    """What circuit runs say for every observation, some settings at a time.

    Errors: EngineError when a run gives no whole answer.
    """
    names: dict[Setting, set[str]] = {}
    for seen in wanted:
        names.setdefault(seen.setting, set()).add(seen.name)

    def one(setting: Setting) -> dict[str, float]:
        return circuit_readings(rehearser, machine, setting, frozenset(names[setting]))

    with ThreadPoolExecutor(rehearser.settings.jobs) as pool:
        found = dict(zip(names, pool.map(one, names), strict=True))
    return np.array([found[s.setting].get(s.name, float("nan")) for s in wanted])
