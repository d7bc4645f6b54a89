"""How far what the runs of a rehearsal left can be trusted, quantity by quantity."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from simkit.circuit.gate_start import start_left
from simkit.circuit.timeline import Timeline
from simkit.figures.table import figures, of_loss
from simkit.judge.limits import Limit, machine_limits
from simkit.measure.series import Series
from simkit.measure.waveforms import Array
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.heat_path import heat_path
from simkit.rehearsal.closeup import merged, quick, settled_until
from simkit.rehearsal.discretisation import (
    WIDER,
    ErrorByCause,
    Refined,
    allowed,
    counts,
    link_gap,
    natural_zero,
    refined,
    slow_off,
    spread,
    tank_off,
    whole_link_gap,
)
from simkit.rehearsal.flux_offset import (
    flux_offset,
    offset_current,
    offset_error,
    start_offset,
)
from simkit.rehearsal.heat import junctions
from simkit.rehearsal.heat_in_cycle import LossCourse, beside_mean, within_cycles
from simkit.rehearsal.load_doubt import scene_share
from simkit.rehearsal.remains import Remains
from simkit.rehearsal.rising import Rising
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.sensitivity import gain, resolution, worst_place
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import Curve
from simkit.rehearsal.warming import Warmed

MISSED = 0.25
"""Share of a current that samples of a quick event were seen to miss [1]."""
REAL = 0.5
"""Share of a junction's swing within a cycle that counts, the rest is its error [1]: what a node's
capacitance takes is heat here while it is taken, so that at least none and at most all is real (our
own judgement, no source)."""
TO_COME = 2.0
"""What is left of a lift's drift, over what it moved in the last cycle seen [1]."""


@dataclass(frozen=True)
class SecondRuns:
    """What another engine made of the finer runs."""

    engine: str
    """Name and version; empty when it never answered."""
    pairs: tuple[tuple[Stretch, Stretch], ...]
    """Our finer run and the other engine's of the same deck."""
    missed: tuple[str, ...]
    """Where it needed other options or did not answer, and why."""


@dataclass(frozen=True)
class Findings:
    """What the runs of a rehearsal left, before it is looked into."""

    machine: Machine
    scenario: Scenario
    line: Timeline
    scout: Scouted
    stretches: tuple[Stretch, ...]
    fine: tuple[Stretch, ...]
    residues: dict[float, Remains]
    """What a stretch may remember of its seed, by the start of its first cycle."""
    retries: tuple[str, ...]
    is_whole: bool
    warming: Warmed | None = None
    settled_residue: float | None = None
    second: SecondRuns | None = None
    why_whole: str = ""
    """Why the circuit ran through the whole event; empty where it was sampled."""
    rises: Mapping[str, Rising] = field(default_factory=dict)
    """What still rises where the run ends, however long it was carried on."""
    carried_on: float = 0.0
    """By how much the run was carried on beyond what the scenario asks for [s]."""


@dataclass(frozen=True)
class Assessed:
    """Every series with its finer values, and the error of each quantity by its causes."""

    refined: Refined
    series: tuple[Series, ...]
    """With the junctions' temperatures."""
    errors: Mapping[str, ErrorByCause]
    residue: float
    seconds_to_limit: float
    """[s]"""
    curves: Mapping[str, Curve]
    """Courses between the samples."""

    def inexact(self, machine: Machine) -> dict[str, ErrorByCause]:
        """Judged quantities that are computed again: whose error is large for them or holds the
        limit; where another is over its limit, only those that cannot be judged at all."""
        found: dict[str, ErrorByCause] = {}
        over = self.is_over(machine)
        for limit, value, budget in self._judged(machine):
            zero = natural_zero(machine, limit)
            large = budget.total > allowed(value, limit, zero)
            if over:
                wanted = large and not counts(value, budget.total, limit, zero)
            else:
                wanted = large or abs(value - limit.bound) <= budget.total
            if wanted:
                found[limit.quantity] = budget
        return found

    def is_over(self, machine: Machine) -> bool:
        """Whether some quantity is over its limit, whatever its error."""
        return any(v - WIDER * b.total > limit.bound for limit, v, b in self._judged(machine))

    def _judged(self, machine: Machine) -> Iterator[tuple[Limit, float, ErrorByCause]]:
        """Limits, largest values and errors of what has all three."""
        worst: dict[str, list[float]] = {}
        for s in self.series:
            worst.setdefault(s.quantity, []).append(s.worst[0])
        for limit in machine_limits(machine):
            values, budget = worst.get(limit.quantity, []), self.errors.get(limit.quantity)
            if budget is not None and values and np.isfinite(values).all():
                yield limit, max(values), budget

    def refused(self, machine: Machine) -> dict[str, ErrorByCause]:
        """Those of them that cannot be held against their limit even so."""
        again = self.inexact(machine)
        return {
            limit.quantity: budget
            for limit, value, budget in self._judged(machine)
            if limit.quantity in again
            and not counts(value, budget.total, limit, natural_zero(machine, limit))
        }


def assessed(found: Findings) -> Assessed:
    """Finer values in place, temperatures, and the error of each quantity by cause."""
    whole = merged(found.stretches) if len(found.stretches) > 1 else found.stretches[0]
    better = refined(whole, found.fine)
    residue = seed_residue(found)
    link = (
        whole_link_gap(found.machine, found.scout, found.stretches[0], settled_until(found.line))
        if found.is_whole
        else link_gap(found.machine, found.scout, found.stretches)
    )
    quantities = sorted({s.quantity for s in better.series})
    curves = between_samples(found)
    above = unseen(better.series, curves) | missed(found, better.series)
    least = finest_told(found)
    known = {}
    for q in quantities:
        step = better.step_error(q)
        if np.isfinite(step):
            step = max(step, least.get(q, 0.0))
            feels = q in figures() and figures()[q].remembers == "link"
            known[q] = ErrorByCause(
                step, start_error(found, better.series, q), link if feels else 0.0,
                above.get(q, 0.0), periodicity_error(found, better.series, q),
            )  # fmt: skip
    offset = core_offset(found)
    for name, own in known.items():
        more = slow_start(found, better.series, name, offset)
        known[name] = replace(own, start=own.start + more)
    scene = found.machine, found.scenario, found.line
    share = scene_share(*scene)
    for name, own in known.items() if share else ():
        known[name] = replace(own, load=share * load_gain(found, better.series, name))
    closely = losses_closely(found, better.series)
    heat, left = junctions(*scene, better.series, curves, closely)
    warmer = [
        replace(s, values=s.values + spread(s, gap) + _loss_off(found, s) + above.get("loss", 0.0))
        for s, gap in zip(better.series, better.gaps, strict=True)
        if s.quantity == "loss"
    ]
    losses = [s for s in better.series if s.quantity == "loss"]
    raised = closely.raised(losses, warmer) if closely else None
    hot, _ = junctions(*scene, warmer, _raised(curves, better.series, warmer), raised)
    swings = {
        s.part: _beside_means(found, s, closely)
        for s in heat
        if s.quantity == "junction_peak" and len(s.values)
    }
    known |= _junction_errors(found, (heat, hot), known.get("loss"), closely, swings)
    heat = _with_swing(heat, losses, swings)
    return Assessed(better, (*better.series, *heat), known, residue, left, curves)


def load_gain(found: Findings, series: Sequence[Series], quantity: str) -> float:
    """How a quantity's worst value goes with the coil's current, in its unit; the gates' do not."""
    if quantity in figures() and figures()[quantity].remembers == "gate":
        return 0.0
    value, when = worst_place(series, quantity)
    return gain(quantity, found.scout.event, when) * abs(value)


def core_offset(found: Findings) -> float:
    """Largest offset of the core's flux that starts left in the runs [T]."""
    if found.is_whole:
        return start_offset(found.machine, found.stretches[0], settled_until(found.line))
    return max((abs(flux_offset(found.machine, s)) for s in found.fine), default=0.0)


def slow_start(found: Findings, series: Sequence[Series], quantity: str, offset: float) -> float:
    """What a slow state beside the tank's may have left of a quantity's worst value, in its unit;
    the link's has a place of its own. offset: `core_offset` [T]."""
    if quantity not in figures():
        return 0.0
    figure = figures()[quantity]
    if figure.remembers == "core":
        return offset if found.is_whole else offset_error(found.machine, found.fine)
    drift = gate_drift(found, series) if figure.remembers == "gate" and not found.is_whole else 0.0
    on_winding = figure.remembers in ("gate", "winding")
    rings = start_left(found.machine, found.line) if on_winding else 0.0
    return max(drift, rings) + figure.offset * offset_current(found.machine, offset)


def start_error(found: Findings, series: Sequence[Series], quantity: str) -> float:
    """What the start from the fast model may have left of a quantity's worst value, in its unit."""
    value, when = worst_place(series, quantity)
    off = tank_off(found.residues, when)
    return off * gain(quantity, found.scout.event, when) * abs(value)


def periodicity_error(found: Findings, series: Sequence[Series], quantity: str) -> float:
    """The same of what the link and the blocking capacitor still moved in the settled part."""
    value, when = worst_place(series, quantity)
    return slow_off(found.residues, when) * gain(quantity, found.scout.event, when) * abs(value)


def missed(found: Findings, series: Sequence[Series]) -> dict[str, float]:
    """What samples of a change too quick for them may not have seen, per quantity: nothing as a
    rule, for such an event runs whole unless it is too long for that."""
    if found.is_whole or not quick(found.line, found.scout):
        return {}
    quantities = {s.quantity for s in series}
    return {q: MISSED * abs(worst_place(series, q)[0]) for q in quantities}


def gate_drift(found: Findings, series: Sequence[Series]) -> float:
    """What the gates' own start may have left of the largest lift [V].

    Behind a gate transformer the gates settle more slowly than a sample lasts. From cycle to cycle
    of the settled part a lift still moves by a share of what is to come: of exp(-t/T) with T of
    two to three cycles, twice the last move is left.
    """
    settled = settled_until(found.line)
    lifts = [s for s in series if s.quantity == "gate_lift" and len(s.values)]
    worst = max(lifts, key=lambda s: s.worst[0], default=None)
    if worst is None:
        return 0.0
    calm = worst.values[worst.times <= settled + 1e-9][-2:]
    return TO_COME * float(np.abs(np.diff(calm)).sum())


def _loss_off(found: Findings, losses: Series) -> Array:
    """What the starts of the samples may have left in each value of a loss, in its unit."""
    off = np.array([tank_off(found.residues, t) for t in losses.times.tolist()])
    return gain("loss", found.scout.event, 0.0) * off * np.abs(losses.values)


def finest_told(found: Findings) -> dict[str, float]:
    """What the finest of the finer runs cannot tell apart, by quantity; nothing without any."""
    if not found.fine:
        return {}
    finest = min((s.analysis for s in found.fine), key=lambda a: a.reltol)
    return resolution(found.machine, finest)


def seed_residue(found: Findings) -> float:
    """Largest share of its size by which a deciding stretch may remember its seed [1]."""
    decisive = [min(found.residues, key=lambda t: abs(t - f.cycles[0].start))
                for f in found.fine if found.residues]  # fmt: skip
    return max((found.residues[t].share for t in decisive), default=0.0)


def _raised(
    curves: Mapping[str, Curve], losses: Sequence[Series], warmer: Sequence[Series]
) -> dict[str, Curve]:
    """The courses of the losses, raised by as much as the samples' losses are."""
    out = dict(curves)
    for hot in warmer:
        mine = next(s for s in losses if (s.part, s.quantity) == (hot.part, hot.quantity))
        name = f"loss {hot.part}"
        if name in out and len(hot.times):
            more = np.interp(out[name].time, hot.times, hot.values - mine.values)
            out[name] = replace(out[name], values=out[name].values + more)
    return out


def losses_closely(found: Findings, series: Sequence[Series]) -> LossCourse | None:
    """Losses within the cycles, where the circuit ran throughout and means tell too little."""
    losses = [s for s in series if s.quantity == "loss"]
    if not found.is_whole or not losses:
        return None
    whole = found.stretches[0]
    return within_cycles(whole.waves, whole.cycles, losses, heat_path(found.machine))


def _in_half_a_step(found: Findings, course: Series, closely: LossCourse | None) -> float:
    """By how much a temperature moves in half a cycle, or half a part of one, where it is highest
    [K]: losses are known over such steps, the moments in them are not. Nothing where the last
    state stands still."""
    if course.quantity != "junction_peak" or len(course.values) < 2:
        return 0.0
    k = int(np.argmax(course.values))
    near = slice(max(k - 1, 0), k + 2)
    slopes = np.abs(np.diff(course.values[near]) / np.diff(course.times[near]))
    when = float(course.times[k])
    step = closely.step(when) if closely else 1.0 / found.line.frequency.at(when)
    return float(slopes.max()) * 0.5 * step


def _with_swing(
    heat: Sequence[Series], losses: Sequence[Series], swings: Mapping[str, float]
) -> list[Series]:
    """Temperatures with what junctions rise above the course of their cycles' means, `swings` by
    part [K]: that at the hottest moment, elsewhere in proportion to the loss."""
    out = []
    for s in heat:
        own = next((x for x in losses if x.part == s.part), None)
        if s.quantity == "junction_peak" and own is not None and s.part in swings:
            loss = np.interp(s.times, own.times, own.values)
            there = float(np.interp(s.worst[1], own.times, own.values))
            swing = REAL * swings[s.part]
            s = replace(s, values=s.values + swing * np.clip(loss / max(there, 1e-12), 0.0, 1.0))
        out.append(s)
    return out


def _beside_means(found: Findings, course: Series, closely: LossCourse | None) -> float:
    """By how much a junction rises above the course of its cycles' means where it is hottest [K];
    nothing where the losses within the cycle were followed."""
    when = course.worst[1]
    period = 1.0 / found.line.frequency.at(when)
    if closely is not None and closely.step(when) < 0.9 * period:
        return 0.0
    known = [(abs(0.5 * (c.start + c.end) - when), k, c)
             for k, s in enumerate(found.stretches) for c in s.cycles]  # fmt: skip
    _, k, cycle = min(known, key=lambda row: row[0])
    return beside_mean(found.stretches[k].waves, cycle, course.part, heat_path(found.machine))


def _junction_errors(
    found: Findings, courses: tuple[Sequence[Series], Sequence[Series]],
    loss: ErrorByCause | None, closely: LossCourse | None, swings: Mapping[str, float],
) -> dict[str, ErrorByCause]:  # fmt: skip
    """What the loss's error does to the temperatures, shared out to causes as the loss's is, and
    what of `swings` (`_beside_means`, by part) may be none."""
    if loss is None:
        return {}
    heat, hot = courses
    out = {}
    for quantity in {s.quantity for s in heat} & of_loss():
        pairs = zip(heat, hot, strict=True)
        rise = max(h.worst[0] - s.worst[0] for s, h in pairs if s.quantity == quantity)
        if np.isfinite(rise):
            part = rise / loss.total if loss.total > 0.0 else 0.0
            mine = [s for s in heat if s.quantity == quantity]
            moved = max(_in_half_a_step(found, s, closely) for s in mine)
            if quantity == "junction_peak":
                hottest = max(mine, key=lambda s: s.worst[0])
                moved += (1.0 - REAL) * swings.get(hottest.part, 0.0)
            scaled = loss.scaled(part)
            out[quantity] = replace(scaled, between=scaled.between + moved)
    return out


def between_samples(found: Findings) -> dict[str, Curve]:
    """Courses of judged quantities between the samples; none where the circuit ran throughout."""
    if found.is_whole or not found.line.events:
        return {}
    parts = sorted({s.part for s in found.stretches[0].series if s.quantity == "loss"})
    return found.scout.scaled(found.stretches, parts)


def unseen(series: Sequence[Series], curves: Mapping[str, Curve]) -> dict[str, float]:
    """By how much a course rises above everything sampled, per quantity."""
    out = {}
    for quantity, curve in curves.items():
        values = [s.worst[0] for s in series if s.quantity == quantity]
        if values:
            out[quantity] = max(curve.peak[0] - max(values), 0.0)
    return out
