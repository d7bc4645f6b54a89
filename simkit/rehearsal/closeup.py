"""Close-ups: full circuit runs only where they decide, started from the fast model's states.

The fast model marches the whole event and knows, cycle by cycle, the slow states to start a
circuit run with. Circuit runs of a few cycles then sample the event: at its ends, halfway across
wide gaps, and where the fast model is worst. Around the worst sample of every judged quantity
more samples are put in until its peak is bracketed on both sides; the fast model thus chooses
where to look first, never what is found.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.figures.record import FLAT
from simkit.figures.table import of_loss
from simkit.judge.limits import machine_limits
from simkit.measure.series import Series, joined
from simkit.measure.waveforms import Waves
from simkit.parameters.machine import Machine
from simkit.rehearsal.remains import Remains
from simkit.rehearsal.scouting import Scouted
from simkit.rehearsal.stretches import Stretch
from simkit.rehearsal.surrogate import followed, whole_cycles_of, worst_of

LOOK_CYCLES = 1
"""Cycles measured per sample [1]."""
LEDGER = 2
"""Cycles measured before the first event and at the end, for the operating points [1]."""
ALONE = 3
"""The same where nothing happens and there is no other sample [1]."""
APART = LEDGER + 2.0
"""Least distance between the starts of samples, in cycles [1]: their waveforms must not overlap."""
ROUNDS = 3
"""How often samples are added or taken again [1]."""
COVERED = 0.998
"""A finer run stands for every quantity that comes within this share of its worst there [1]."""
FORCED_SHARE = 0.05
"""Forced currents below this share of the bridge's peak ask for no sample of their own [1]."""
ONSET = 0.4
"""Share of the largest forced current at which its onset is looked at [1]: gate lift is largest
while the current is still moderate."""
WIDE = 0.5
"""Largest gap between samples, as a share of the events' span [1]."""
SUDDEN = 9.0
"""Times of the tank's memory within which a change of load or drive is too quick to be sampled [1]:
between samples the fast model's averages miss what a tank does that is not yet settled. Of shorted
turns and pieces dropped in within half to five times samples left half without a verdict, and two
currents a quarter short."""
SAMPLE = 4.0
"""Cycles that a sample runs with its run-in [1]."""
DECIDES = 0.7
"""Share of the samples that run again on finer steps, which are one cycle shorter [1]."""
FINER = 2.2
"""Points of a cycle on the finer steps, over those of a sample's first run [1]; counted in a
pull-out of the demonstration machine."""
THROUGH = 1.3
"""The same of a whole run [1]."""
SPANS = 4.0
"""Stretches of a whole run that run again on finer steps [1], as a rule; four cycles each."""
WORTH = 2.0
"""A whole run is taken where it costs up to so many times what samples would [1]: it leaves nothing
between them, and what samples then take again is not in the plan."""
SHORT = 500.0
"""Cycles up to which an event that samples cannot follow runs whole [1]: a gigabyte, 12 s."""
LEAD = 1.5e-6
"""Kept before the first cycle, so that its first commutation can be shown [s]."""
MEMORIES = 0.0
"""Run-in of a sample, in times of the tank's memory [1]."""
RESIDUE = 0.003
"""A deciding sample that may remember more of its seed than this is taken again [1]."""


Look = Callable[[Scouted, float, int, float], Stretch]
"""Seeds, start [s], cycles, run-in in memory times -> the sample."""
Gather = Callable[[Sequence[Callable[[], Stretch]]], list[Stretch]]


def first_times(scout: Scouted, settled: float) -> list[tuple[float, int]]:
    """Where the first samples begin [s] and how many cycles they measure, in order of time."""
    line = scout.line
    cycles = LEDGER if line.events else ALONE
    times = {max(settled - (cycles + 1) / line.frequency.first, 0.0): cycles}
    end = line.end - (LEDGER + 1.5) / line.frequency.last
    if end > max(times) + APART / line.frequency.last:
        times[end] = LEDGER
    return sorted(times.items())


def settled_until(line: Timeline) -> float:
    """Where the first event begins, or the end where there is none [s]."""
    return line.events[0].start if line.events else line.end


def quick(line: Timeline, scout: Scouted) -> bool:
    """Whether load or drive change too quickly for samples; the supply's changes reach the tank
    through the link's capacitor, which takes longer."""
    profiles = (line.inductance, line.resistance, line.frequency)
    return any(
        e.end - e.start < SUDDEN * scout.memory(e.start)
        and any(p.at(e.start) != p.at(e.end) for p in profiles)
        for e in line.events
    )


def sampling_costs_more(scout: Scouted) -> bool:
    """Whether a whole run is worth more than samples of the event, counted in cycles."""
    if not scout.line.events:
        return False
    line = scout.line
    samples = len(first_times(scout, settled_until(line))) + len(worst_to_see(scout, []))
    sampled = samples * SAMPLE * (1.0 + DECIDES * FINER)
    return line.cycles * THROUGH + SPANS * SAMPLE * FINER < WORTH * sampled


def wanted_quantities(machine: Machine) -> frozenset[str]:
    """Quantities whose worst moment must be found: the judged ones, and the loss behind heat."""
    judged = {limit.quantity for limit in machine_limits(machine)}
    return frozenset(judged - of_loss() | {"loss"})


def apart(wanted: Sequence[float], taken: Sequence[float], least: float) -> list[float]:
    """The wanted times that keep a least distance from the taken ones and from each other [s]."""
    out: list[float] = []
    for time in sorted(wanted):
        if all(abs(time - t) > least for t in (*out, *taken)):
            out.append(time)
    return out


def sample(
    scout: Scouted,
    settled: float,
    look: Look,
    gather: Gather,
    known: Sequence[Stretch] = (),
    enough: Callable[[], bool] = lambda: False,
) -> tuple[list[Stretch], dict[float, Remains]]:
    """Sample a whole event until nothing says that a judged quantity is worse elsewhere.

    `known`: samples that there are already, such as that of the settled part; `enough`: whether no
    more may be spent on samples.
    Returns the samples in order of time and what each may remember of its seed, by its start.
    """
    period = 1.0 / scout.line.frequency.last
    wanted = wanted_quantities(scout.machine)
    near = APART * period
    taken = [s.cycles[0].start for s in known]
    first = [(t, n) for t, n in first_times(scout, settled)
             if all(abs(t - other) > near for other in taken)]  # fmt: skip
    found = [*known, *gather([_bound(look, scout, start, n) for start, n in first])]
    found.sort(key=lambda s: s.cycles[0].start)
    residues = {s.cycles[0].start: scout.sampled(s) for s in found}
    plan, retaken = worst_to_see(scout, found), list[Stretch]()
    for _ in range(ROUNDS):
        better = scout.corrected(found)
        more = apart(plan, [s.cycles[0].start for s in found], APART * period)
        # Samples from uncorrected seeds that turned out to decide are taken again.
        again = [found[k] for k in deciding(found, wanted)
                 if residues[found[k].cycles[0].start].share > RESIDUE
                 and not any(found[k] is s for s in retaken)]  # fmt: skip
        tasks = [_bound(look, better, start, LOOK_CYCLES) for start in more]
        tasks += [_bound(look, better, s.cycles[0].start - 0.1 * period, len(s.cycles))
                  for s in again]  # fmt: skip
        if not tasks or enough():
            break
        fresh = gather(tasks)
        retaken += fresh[len(more) :]
        found = [s for s in found if not any(s is a for a in again)] + fresh
        found.sort(key=lambda s: s.cycles[0].start)
        residues |= {s.cycles[0].start: better.sampled(s) for s in fresh}
        plan = worse_elsewhere(scout, found)
    return found, residues


def worst_to_see(scout: Scouted, seen: Sequence[Stretch]) -> list[float]:
    """Starts of the samples that the fast model asks for beside its first and last [s].

    One at the worst cycle of each course unless one already taken comes within `FLAT` of it, one
    where a current is first forced out of a diode in earnest, and halfway across wide gaps.
    """
    if not scout.line.events:
        return []
    time = scout.event.cycles.time[whole_cycles_of(scout.event)]
    half = 0.5 / scout.line.frequency.last
    latest = latest_start(scout)
    taken = [0.5 * (s.cycles[0].start + s.cycles[-1].end) for s in seen]
    for name, course in scout.courses().items():
        k, flat = int(np.argmax(course)), followed()[name].flat
        covered = max(np.interp(taken, time, course), default=0.0)
        if course[k] > 0.0 and covered < (1.0 - flat) * course[k]:
            taken.append(float(time[k]) + half)
    forced = -scout.event.cycles.turn_on_current[whole_cycles_of(scout.event)]
    if np.max(forced) > FORCED_SHARE * np.max(scout.event.cycles.primary_current_peak):
        k = int(np.argmax(forced > ONSET * np.max(forced)))
        if all(abs(time[k] - t) > 12.0 * half for t in taken):
            taken.append(float(time[k]) + half)
    span = scout.line.events[-1].end - scout.line.events[0].start
    for low, high in pairwise(sorted(taken)):
        parts = int((high - low) / (WIDE * span))
        taken += [low + (high - low) * k / (parts + 1) for k in range(1, parts + 1)]
    return [min(max(t - half, 0.0), latest) for t in taken[len(seen):]]  # fmt: skip


def latest_start(scout: Scouted) -> float:
    """Where the last sample may begin that still holds its cycles [s]."""
    return scout.line.end - (LOOK_CYCLES + 1.5) / scout.line.frequency.last


def worse_elsewhere(scout: Scouted, seen: Sequence[Stretch]) -> list[float]:
    """Starts of cycles where a scaled course rises by `FLAT` above all samples [s]."""
    wanted = []
    half = 0.5 / scout.line.frequency.last
    for quantity, curve in scout.scaled(seen).items():
        value, time = curve.peak
        if value > (1.0 + FLAT) * max(worst_of(s, quantity) for s in seen):
            wanted.append(min(max(time - 0.2 * half, 0.0), latest_start(scout)))
    return wanted


def _bound(look: Look, seeds: Scouted, start: float, cycles: int) -> Callable[[], Stretch]:
    return lambda: look(seeds, start, cycles, MEMORIES)


def deciding(stretches: Sequence[Stretch], quantities: frozenset[str]) -> list[int]:
    """Indices of fewest stretches that come within `COVERED` of every quantity's worst value."""
    near: dict[str, set[int]] = {}
    for quantity in quantities:
        values = np.array([worst_of(s, quantity) for s in stretches])
        if np.isfinite(values).all() and values.max() > 0.0:
            near[quantity] = set(np.flatnonzero(values >= COVERED * values.max()).tolist())
    chosen: set[int] = set()
    while near:
        counts = [sum(k in where for where in near.values()) for k in range(len(stretches))]
        best = int(np.argmax(counts))
        chosen.add(best)
        near = {q: where for q, where in near.items() if best not in where}
    return sorted(chosen)


def deciding_cycles(stretch: Stretch, quantities: frozenset[str]) -> tuple[float, float]:
    """From the start of the first to the end of the last cycle that holds a worst value [s]."""
    worst: dict[str, tuple[float, float]] = {}
    for series in stretch.series:
        value, when = series.worst
        if series.quantity in quantities and value > worst.get(series.quantity, (0.0, 0.0))[0]:
            worst[series.quantity] = (value, when)
    times = [when for _, when in worst.values()] or [stretch.cycles[-1].start]
    inside = [c for c in stretch.cycles if any(c.start <= t < c.end for t in times)]
    used = inside or list(stretch.cycles[-1:])
    # Or what is left of a cycle at the end of the scenario, where a finer run goes to as well.
    rest = any(t >= stretch.cycles[-1].end for t in times)
    return used[0].start, stretch.cycles[-1].end if rest else used[-1].end


def shown_from(stretch: Stretch) -> float:
    """Where the waveforms of a stretch have settled [s]: a little before what is measured first, a
    cycle, or a transition half a period before it."""
    return min((stretch.cycles[0].start, *(t.time for t in stretch.transitions[:1]))) - LEAD


def merged(stretches: Sequence[Stretch]) -> Stretch:
    """Several stretches as one, in order of time, with gaps between them."""
    first = stretches[0]
    waves = [s.waves.between(shown_from(s), s.waves.time[-1]) for s in stretches]
    kept = [w for w in waves if len(w.time)]
    time = np.concatenate([w.time for w in kept])
    raw = {name: np.concatenate([w.raw[name] for w in kept]) for name in kept[0].raw}
    groups: dict[tuple[str, str], list[Series]] = {}
    for stretch in stretches:
        for series in stretch.series:
            groups.setdefault((series.part, series.quantity), []).append(series)
    return replace(
        first,
        waves=Waves(first.waves.machine, time, raw, first.waves.lost_cans),
        cycles=tuple(c for s in stretches for c in s.cycles),
        transitions=tuple(t for s in stretches for t in s.transitions),
        recoveries=tuple(r for s in stretches for r in s.recoveries),
        series=tuple(joined(pieces) for pieces in groups.values()),
    )
