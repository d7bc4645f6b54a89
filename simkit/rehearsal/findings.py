"""From a rehearsal's stretches to what was found: series, errors, verdict, operating points."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.figures.table import figures, of_loss
from simkit.judge.limits import Limit, machine_limits
from simkit.judge.verdict import (
    Judged,
    Unrated,
    Verdict,
    judged,
    leading,
    too_uncertain,
    verdict,
    with_opinion,
)
from simkit.measure.commutation import Mode, mode_of
from simkit.measure.energy import EnergyBalance, balance
from simkit.measure.point import OperatingPoint, operating_point
from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.slow_heat import Body
from simkit.rehearsal.closeup import merged, settled_until
from simkit.rehearsal.discretisation import CAUSES, ErrorByCause, natural_zero
from simkit.rehearsal.error_budget import Assessed, Findings, SecondRuns, assessed
from simkit.rehearsal.flux_offset import without_offset
from simkit.rehearsal.heat import LEDGER
from simkit.rehearsal.onset import onset
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.second_engine import opinion
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import Curve
from simkit.rehearsal.warming import Warmed
from simkit.units import format_quantity

MODE_WORDS = {
    "capacitive": "with the drive below resonance, ",
    "inductive": "with the drive above resonance, ",
    "resonant": "with the drive near resonance, ",
}
REVERSED = "with the drive so near resonance that the current reversed in the dead time, "
"""The same for what a diode that is forced off does."""


@dataclass(frozen=True)
class ModeSpan:
    """A stretch of one mode [s]."""

    start: float
    end: float
    mode: Mode


@dataclass(frozen=True)
class SlowFact:
    """One figure of the slow part, in `unit`; None when it does not come to that."""

    name: str
    value: float | None
    unit: str
    note: str


@dataclass(frozen=True)
class Tripped:
    """The drive took its gates off by itself."""

    by: str
    """What told it to."""
    crossed: float
    """When that passed its level [s]."""
    off: float
    """When the gates went off [s]."""
    level: float
    """In `unit`."""
    unit: str
    again: float | None = None
    """When they come on again [s]; None where the trip latches."""


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
    why_whole: str
    """Why it did; empty where the event was sampled."""
    carried_on: float
    """By how much the run was carried on because a figure still rose [s]."""
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
    settled_residue: float | None
    """How far the settled part still is from periodic [1]; None when it was not measured."""
    second: SecondRuns | None
    """What another engine was asked; None when none was."""
    retries: tuple[str, ...]
    warming: Warmed | None
    """The electro-thermal loop; None where the switch says nothing of temperature."""
    later_error: float = float("nan")
    """Numerical error of the junction minutes later [K]; nan where nothing goes on."""
    unrated: tuple[Unrated, ...] = ()
    """Parts whose figures have no rating to be held against."""
    bodies: tuple[Body, ...] = ()
    """What else warms while the last state goes on."""
    slow: tuple[SlowFact, ...] = ()
    """Figures of what goes on for minutes, marched and not run."""
    tripped: tuple[Tripped, ...] = ()
    """What the drive's protection did, in order of time."""

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Every circuit run: first pass, then the finer ones."""
        return (*self.first_pass, *self.close)


def findings(found: Findings) -> Rehearsal:
    """What the runs left; the slow part of a scenario is `aftermath`'s."""
    if not found.is_whole:
        found = replace(
            found,
            stretches=without_offset(found.machine, found.stretches),
            fine=without_offset(found.machine, found.fine),
        )
    whole = found.stretches[0] if found.is_whole else merged(found.stretches)
    have = assessed(found)
    refused = have.refused(found.machine)
    rows = tuple(_row(limit, found, have, refused) for limit in machine_limits(found.machine))
    first = min((e.start for e in found.line.events), default=None)
    modes = mode_spans(found, whole)
    return Rehearsal(
        machine=found.machine,
        scenario=found.scenario,
        line=found.line,
        scout=found.scout,
        whole=whole,
        close=found.fine,
        first_pass=found.stretches,
        is_whole=found.is_whole,
        why_whole=found.why_whole,
        carried_on=found.carried_on,
        series=have.series,
        rows=rows,
        verdict=verdict(
            rows, first, context_of(rows, modes, found.line), 1.0 / found.line.frequency.first
        ),
        before=point_before(found),
        after=point_after(found),
        modes=modes,
        energy=energy_over(found),
        seconds_to_limit=have.seconds_to_limit,
        seed_residue=have.residue,
        settled_residue=found.settled_residue,
        second=found.second,
        retries=found.retries,
        warming=found.warming,
        later_error=later.total if (later := have.errors.get("junction_later")) else float("nan"),
    )


def _row(
    limit: Limit, found: Findings, have: Assessed, refused: Mapping[str, ErrorByCause]
) -> Judged:
    mine = [s for s in have.series if s.quantity == limit.quantity]
    budget = have.errors.get(limit.quantity)
    error = budget.total if budget else float("nan")
    row = judged(limit, [(s, error) for s in mine])
    if budget and row.value is not None:
        row = replace(row, error_parts=budget.parts)
    if limit.quantity in figures() and figures()[limit.quantity].is_mean:
        row = replace(row, over_s=cycle_of(row.time_s, found))
    too_much = refused.get(limit.quantity)
    if too_much and row.value is not None:
        return too_uncertain(
            row, f"too much to tell it from its limit; most from {CAUSES[too_much.cause]}"
        )
    if row.status in ("ok", "near") and still_rising(limit, row, found):
        end = format_quantity(found.line.end, "s", 3)
        return too_uncertain(row, f"and still rose at the end of the run, at {end}")
    return with_opinion(_since(row, found, have.curves), opinion(row, found, have))


def cycle_of(when: float | None, found: Findings) -> tuple[float, float] | None:
    """The whole cycle around a time [s], from and to; None outside all."""
    cycles = (c for s in found.stretches for c in s.cycles)
    return next(((c.start, c.end) for c in cycles if when and c.start <= when <= c.end), None)


def still_rising(limit: Limit, row: Judged, found: Findings) -> bool:
    """Whether what still rises at the end may yet carry a figure over its limit.

    A held junction is as hot as its loss makes it, so it rises with that.
    """
    own = found.rises.get(limit.quantity)
    if own is not None and own.reaches(limit.bound):
        return True
    loss = found.rises.get("loss")
    if limit.quantity not in of_loss() or loss is None or row.value is None:
        return False
    rise = row.value - natural_zero(found.machine, limit)
    return rise * 1.5 * loss.to_come / max(loss.last, 1e-9) + row.value > limit.bound


def _since(row: Judged, found: Findings, curves: Mapping[str, Curve]) -> Judged:
    """A sample over the limit says that it is over; when that began lies between the samples."""
    if row.first_over_s is None:
        return row
    period = 1.0 / found.line.frequency.at(row.first_over_s)
    if found.is_whole:  # a cycle's value has the time of its middle
        return replace(row, first_over_error_s=0.5 * period)
    if row.quantity not in curves:
        return row
    off = (row.error or 0.0) / row.value if row.value else 0.0
    began = onset(row.quantity, row.limit, found.stretches, curves[row.quantity], off)
    if began is None:
        return row
    return replace(row, first_over_s=began.at, first_over_error_s=max(began.error, 0.5 * period))


def context_of(rows: Sequence[Judged], modes: Sequence[ModeSpan], line: Timeline) -> str:
    """Words for the mode in which the leading limit was passed first; empty when none was.

    Nothing either once gates or drivers do what they should not: which current leaves which switch
    then tells of them, not of the drive and the resonance.
    """
    first = leading(rows)
    if first is None or first.first_over_s is None:
        return ""
    when = first.first_over_s
    if any(f.start <= when and f.event.about.changes in ("gates", "drivers") for f in line.faults):
        return ""
    mode = next((m.mode for m in modes if m.start <= when <= m.end), "")
    if mode == "resonant" and figures()[first.quantity].fast.only_forced:
        return REVERSED
    return MODE_WORDS.get(mode, "")


def point_before(found: Findings) -> OperatingPoint:
    """Operating point over the last cycles before the first event."""
    settled = settled_until(found.line)
    calm = [s for s in found.stretches if s.cycles[0].end <= settled + 1e-9]
    stretch = calm[-1] if calm else found.stretches[0]
    cycles = tuple(c for c in stretch.cycles if c.end <= settled + 1e-9)[-LEDGER:]
    return operating_point(stretch.waves, cycles or stretch.cycles[:1], stretch.transitions)


def point_after(found: Findings) -> OperatingPoint:
    """Operating point over the last cycles of the run: a quarter of those after the last event, so
    that what the event leaves to settle has settled; two at least."""
    stretch = found.stretches[-1]
    ended = max((e.end for e in found.line.events), default=0.0)
    late = tuple(c for c in stretch.cycles if c.start >= ended - 1e-9)
    late = late[-min(max(len(late) // 4, 2), LEDGER) :]
    return operating_point(stretch.waves, late or stretch.cycles[-1:], stretch.transitions)


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
