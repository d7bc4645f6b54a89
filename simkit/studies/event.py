"""A rehearsal of one scenario: settle, let the events happen, measure, judge.

The whole event runs once at the working tolerance. The moments that decide (where each judged
quantity is worst) run again as close-ups with finer steps, started from the whole run's slow
states; a close-up's figures replace those of the whole run, and the difference between the two
is the stated numerical error.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.timeline import Timeline, timeline
from simkit.circuit.values import Seed
from simkit.errors import EngineError
from simkit.judge.limits import Limit, machine_limits
from simkit.judge.verdict import Judged, Verdict, judged, leading, verdict
from simkit.measure import thermal
from simkit.measure.energy import EnergyBalance, balance
from simkit.measure.periodic import whole_cycles
from simkit.measure.point import OperatingPoint, operating_point
from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.backend import EngineRun, Progress
from simkit.studies.seeding import steady_seed
from simkit.studies.windows import Runner, Stretch, run_stretch, seed_at

WORKING = Analysis(step=20e-9, reltol=1e-4)
FINE = Analysis(step=5e-9, reltol=3e-5)
RUN_IN = 6
"""Cycles before anything is measured in a run started from the fast model [1]."""
CLOSE_RUN_IN = 3
"""The same for a close-up started from an engine run [1]."""
CLOSE_HALF = 2
"""Cycles of a close-up on either side of the moment that decides [1]."""
LEDGER = 12
"""Cycles over which operating points are averaged [1]."""


@dataclass(frozen=True)
class ModeSpan:
    """A stretch of one mode [s]."""

    start: float
    end: float
    mode: str


@dataclass(frozen=True)
class Rehearsal:
    """Everything one rehearsal found."""

    machine: Machine
    scenario: Scenario
    line: Timeline
    whole: Stretch
    close: tuple[Stretch, ...]
    series: tuple[Series, ...]
    rows: tuple[Judged, ...]
    verdict: Verdict
    before: OperatingPoint
    after: OperatingPoint
    modes: tuple[ModeSpan, ...]
    energy: EnergyBalance
    seconds_to_limit: float
    """How long the worst junction bears the last state [s]; inf when it never gets there."""
    retries: tuple[str, ...]

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Whole run and close-ups."""
        return (self.whole, *self.close)


def scenario_deck(machine: Machine, scenario: Scenario, analysis: Analysis = WORKING) -> Deck:
    """Deck of the whole run of a scenario."""
    line, seed = _whole_line(machine, scenario)
    return machine_deck(machine, line, seed, analysis)


def rehearse(
    machine: Machine,
    scenario: Scenario,
    runner: Callable[[Deck, Progress | None], EngineRun],
    progress: Progress | None = None,
) -> Rehearsal:
    """Run, measure and judge one scenario.

    Errors: EngineError when the engine gives no whole answer even on the last rung of the ladder.
    """
    line, seed = _whole_line(machine, scenario)
    retries: list[str] = []

    def to_share(low: float, high: float) -> Runner:
        inner = (lambda p: progress(low + (high - low) * p)) if progress else None
        return lambda deck: runner(deck, inner)

    whole = climb(machine, line, seed, WORKING, to_share(0.0, 0.7), 0.0, retries)
    windows = deciding_windows(machine, whole, line)
    close = []
    for k, (start, stop) in enumerate(windows):
        share = to_share(0.7 + 0.3 * k / len(windows), 0.7 + 0.3 * (k + 1) / len(windows))
        close.append(_close_up(machine, line, whole, start, stop, share, retries))
    return _findings(machine, scenario, line, whole, tuple(close), tuple(retries))


def _whole_line(machine: Machine, scenario: Scenario) -> tuple[Timeline, Seed]:
    line = timeline(machine, scenario)
    period = 1.0 / line.frequency.first
    line = line.stretch(-RUN_IN * period, line.end)
    return line, steady_seed(machine, line)


LADDER: tuple[tuple[str, Callable[[Analysis], Analysis]], ...] = (
    ("as planned", lambda a: a),
    ("abstol 1e-5", lambda a: replace(a, abstol=1e-5)),
    ("trtol 3", lambda a: replace(a, trtol=3.0)),
    ("gear", lambda a: replace(a, method="gear", step=a.step / 2)),
)
"""What is tried, in order, when the engine stops early."""


def climb(
    machine: Machine,
    line: Timeline,
    seed: Seed,
    analysis: Analysis,
    runner: Runner,
    measured_from: float,
    retries: list[str],
) -> Stretch:
    """Run a stretch, going down the ladder when the engine stops early; every rung is recorded."""
    last: EngineError | None = None
    for name, change in LADDER:
        try:
            result = run_stretch(machine, line, seed, change(analysis), runner, measured_from)
        except EngineError as error:
            if not error.retry:
                raise
            retries.append(f"{name}: {error.reason}")
            last = error
            continue
        return result
    assert last is not None
    raise last


def deciding_windows(
    machine: Machine, whole: Stretch, line: Timeline
) -> tuple[tuple[float, float], ...]:
    """Stretches [s] around the worst moment of every judged quantity, merged where they touch."""
    wanted = {limit.quantity for limit in machine_limits(machine)}
    worst: dict[str, tuple[float, float]] = {}
    for series in whole.series:
        value, when = series.worst
        if series.quantity in wanted and value > worst.get(series.quantity, (0.0, 0.0))[0]:
            worst[series.quantity] = (value, when)
    spans = []
    for _, when in worst.values():
        half = CLOSE_HALF / line.frequency.at(when)
        low = max(when - half, whole.waves.time[0] + (CLOSE_RUN_IN + 1) * half / CLOSE_HALF)
        spans.append((low, min(max(when + half, low + half), line.stop)))
    merged: list[tuple[float, float]] = []
    for start, stop in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(stop, merged[-1][1]))
        else:
            merged.append((start, stop))
    return tuple(merged)


def _close_up(
    machine: Machine,
    line: Timeline,
    whole: Stretch,
    start: float,
    stop: float,
    runner: Runner,
    retries: list[str],
) -> Stretch:
    part = line.stretch(start - CLOSE_RUN_IN / line.frequency.at(start), stop)
    seed = seed_at(whole.waves, part.begin)
    return climb(machine, part, seed, FINE, runner, start, retries)


def refined(whole: Stretch, close: Sequence[Stretch]) -> tuple[list[Series], dict[str, float]]:
    """Series with the close-ups' values in place, and the largest difference per quantity.

    The difference is taken value by value, at the same cycle or transition of the same part.
    """
    out: list[Series] = []
    errors: dict[str, float] = {}
    for series in whole.series:
        values = series.values.copy()
        for stretch in close:
            other = _same(stretch.series, series)
            for when, value in zip(other.times, other.values, strict=True):
                k = int(np.argmin(np.abs(series.times - when))) if len(series.times) else -1
                if k < 0 or abs(series.times[k] - when) > 1e-6:
                    continue
                gap = abs(float(value - series.values[k]))
                errors[series.quantity] = max(errors.get(series.quantity, 0.0), gap)
                values[k] = value
        out.append(replace(series, values=values))
    return out, errors


def _same(pool: Sequence[Series], wanted: Series) -> Series:
    for series in pool:
        if (series.part, series.quantity) == (wanted.part, wanted.quantity):
            return series
    return replace(wanted, times=np.array([]), values=np.array([]))


def _findings(
    machine: Machine,
    scenario: Scenario,
    line: Timeline,
    whole: Stretch,
    close: tuple[Stretch, ...],
    retries: tuple[str, ...],
) -> Rehearsal:
    series, errors = refined(whole, close)
    heat, left = junctions(machine, series, line)
    series += heat
    errors |= junction_errors(machine, errors)
    rows = tuple(_row(limit, series, errors) for limit in machine_limits(machine))
    first = min((e.start for e in line.events), default=None)
    settled = line.events[0].start if line.events else line.stop
    modes = mode_spans(whole, line)
    return Rehearsal(
        machine=machine,
        scenario=scenario,
        line=line,
        whole=whole,
        close=close,
        series=tuple(series),
        rows=rows,
        verdict=verdict(rows, first, _context(rows, modes)),
        before=point_near(whole, line, settled),
        after=point_near(whole, line, line.stop),
        modes=modes,
        energy=balance(whole.waves, whole.cycles[0].start, whole.cycles[-1].end),
        seconds_to_limit=left,
        retries=retries,
    )


def _row(limit: Limit, series: Sequence[Series], errors: dict[str, float]) -> Judged:
    mine = [s for s in series if s.quantity == limit.quantity]
    error = errors.get(limit.quantity, float("nan"))
    return judged(limit, [(s, error) for s in mine])


def _context(rows: Sequence[Judged], modes: Sequence[ModeSpan]) -> str:
    first = leading(rows)
    if first is None or first.first_over_s is None:
        return ""
    when = first.first_over_s
    mode = next((m.mode for m in modes if m.start <= when <= m.end), "")
    return MODE_WORDS.get(mode, "")


MODE_WORDS = {
    "capacitive": "with the drive below resonance, ",
    "inductive": "with the drive above resonance, ",
    "resonant": "with the drive so near resonance that the current reversed in the dead time, ",
}


def junctions(
    machine: Machine, series: Sequence[Series], line: Timeline
) -> tuple[list[Series], float]:
    """Junction temperature of each switch, in the event and held, and the time left [s]."""
    losses = [s for s in series if s.quantity == "loss"]
    ratings = machine.switch.ratings
    settled = line.events[0].start if line.events else line.stop
    before = [float(np.mean(s.values[s.times < settled][-LEDGER:])) for s in losses]
    out: list[Series] = []
    left = float("inf")
    bound = next(x.bound for x in machine_limits(machine) if x.quantity == "junction_held")
    for s, calm in zip(losses, before, strict=True):
        start = thermal.settled_junction(machine, calm, sum(before))
        course = thermal.junction_course(ratings, start, calm, s.times, s.values)
        last = float(np.mean(s.values[-LEDGER:]))
        held = thermal.held_junction(ratings, start, calm, last, machine.limits.hold_time)
        left = min(left, thermal.time_to_limit(ratings, start, calm, last, bound))
        out.append(Series(s.part, "junction_peak", "degC", s.times, course))
        end = np.array([s.times[-1] + machine.limits.hold_time])
        out.append(Series(s.part, "junction_held", "degC", end, np.array([held])))
    return out, left


def junction_errors(machine: Machine, errors: dict[str, float]) -> dict[str, float]:
    """Errors of the junction temperatures from that of the loss, through the steady resistances."""
    loss = errors.get("loss")
    if loss is None:
        return {}
    count = 4 if machine.bridge.topology == "full" else 2
    cooling = machine.cooling
    own = machine.switch.ratings.thermal_resistance + cooling.pad_resistance
    error = loss * (own + count * cooling.heatsink_resistance)
    return {"junction_peak": error, "junction_held": error}


def point_near(whole: Stretch, line: Timeline, end: float) -> OperatingPoint:
    """Operating point over the last cycles before a time [s]."""
    boundaries = line.boundaries(max(0.0, whole.cycles[0].start), end)
    cycles = whole_cycles(boundaries, 0.0, min(end, whole.cycles[-1].end))[-LEDGER:]
    return operating_point(whole.waves, cycles, whole.transitions)


def mode_spans(whole: Stretch, line: Timeline) -> tuple[ModeSpan, ...]:
    """Mode over time, as the first leg commutates."""
    spans: list[ModeSpan] = []
    for t in whole.transitions:
        if t.outgoing > 2:
            continue
        half = 0.25 / line.frequency.at(t.time)
        if spans and spans[-1].mode == t.mode:
            spans[-1] = replace(spans[-1], end=t.time + half)
        else:
            spans.append(ModeSpan(spans[-1].end if spans else t.time - half, t.time + half, t.mode))
    return tuple(spans)
