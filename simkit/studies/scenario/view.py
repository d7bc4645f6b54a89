"""From a rehearsal and its result to what a report page shows."""

from dataclasses import asdict

import numpy as np

from simkit.circuit.timeline import NamedEvent
from simkit.figures.table import figures
from simkit.judge.words import WORDS
from simkit.measure.commutation import Transition, legs
from simkit.measure.recovery import TAIL, Recovery
from simkit.measure.waveforms import Waves, value_at
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.rehearsal.aftermath import TIME_TO_TARGET
from simkit.rehearsal.closeup import shown_from
from simkit.rehearsal.findings import Rehearsal, SlowFact
from simkit.rehearsal.heating_course import MEETS
from simkit.rehearsal.stretches import Stretch
from simkit.report import view as page
from simkit.result.document import LimitRow, Result, Temperature, Unrated
from simkit.result.tolerance import Tolerance
from simkit.studies.advice.telling import advice_row
from simkit.studies.operating_map.study import tuned
from simkit.studies.scenario.course_view import courses
from simkit.studies.scenario.figures_in_words import (
    command,
    commutation_facts,
    numerics_facts,
    provenance_facts,
    recovery_facts,
    second_facts,
)
from simkit.studies.scenario.going_on import stay
from simkit.studies.scenario.parameter_list import fitted, parameters
from simkit.studies.scenario.waveform_view import views, waveforms, worst_word
from simkit.units import format_quantity

AROUND = 1.2e-6
"""Least time shown after the incoming switch's command in a close-up [s]."""
ASSUMPTIONS = (
    "All switches are alike, and so are all gate drives and all capacitor cans.",
    "The workpiece is a pair of inductance and resistance at the coil's ends that changes "
    "smoothly between the values in the machine file.",
    "Heatsink and pad temperatures stand still during the event; before it everything is settled.",
    "Switch values are those of the machine file at one temperature.",
)


def report_view(rehearsal: Rehearsal, result: Result, machine: Loaded[Machine]) -> page.ReportView:
    """Everything the page of one rehearsal shows."""
    worst = worst_transition(rehearsal)
    calm = healthy_transition(rehearsal, worst)
    panels, whole, windows = waveforms(rehearsal, (worst, calm))
    energy = rehearsal.energy
    return page.ReportView(
        scenario=rehearsal.scenario.name,
        title=rehearsal.scenario.title,
        description=rehearsal.scenario.description,
        machine=rehearsal.machine,
        outcome=result.verdict,
        word=WORDS[result.verdict],
        reason=result.reason,
        limits=tuple(_limit(row) for row in result.limits),
        stop=rehearsal.line.stop,
        events=tuple(_event(e, rehearsal.line.end) for e in rehearsal.line.events),
        modes=tuple(page.Span(m.start, m.end, m.mode) for m in rehearsal.modes),
        courses=tuple(courses(rehearsal)),
        worst=_close_up(rehearsal, worst, f"The {worst_word(worst)} transition"),
        healthy=_close_up(rehearsal, calm, "A healthy transition"),
        panels=panels,
        whole=whole,
        windows=windows,
        views=tuple(views(rehearsal, worst, calm)),
        sampled=() if rehearsal.is_whole else tuple(
            page.Span(s.waves.time[0], s.waves.time[-1], "circuit run")
            for s in rehearsal.first_pass
        ),
        energy=page.Energy(
            energy.supplied, energy.stored, energy.work, tuple(energy.dissipated.items()),
            energy.residual,
        ),
        temperatures=tuple(_temperature(t) for t in result.temperatures),
        before=rehearsal.before,
        after=rehearsal.after,
        commutation=tuple(commutation_facts(result.commutation)),
        recovery=tuple(recovery_facts(result.recovery)),
        numerics=(
            *numerics_facts(result.numerics),
            *second_facts(result.second_opinion),
        ),
        parameters=tuple(parameters(machine.model, machine.origins)),
        assumptions=ASSUMPTIONS,
        not_modelled=tuple(result.not_modelled),
        warnings=tuple(result.warnings),
        overridden=tuple(
            page.Fact(key, text) for key, text in result.overridden.items()
        ),
        provenance=tuple(provenance_facts(result)),
        command=command(result),
        netlist=rehearsal.whole.deck.text,
        operating=tuned(rehearsal),
        stay=stay(rehearsal),
        slow=tuple(_slow(fact) for fact in rehearsal.slow),
        heating=_heating(rehearsal.slow),
        unrated=tuple(_unrated(part) for part in result.unrated or ()),
        advice=tuple(advice_row(asdict(row), command(result)) for row in result.advice or ()),
        advice_note=result.advice_note or "",
        fitted=tuple(fitted(machine)),
        fit_method=uncertain.method if (uncertain := result.parameter_uncertainty) else "",
        within=_within(result.tolerance),
    )  # fmt: skip


def _event(event: NamedEvent, end: float) -> page.Span:
    """An event as it is shown; one that the run did not see to its end, up to there."""
    if event.end <= end + 1e-12:
        return page.Span(event.start, event.end, event.name)
    return page.Span(event.start, end, f"{event.name}, cut")


def _limit(row: LimitRow) -> page.LimitRow:
    words = figures()[row.quantity].words
    return page.LimitRow(
        part=row.part, quantity=row.quantity, title=words.title, unit=row.unit,
        value=row.value, error=row.error, limit=row.limit, ratio=row.ratio,
        time=row.time_s, first_over=row.first_over_s, status=row.status,
        source="; no verdict: ".join(filter(None, (row.source, row.note))),
        why=words.why, how=words.how, scope=words.scope, change=words.change,
        interval=row.interval,
        chance=row.probability_over,
        error_parts=row.error_parts,
        error_below=row.error_below,
        tolerance=row.tolerance,
        over=row.over_s,
    )  # fmt: skip


def _within(found: Tolerance | None) -> page.Within | None:
    if found is None:
        return None
    drivers = tuple((d.key, d.share) for d in found.drivers)
    unknown = found.share_unknown or 0.0
    return page.Within(found.share_over, unknown, found.turns, drivers, found.note)


def _slow(fact: SlowFact) -> page.Fact:
    value = "does not come to that" if fact.value is None else _said(fact)
    return page.Fact(fact.name, value, fact.note)


def _said(fact: SlowFact) -> str:
    return format_quantity(fact.value or 0.0, fact.unit, 3)


def _heating(slow: tuple[SlowFact, ...]) -> str:
    """The sentence on the time to temperature; empty where no charge is heated."""
    fact = next((f for f in slow if f.name == TIME_TO_TARGET), None)
    if fact is None:
        return ""
    if fact.value is None:
        return f"The charge never comes to its temperature: {fact.note}."
    met = next((f for f in slow if f.name == MEETS and f.value is not None), None)
    crossed = "" if met is None else f" Its resonance meets the drive at {_said(met)}."
    return f"The charge takes {_said(fact)} {fact.note}.{crossed}"


def _unrated(part: Unrated) -> page.Fact:
    title = figures()[part.quantity].words.title
    value = "not worked out" if part.value is None else format_quantity(part.value, part.unit, 3)
    return page.Fact(f"{part.part}: {title}", value, part.needs)


# --- the moments worth a close-up


def worst_transition(rehearsal: Rehearsal) -> Transition | None:
    """The transition of the worst recovery or gate lift; without one, the hardest turn-on.

    When all turn on without voltage, the one with the least current to swing the node.
    """
    found = rehearsal.whole.transitions
    if not found:
        return None
    judged = [
        r for r in rehearsal.rows
        if r.quantity in ("recovery_dv_dt", "recovery_di_dt", "gate_lift")
        and r.ratio is not None and r.time_s is not None and r.value
    ]  # fmt: skip
    recovered = [r for r in judged if r.quantity != "gate_lift"]
    pick = max(recovered or [r for r in judged if r.status == "over"],
               key=lambda r: r.ratio or 0.0, default=None)  # fmt: skip
    if pick is not None and pick.time_s is not None:
        when, part = pick.time_s, pick.part
        mine = [t for t in found if f"Q{t.outgoing}" == part] or list(found)
        return min(mine, key=lambda t: abs(t.time - when))
    return max(
        found, key=lambda t: (0.0 if t.zero_voltage else t.incoming_voltage, -t.turn_off_current)
    )


def healthy_transition(rehearsal: Rehearsal, worst: Transition | None) -> Transition | None:
    """A settled, inductive, zero-voltage transition of the same switch; None when there is none."""
    if worst is None:
        return None
    settled = rehearsal.line.events[0].start if rehearsal.line.events else rehearsal.line.stop
    good = [
        t for t in rehearsal.whole.transitions
        if t.outgoing == worst.outgoing and t.zero_voltage and t.mode == "inductive"
        and t.time != worst.time
    ]  # fmt: skip
    early = [t for t in good if t.time < settled]
    calm = early or good
    return calm[-1] if calm else None


def _finest(rehearsal: Rehearsal, start: float, end: float) -> Stretch:
    """The close-up that covers a stretch of time from its measured part on, else the whole run."""
    for stretch in rehearsal.close:
        if stretch.cycles and shown_from(stretch) <= start and end <= stretch.waves.time[-1]:
            return stretch
    return rehearsal.whole


def _close_up(rehearsal: Rehearsal, moment: Transition | None, title: str) -> page.CloseUp | None:
    if moment is None:
        return None
    dead = rehearsal.machine.drive.dead_time
    start, end = moment.time - dead, moment.time + 0.5 * dead + max(AROUND, dead)
    stretch = _finest(rehearsal, start, end)
    # The same transition as the close-up saw it, where there is one.
    found = next(
        (t for t in stretch.transitions
         if t.outgoing == moment.outgoing and abs(t.time - moment.time) < 1e-6), moment,
    )  # fmt: skip
    part = stretch.waves.between(start, end)
    recovered = next(
        (r for r in stretch.recoveries
         if r.switch == found.outgoing and abs(r.time - found.time) < dead + 1e-6), None,
    )  # fmt: skip
    sign = next(
        s if found.outgoing == upper else -s
        for upper, lower, _, s in legs(part) if found.outgoing in (upper, lower)
    )  # fmt: skip
    limit = next(r.limit for r in rehearsal.rows if r.quantity == "drain_voltage_peak")
    return page.CloseUp(
        title=title,
        finding=_finding(found, recovered),
        time=part.time,
        outgoing=_switch(part, found.outgoing),
        incoming=_switch(part, found.incoming),
        bridge_current=sign * part.primary_current,
        transition=found,
        recovery=recovered,
        recovery_end=None if recovered is None else _recovery_end(part, recovered),
        dead_time=dead,
        threshold=rehearsal.machine.switch.channel.threshold,
        link=value_at(part.time, part.link_voltage, moment.time - 0.5 * dead),
        drain_limit=limit,
    )


def _switch(part: Waves, number: int) -> page.SwitchCurves:
    s = part.switches[number - 1]
    return page.SwitchCurves(
        f"Q{number}", s.drain_source, s.gate_source, s.channel_current, s.diode_current
    )


def _recovery_end(part: Waves, found: Recovery) -> float:
    """Where the reverse current has fallen back to the share at which its charge is counted."""
    late = part.time >= found.time
    time, current = part.time[late], part.switches[found.switch - 1].diode_current[late]
    at_peak = int(np.argmin(current))
    back = np.flatnonzero(-current[at_peak:] <= TAIL * found.peak_current)
    return float(time[at_peak + int(back[0])] if len(back) else time[-1])


def _finding(found: Transition, recovered: Recovery | None) -> str:
    off, on = f"Q{found.outgoing}", f"Q{found.incoming}"
    if recovered is not None:
        return (
            f"{off}'s body diode still conducts when {on} turns on and is forced off: "
            f"{recovered.peak_current:.3g} A reverse, {recovered.dv_dt / 1e9:.3g} V/ns."
        )
    if found.zero_voltage:
        return (
            f"{found.turn_off_current:.3g} A at turn-off swing the node in "
            f"{found.needed * 1e9:.3g} ns of the {found.available * 1e9:.3g} ns there are; "
            f"{on} turns on without voltage."
        )
    return f"{on} turns on with {found.incoming_voltage:.3g} V still across it."


# --- facts in words


def _temperature(row: Temperature) -> page.Temperature:
    words = figures()[row.quantity].words.title
    return page.Temperature(row.part, words, row.celsius, row.limit)
