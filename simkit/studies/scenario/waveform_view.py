"""What the report's waveform viewer is given: the event as a whole, and stretches at full rate.

The finer runs come first, then a few drive periods around every moment that matters, then the
other circuit runs of a sampled event. Stretches do not overlap: where two runs cover the same
time, the finer one is shown.
"""

from collections.abc import Iterator, Sequence

from simkit.measure.commutation import Transition
from simkit.measure.waveforms import Waves
from simkit.rehearsal.closeup import shown_from
from simkit.rehearsal.findings import Rehearsal
from simkit.report import view as page

PERIODS = 3.0
"""Drive periods kept at full rate around a moment that matters [1]."""
LEAST = 0.5e-6
"""A shorter rest between two stretches is not kept by itself [s]."""
Pair = tuple[Transition | None, Transition | None]


def worst_word(found: Transition | None) -> str:
    """What the transition picked as the worst is called: nothing is wrong with some."""
    fine = found is not None and found.zero_voltage and found.mode == "inductive"
    return "tightest" if fine else "worst"


def moments(
    rehearsal: Rehearsal, worst: Transition | None, calm: Transition | None
) -> Iterator[tuple[str, float]]:
    """Moments that matter, with their names [s]."""
    if worst is not None:
        yield f"{worst_word(worst)} transition".capitalize(), worst.time
    if calm is not None:
        yield "Healthy transition", calm.time
    for event in rehearsal.line.events:
        yield f"{event.name} begins".capitalize(), event.start
    over = [r.first_over_s for r in rehearsal.rows if r.first_over_s is not None]
    if over:
        yield "First over a limit", min(over)


def views(
    rehearsal: Rehearsal, worst: Transition | None, calm: Transition | None
) -> Iterator[page.Span]:
    """Stretches of time to jump to: the whole event, then a little around every moment."""
    line, dead = rehearsal.line, rehearsal.machine.drive.dead_time
    yield page.Span(0.0, line.stop, "Whole event")
    kept = [(a, b) for *_, a, b in _apart(candidates(rehearsal, (worst, calm)))]
    for title, when in moments(rehearsal, worst, calm):
        if title.endswith("transition"):
            start, end = kept_around(kept, when, when - 1.5 * dead, when + 3.5 * dead)
            yield page.Span(start, end, title)
        else:
            start, end = _around(rehearsal, when)
            yield page.Span(start, end, title)


def kept_around(
    kept: Sequence[tuple[float, float]], when: float, start: float, end: float
) -> tuple[float, float]:
    """A stretch of time cut to what is kept at full rate around a moment in it [s]: beyond that
    the circuit may not have run. As it is where nothing is kept there."""
    spans = list[tuple[float, float]]()
    for a, b in sorted(kept):
        if spans and a <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(b, spans[-1][1]))
        else:
            spans.append((a, b))
    held = [(max(a, start), min(b, end)) for a, b in spans if a <= when <= b]
    return held[0] if held else (start, end)


def _around(rehearsal: Rehearsal, when: float) -> tuple[float, float]:
    half = 0.5 * PERIODS / rehearsal.line.frequency.at(when)
    return max(when - half, 0.0), min(when + half, rehearsal.line.stop)


def waveforms(
    rehearsal: Rehearsal, transitions: Pair
) -> tuple[tuple[page.Panel, ...], page.Record, tuple[page.Record, ...]]:
    """Panels, the whole event, and the stretches at full rate, most important first."""
    machine, stop = rehearsal.machine, rehearsal.line.stop
    limits = {row.quantity: row.limit for row in rehearsal.rows}
    threshold = machine.switch.channel.threshold
    panels = (
        page.Panel("drain-source", "V", (page.Level(limits["drain_voltage_peak"], "limit"),)),
        page.Panel("bridge current", "A"),
        page.Panel("gate-source", "V", (page.Level(threshold, "threshold"),)),
        page.Panel("tank voltage", "V"),
        page.Panel("coil current", "A"),
    )
    worst = transitions[0]
    pair = (worst.outgoing, worst.incoming) if worst else (1, 2)
    whole = _record("Whole event", rehearsal.whole.waves.between(0.0, stop), pair)
    records = []
    for title, waves, start, end in _apart(candidates(rehearsal, transitions)):
        part = waves.between(start, end)
        if len(part.time) > 1:
            records.append(_record(title, part, pair))
    return panels, whole, tuple(records)


def candidates(
    rehearsal: Rehearsal, transitions: Pair
) -> Iterator[tuple[str, Waves, float, float]]:
    """Stretches worth keeping at full rate, most important first; they may overlap."""
    stop = rehearsal.line.stop
    first = rehearsal.first_pass
    for stretch in rehearsal.close:
        yield "fine", stretch.waves, shown_from(stretch), stop
    for title, when in moments(rehearsal, *transitions):
        start, end = _around(rehearsal, when)
        for stretch in first:
            yield title, stretch.waves, max(start, shown_from(stretch)), end
    if not rehearsal.is_whole:
        for stretch in first:
            yield "sample", stretch.waves, shown_from(stretch), stop


def _apart(
    wanted: Iterator[tuple[str, Waves, float, float]],
) -> Iterator[tuple[str, Waves, float, float]]:
    taken: list[tuple[float, float]] = []
    for title, waves, start, end in wanted:
        low, high = max(start, float(waves.time[0]), 0.0), min(end, float(waves.time[-1]))
        for a, b in uncovered(low, high, taken):
            yield title, waves, a, b
            taken.append((a, b))


def uncovered(
    start: float, end: float, taken: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """The parts of a stretch that no other covers, but for slivers [s]."""
    free, at = [], start
    for a, b in sorted(taken):
        if b <= at or a >= end:
            continue
        if a > at:
            free.append((at, a))
        at = max(at, b)
    free.append((at, end))
    return [(a, b) for a, b in free if b - a > LEAST]


def _record(title: str, part: Waves, pair: tuple[int, int]) -> page.Record:
    out, into = (part.switches[number - 1] for number in pair)
    a, b = (f"Q{number}" for number in pair)
    traces = (
        page.Trace(a, 0, out.drain_source),
        page.Trace(b, 0, into.drain_source),
        page.Trace("primary", 1, part.primary_current),
        page.Trace(f"{a} body diode", 1, out.diode_current),
        page.Trace(f"{b} channel", 1, into.channel_current),
        page.Trace(a, 2, out.gate_source),
        page.Trace(b, 2, into.gate_source),
        page.Trace("coil ends", 3, part.coil_voltage),
        page.Trace("coil", 4, part.coil_current),
    )
    return page.Record(title, part.time, traces)
