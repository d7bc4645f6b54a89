"""From a rehearsal's stretches to what was found: series, errors, verdict, operating points."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.judge.limits import Limit, machine_limits
from simkit.judge.verdict import Judged, Verdict, judged, leading, verdict
from simkit.measure import thermal
from simkit.measure.commutation import mode_of
from simkit.measure.energy import EnergyBalance, balance
from simkit.measure.periodic import Cycle, cycle_average
from simkit.measure.point import OperatingPoint, operating_point
from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.aftermath import SlowFact, with_aftermath
from simkit.studies.closeup import Scouted, merged
from simkit.studies.surrogate import Curve
from simkit.studies.warming import Warmed
from simkit.studies.windows import Stretch

LEDGER = 12
"""Most cycles over which operating points and last states are averaged [1]."""
SWING_ERROR = 0.004
"""How far off the fast model's swing may be that a sample's seed keeps, as a share [1]: the largest
seen against whole circuit runs of a pull-out (docs/numerics.md holds the result to it)."""
LINK_MARGIN = 1.5
"""On the gap of the link's intake [1]: a few samples do not see it at its largest."""
MODE_WORDS = {
    "capacitive": "with the drive below resonance, ",
    "inductive": "with the drive above resonance, ",
    "resonant": "with the drive so near resonance that the current reversed in the dead time, ",
}


@dataclass(frozen=True)
class ModeSpan:
    """A stretch of one mode [s]."""

    start: float
    end: float
    mode: str


@dataclass(frozen=True)
class Findings:
    """What the runs of a rehearsal left, before it is looked into."""

    machine: Machine
    scenario: Scenario
    line: Timeline
    scout: Scouted
    stretches: tuple[Stretch, ...]
    fine: tuple[Stretch, ...]
    residues: dict[float, float]
    """Share of the seed that a stretch may remember, by the start of its first cycle [1]."""
    retries: tuple[str, ...]
    is_whole: bool
    warming: Warmed | None = None


@dataclass(frozen=True)
class Rehearsal:
    """Everything one rehearsal found."""

    machine: Machine
    scenario: Scenario
    line: Timeline
    scout: Scouted
    whole: Stretch
    """All stretches of the first pass as one, with gaps where the event was sampled."""
    close: tuple[Stretch, ...]
    """The finer runs."""
    first_pass: tuple[Stretch, ...]
    is_whole: bool
    """Whether the circuit ran through the whole event."""
    series: tuple[Series, ...]
    rows: tuple[Judged, ...]
    verdict: Verdict
    before: OperatingPoint
    after: OperatingPoint
    modes: tuple[ModeSpan, ...]
    energy: EnergyBalance
    seconds_to_limit: float
    """How long the worst junction bears the last state [s]; inf when it never gets there."""
    seed_residue: float
    """What the start from the fast model may have left in the samples [1]."""
    retries: tuple[str, ...]
    warming: Warmed | None
    """The electro-thermal loop; None where the switch says nothing of temperature."""
    slow: tuple[SlowFact, ...] = ()
    """Figures of what goes on for minutes, marched and not run."""

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Every circuit run: first pass, then the finer ones."""
        return (*self.first_pass, *self.close)


def findings(found: Findings) -> Rehearsal:
    """Look into what the runs left."""
    whole = merged(found.stretches) if len(found.stretches) > 1 else found.stretches[0]
    curves = between_samples(found)
    series, errors = refined(whole, found.fine, found.residues)
    for quantity, more in unseen(series, curves).items():
        if quantity in errors:
            errors[quantity] += more
    if "supply_current" in errors:
        errors["supply_current"] += LINK_MARGIN * link_gap(found)
    if "flux_peak" in errors:
        errors["flux_peak"] += lopsided_flux(found)
    heat, left = junctions(found, series, curves)
    series += heat
    errors |= junction_errors(found.machine, errors)
    rows = tuple(_row(limit, series, errors, curves) for limit in machine_limits(found.machine))
    first = min((e.start for e in found.line.events), default=None)
    modes = mode_spans(found, whole)
    context = _context(rows, modes)
    rehearsal = Rehearsal(
        machine=found.machine,
        scenario=found.scenario,
        line=found.line,
        scout=found.scout,
        whole=whole,
        close=found.fine,
        first_pass=found.stretches,
        is_whole=found.is_whole,
        series=tuple(series),
        rows=rows,
        verdict=verdict(rows, first, context, 1.0 / found.line.frequency.first),
        before=point_before(found),
        after=point_after(found),
        modes=modes,
        energy=energy_over(found),
        seconds_to_limit=left,
        seed_residue=seed_residue(found),
        retries=found.retries,
        warming=found.warming,
    )
    return with_aftermath(rehearsal, context)


def seed_residue(found: Findings) -> float:
    """Largest share of its size by which a deciding stretch may remember its seed [1]."""
    decisive = [min(found.residues, key=lambda t: abs(t - f.cycles[0].start))
                for f in found.fine if found.residues]  # fmt: skip
    return max((found.residues[t] for t in decisive), default=0.0)


def between_samples(found: Findings) -> dict[str, Curve]:
    """Courses of judged quantities between the samples; none where the circuit ran throughout."""
    if found.is_whole or not found.line.events:
        return {}
    parts = sorted({s.part for s in found.stretches[0].series if s.quantity == "loss"})
    return found.scout.scaled(found.stretches, parts)


def unseen(series: Sequence[Series], curves: dict[str, Curve]) -> dict[str, float]:
    """By how much a course rises above everything sampled, per quantity."""
    out = {}
    for quantity, curve in curves.items():
        values = [s.worst[0] for s in series if s.quantity == quantity]
        if values:
            out[quantity] = max(curve.peak[0] - max(values), 0.0)
    return out


def lopsided_flux(found: Findings) -> float:
    """Difference between the core's two flux peaks in the most lopsided finer run [T].

    A sample's start leaves an offset in the flux that hardly fades while it lasts, and what the
    bridge's own offset would be cannot be told from it. Nothing in a whole run.
    """
    if found.is_whole:
        return 0.0
    transformer = found.machine.transformer
    linked = transformer.primary_turns * transformer.core_area
    offsets = []
    for stretch in found.fine:
        part = stretch.waves.between(stretch.cycles[0].start, stretch.cycles[-1].end)
        offsets.append(abs(float(part.linkage.max() + part.linkage.min())) / linked)
    return max(offsets, default=0.0)


def link_gap(found: Findings) -> float:
    """What the link's start from the fast model may put into the source's current [A].

    The link capacitor remembers for longer than a sample lasts, so that the source's current there
    follows from what the fast model drew before: it is off by as much as the fast model's intake
    of the bridge differs from the circuit's, at its worst. Nothing in a whole run.
    """
    if found.is_whole:
        return 0.0
    cycles = found.scout.event.cycles
    worst = 0.0
    for stretch in found.stretches:
        span = Cycle(stretch.cycles[0].start, stretch.cycles[-1].end)
        upper = stretch.waves.switches[::2]
        drawn = cycle_average(stretch.waves, np.sum([s.drain_current for s in upper], axis=0), span)
        inside = (cycles.time >= span.start - 1e-9) & (cycles.time < span.end)
        guess = float(np.mean(cycles.supply_current[inside])) if inside.any() else drawn
        worst = max(worst, abs(drawn - guess))
    return worst


def refined(
    whole: Stretch, fine: Sequence[Stretch], residues: dict[float, float]
) -> tuple[list[Series], dict[str, float]]:
    """Series with the finer values in place, and the error per quantity.

    The error is the largest difference, value by value at the same cycle of the same part, plus
    what the seed may have left of the value in the sample it comes from. A quantity that no finer
    run touched has none.
    """
    out: list[Series] = []
    errors: dict[str, float] = {}
    worst: dict[str, tuple[float, float]] = {}
    for series in whole.series:
        values = series.values.copy()
        for stretch in fine:
            other = _same(stretch.series, series)
            for when, value in zip(other.times, other.values, strict=True):
                k = int(np.argmin(np.abs(series.times - when))) if len(series.times) else -1
                if k < 0 or abs(series.times[k] - when) > 1e-6:
                    continue
                gap = abs(float(value - series.values[k]))
                errors[series.quantity] = max(errors.get(series.quantity, 0.0), gap)
                values[k] = value
        out.append(replace(series, values=values))
        if len(values) and out[-1].worst[0] >= worst.get(series.quantity, (0.0, 0.0))[0]:
            worst[series.quantity] = out[-1].worst

    def left(quantity: str) -> float:
        value, when = worst.get(quantity, (0.0, 0.0))
        nearest = min(residues, key=lambda t: abs(t - when), default=None)
        return 0.0 if nearest is None else (residues[nearest] + SWING_ERROR) * value

    return out, {q: e + left(q) for q, e in errors.items()}


def _same(pool: Sequence[Series], wanted: Series) -> Series:
    for series in pool:
        if (series.part, series.quantity) == (wanted.part, wanted.quantity):
            return series
    return replace(wanted, times=np.array([]), values=np.array([]))


def _row(
    limit: Limit, series: Sequence[Series], errors: dict[str, float], curves: dict[str, Curve]
) -> Judged:
    mine = [s for s in series if s.quantity == limit.quantity]
    error = errors.get(limit.quantity, float("nan"))
    row = judged(limit, [(s, error) for s in mine])
    if row.first_over_s is None or limit.quantity not in curves:
        return row
    # A sample over the limit says that it is over; when that began lies between the samples.
    began = curves[limit.quantity].first_above(limit.bound)
    return row if began is None else replace(row, first_over_s=min(began, row.first_over_s))


def _context(rows: Sequence[Judged], modes: Sequence[ModeSpan]) -> str:
    first = leading(rows)
    if first is None or first.first_over_s is None:
        return ""
    when = first.first_over_s
    mode = next((m.mode for m in modes if m.start <= when <= m.end), "")
    return MODE_WORDS.get(mode, "")


def junctions(
    found: Findings, series: Sequence[Series], curves: dict[str, Curve]
) -> tuple[list[Series], float]:
    """Junction temperature of each switch, in the event and held, and the time left [s].

    Between samples the loss follows the fast model's course, scaled to them.
    """
    machine = found.machine
    losses = [s for s in series if s.quantity == "loss"]
    ratings = machine.switch.ratings
    settled = found.line.events[0].start if found.line.events else found.line.end
    # The cycle in which the event begins is no settled one any more, though its middle is earlier.
    calm_until = settled - 0.5 / found.line.frequency.first
    before = [calm_mean(s, calm_until) for s in losses]
    out: list[Series] = []
    left = float("inf")
    bound = next(x.bound for x in machine_limits(machine) if x.quantity == "junction_held")
    for s, calm in zip(losses, before, strict=True):
        start = thermal.settled_junction(machine, calm, sum(before))
        grid = np.union1d(s.times, np.linspace(s.times[0], s.times[-1], 200))
        dense = curves.get(f"loss {s.part}")
        loss = np.interp(grid, s.times, s.values)
        if dense is not None:
            loss = np.interp(grid, dense.time, dense.values)
        course = thermal.junction_course(ratings, start, calm, grid, loss)
        last = float(np.mean(s.values[s.times > s.times[-1] - 80e-6][-LEDGER:]))
        held = thermal.held_junction(ratings, start, calm, last, machine.limits.hold_time)
        left = min(left, thermal.time_to_limit(ratings, start, calm, last, bound))
        out.append(Series(s.part, "junction_peak", "degC", grid, course))
        end = np.array([s.times[-1] + machine.limits.hold_time])
        out.append(Series(s.part, "junction_held", "degC", end, np.array([held])))
    return out, left


def calm_mean(series: Series, until: float) -> float:
    """Mean over the last values up to a time [s], or the first value where there is none."""
    calm = series.values[series.times <= until + 1e-9]
    return float(np.mean(calm[-LEDGER:] if len(calm) else series.values[:1]))


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


def point_before(found: Findings) -> OperatingPoint:
    """Operating point over the last cycles before the first event."""
    settled = found.line.events[0].start if found.line.events else found.line.end
    calm = [s for s in found.stretches if s.cycles[0].end <= settled + 1e-9]
    stretch = calm[-1] if calm else found.stretches[0]
    cycles = tuple(c for c in stretch.cycles if c.end <= settled + 1e-9)[-LEDGER:]
    return operating_point(stretch.waves, cycles or stretch.cycles[:1], stretch.transitions)


def point_after(found: Findings) -> OperatingPoint:
    """Operating point over the last cycles of the run."""
    stretch = found.stretches[-1]
    return operating_point(stretch.waves, stretch.cycles[-LEDGER:], stretch.transitions)


def mode_spans(found: Findings, whole: Stretch) -> tuple[ModeSpan, ...]:
    """Mode over time: from the circuit's first leg; between samples, from the fast model."""
    seen = [(t.time, t.mode) for t in whole.transitions if t.outgoing <= 2]
    if not found.is_whole:
        cycles = found.scout.event.cycles
        covered = [(s.cycles[0].start, s.cycles[-1].end) for s in found.stretches]
        for time, off, on in zip(
            cycles.time, cycles.turn_off_current, cycles.turn_on_current, strict=True
        ):
            if time >= 0.0 and not any(a <= time <= b for a, b in covered):
                seen.append((float(time), mode_of(float(off), float(on))))
    seen.sort()
    spans: list[ModeSpan] = []
    for time, mode in seen:
        if spans and spans[-1].mode == mode:
            spans[-1] = replace(spans[-1], end=time)
        else:
            start = spans[-1].end if spans else 0.0
            spans.append(ModeSpan(start, time, mode))
    if spans:
        spans[-1] = replace(spans[-1], end=found.line.end)
    return tuple(spans)


def energy_over(found: Findings) -> EnergyBalance:
    """Energy balance over the event; between samples the powers follow the squared coil current.

    The residual is the largest of any stretch.
    """
    parts = [
        (0.5 * (s.cycles[0].start + s.cycles[-1].end), s.cycles[-1].end - s.cycles[0].start,
         balance(s.waves, s.cycles[0].start, s.cycles[-1].end))
        for s in found.stretches
    ]  # fmt: skip
    if len(parts) == 1:
        return parts[0][2]
    middle = np.array([p[0] for p in parts])
    grid = np.linspace(0.0, found.line.end, 400)
    cycles = found.scout.event.cycles
    square = np.maximum(cycles.coil_current_peak, 1e-9) ** 2

    def total(values: Sequence[float]) -> float:
        power = np.array(values) / np.array([p[1] for p in parts])
        share = np.interp(grid, middle, power / np.interp(middle, cycles.time, square))
        return float(np.trapezoid(share * np.interp(grid, cycles.time, square), grid))

    names = parts[0][2].dissipated
    return EnergyBalance(
        supplied=total([b.supplied for _, _, b in parts]),
        stored=total([b.stored for _, _, b in parts]),
        dissipated={n: total([b.dissipated[n] for _, _, b in parts]) for n in names},
        work=total([b.work for _, _, b in parts]),
        residual=max((b.residual for _, _, b in parts), key=abs),
    )
