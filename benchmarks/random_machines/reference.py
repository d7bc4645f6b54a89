"""A case's reference: its circuit in plain `ngspice -b`, settled for longer, with tight options.

The circuit is the one that simkit renders for the scenario with the switches at the temperature
that the rehearsal took them at; only the run-in is longer (three times the tank's memory), so that
the reference owes nothing to where the deck starts, and no node voltages are given. It runs twice:
as the rehearsals do (20 ns, 1e-4), and at 10 ns and 2e-5, which counts, from the state of the first
run a dozen cycles before time zero. A third of the difference is the reference's own error, as for
a rule of second order; what the source still pumps into the link and the offset that is left in the
core come on top. The link's voltage is put to where the bridge's mean current holds it, and the
core's offset taken off, between the two runs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil, pi

import numpy as np

from benchmarks.random_machines.figures import Facts, figures, linkage, losses, node
from benchmarks.random_machines.junctions import Stack, temperatures
from benchmarks.random_machines.plain_run import Array, PlainFailed, PlainRun, plain_run
from simkit.circuit.analysis import Analysis
from simkit.circuit.commands import dead_time_at
from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.timeline import Timeline, timeline
from simkit.circuit.values import Seed
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.start_flux import with_kick

COARSE = Analysis(step=20e-9, reltol=1e-4, start_nodes=False)
TIGHT = Analysis(step=10e-9, reltol=2e-5, start_nodes=False)
EASIER = (
    lambda a: a,
    lambda a: replace(a, abstol=1e-5),
    lambda a: replace(a, reltol=2.0 * a.reltol, abstol=1e-5),
    lambda a: replace(a, method="gear", step=0.5 * a.step),
)
"""What is tried in turn when the plain program stops early."""
RUN_IN = 8
"""Cycles before time zero, as in the exported deck [1]."""
MEMORIES = 3.0
"""Times the tank's memory that come on top [1]."""
ROUNDS, NEAR = 6, 0.002
"""How often the link is mended, and below which share of its voltage once is enough [1]: what the
bridge draws moves with the link by a third of it at most, in the machines drawn."""
ANEW = 12
"""Cycles before time zero from which the run that counts starts [1]."""


@dataclass(frozen=True)
class Measured:
    """What one plain run came to."""

    values: dict[str, float]
    link_gap: float
    """What the link's mean is away from where its mean current puts it, as a share [1]."""
    offset: float
    """Middle of the flux between its extremes in the settled part [T]."""
    seconds: float


@dataclass(frozen=True)
class Reference:
    """Values and their own errors by quantity, in the figures' units."""

    values: dict[str, float]
    errors: dict[str, float]
    tight: str
    """How the run that counts was integrated."""
    seconds: float
    """CPU of the plain program [s]."""


def facts_of(machine: Machine, line: Timeline) -> Facts:
    """Of the circuit that a timeline runs on."""
    transformer = machine.transformer
    marks = line.boundaries(0.0, line.end)
    kinds = {f.kind for f in line.faults}
    return Facts(
        full=machine.bridge.topology == "full",
        loop=machine.tank.feed == "loop",
        saturates=transformer.core_path is not None,
        blocked=transformer.blocking_capacitance is not None,
        fused="fuse" in kinds,
        ratio=transformer.primary_turns / transformer.secondary_turns,
        primary_resistance=transformer.primary_resistance,
        secondary_resistance=transformer.secondary_resistance,
        magnetising=transformer.magnetising_inductance,
        turns_area=transformer.primary_turns * transformer.core_area,
        can_esr=machine.tank.can_esr,
        source_resistance=machine.supply.source_resistance,
        diode_resistance=machine.switch.diode.series_resistance,
        threshold=machine.switch.channel.threshold,
        boundaries=marks,
        upper_first=line.upper_first(float(marks[0])),
        dead=np.array([dead_time_at(line, machine.drive, t) for t in marks.tolist()]),
    )


def stack_of(machine: Machine) -> Stack:
    """The way of the heat, as numbers."""
    ratings, cooling = machine.switch.ratings, machine.cooling
    return Stack(
        cooling.ambient, cooling.heatsink_resistance, cooling.pad_resistance,
        ratings.thermal_resistance, np.array([p.time for p in ratings.transient]),
        np.array([p.impedance for p in ratings.transient]), machine.limits.hold_time,
        cooling.case_heat_capacity, cooling.heatsink_heat_capacity,
    )  # fmt: skip


def run_in(machine: Machine, line: Timeline) -> int:
    """Cycles before time zero [1]: what the deck has, and three times Q/pi."""
    omega = 2.0 * pi * line.frequency.first
    q = omega * line.inductance.first / line.resistance.first
    return RUN_IN + ceil(MEMORIES * q / pi)


def first_deck(machine: Machine, line: Timeline, analysis: Analysis) -> Deck:
    """The circuit from well before time zero, started from the fast model's state."""
    part = line.stretch(-run_in(machine, line) / line.frequency.first, line.end)
    seed = scouted(machine, line).seed(part.begin)
    return machine_deck(machine, part, with_kick(machine, part, part.begin, seed), analysis)


def second_deck(
    machine: Machine, line: Timeline, analysis: Analysis, seed: Seed, end: float | None = None
) -> Deck:
    """The circuit from a dozen cycles before time zero, from a state of the first run."""
    part = line.stretch(-ANEW / line.frequency.first, line.end if end is None else end)
    return machine_deck(machine, part, with_kick(machine, part, part.begin, seed), analysis)


def state(
    machine: Machine, line: Timeline, run: PlainRun, begin: float, gap: float, offset: float
) -> Seed:
    """Slow states of the first run where the second begins, all as much larger as the link's, the
    core without its offset [T]."""
    raw, facts = run.vectors, facts_of(machine, line)
    when = line.stretch(-ANEW / line.frequency.first, line.end).begin - begin

    def at(values: Array) -> float:
        return float(np.interp(when, raw["time"], values)) * (1.0 + gap)

    link = at(node(raw, "link") - node(raw, "cl1"))
    series, topology = 0.0, machine.bridge.topology
    if facts.blocked:
        series = at(node(raw, "a") - node(raw, "pa"))
        series -= 0.5 * link if topology == "half-blocking" else 0.0
    if topology == "half-split":
        series += at(node(raw, "sl")) - 0.5 * link
    secondary = (node(raw, "s1") - node(raw, "s2")) / facts.secondary_resistance
    before = node(raw, "pa" if facts.blocked else "a")
    return Seed(
        link_voltage=link,
        film_voltage=at(node(raw, "film") - node(raw, "cf1")),
        primary_current=at((before - node(raw, "pb")) / facts.primary_resistance)
        - offset * facts.turns_area / facts.magnetising,
        load_current=at(secondary),
        coil_current=at(node(raw, "fl") / node(raw, "lx")),
        tank_voltage=at(node(raw, "s2" if facts.loop else "w") - node(raw, "t1")),
        blocking_voltage=series,
        linkage=at(linkage(raw, facts)) - offset * facts.turns_area,
    )


def measured(machine: Machine, line: Timeline, deck: Deck, run: PlainRun) -> Measured:
    """Everything measured on one plain run."""
    facts = facts_of(machine, line)
    first = min((e.start for e in line.events), default=line.end)
    watts = losses(run.vectors, deck.begin, facts)
    values = figures(run.vectors, deck.begin, facts)
    values |= temperatures(stack_of(machine), watts, first)
    # Peaks and means count from time zero on: what the link is off then is the most, as it fades.
    gap, offset = _settled(machine, line, deck, run, first if line.events else 0.0)
    return Measured(values, gap, offset, run.seconds)


def _settled(
    machine: Machine, line: Timeline, deck: Deck, run: PlainRun, first: float
) -> tuple[float, float]:
    """Gap of the link [1] and offset of the flux [T] over the last two settled cycles."""
    raw, facts = run.vectors, facts_of(machine, line)
    time = raw["time"] + deck.begin
    end = max(first, 0.0)
    keep = (time >= end - 2.0 / line.frequency.first) & (time <= end)
    part = {n: v[keep] for n, v in raw.items()}
    span = part["time"][-1] - part["time"][0]
    flow = node(part, "sup") - node(part, "slk" if facts.fused else "link")
    gone = np.trapezoid(flow, part["time"]) / span
    bridge = _bridge_mean(part, machine) * machine.supply.source_resistance
    flux = linkage(part, facts) / facts.turns_area
    return float((gone - bridge) / line.voltage.first), 0.5 * float(flux.max() + flux.min())


def _bridge_mean(part: dict[str, np.ndarray], machine: Machine) -> float:
    """Mean current of the bridge out of its rail [A]: what the source must give in the end."""
    uppers = (1, 3) if machine.bridge.topology == "full" else (1,)
    total = sum((node(part, "p") - node(part, f"d{k}")) / 1e-3 for k in uppers)
    span = part["time"][-1] - part["time"][0]
    return float(np.trapezoid(total, part["time"]) / span)


def timeline_to(machine: Machine, scenario: Scenario, end: float | None) -> Timeline:
    """The scenario's timeline, to where a rehearsal carried its run on [s]."""
    line = timeline(machine, scenario)
    return line if end is None else replace(line, stop=end, end=end, _clock=None)


def reference(machine: Machine, scenario: Scenario, end: float | None) -> Reference:
    """Both runs of a case; PlainFailed when the plain program gets through neither way."""
    line = timeline_to(machine, scenario, end)
    deck, run, _ = _first_to_end(lambda a: first_deck(machine, line, a), COARSE)
    rough = measured(machine, line, deck, run)
    seed = state(machine, line, run, deck.begin, rough.link_gap, rough.offset)
    seed = _evened(machine, line, seed)
    deck, run, label = _first_to_end(lambda a: second_deck(machine, line, a, seed), TIGHT)
    fine = measured(machine, line, deck, run)
    errors = {
        q: _moved(rough.values[q], v) + abs(fine.link_gap * v) for q, v in fine.values.items()
    }
    errors["flux_peak"] += abs(fine.offset)
    # A small gap of the link is a large one of the little that the source's resistance drops.
    drop = abs(fine.link_gap) * line.voltage.first / machine.supply.source_resistance
    errors["supply_current"] = drop + 0.001 * abs(fine.values["supply_current"])
    seconds = rough.seconds + fine.seconds
    return Reference(fine.values, errors, label, seconds)


def _moved(rough: float, fine: float) -> float:
    """What the finer run leaves of a figure's error: a third of the move, as for a rule of second
    order; all of it where only one of both runs has the figure at all."""
    return abs(rough - fine) / (1.0 if 0.0 in (rough, fine) else 3.0)


def _evened(machine: Machine, line: Timeline, seed: Seed) -> Seed:
    """A seed less the offset that the start of its own run leaves in the core, its link mended;
    again where the link was so far off that the bridge draws another current once it is mended."""
    for _ in range(ROUNDS):
        seed, gap = _evened_once(machine, line, seed)
        if abs(gap) < NEAR:
            break
    return seed


def _evened_once(machine: Machine, line: Timeline, seed: Seed) -> tuple[Seed, float]:
    """The same by one run, and what the link was off [1].

    Behind a capacitor the offset swings with the magnetising inductance: its share in phase with
    the start is the core's, the other the capacitor's voltage.
    """
    deck, run, _ = _first_to_end(lambda a: second_deck(machine, line, a, seed, 0.0), COARSE)
    gap, _ = _settled(machine, line, deck, run, 0.0)
    linkage, voltage = swinging(
        *_offsets(machine, line, deck, run), machine.transformer.magnetising_inductance,
        _in_series(machine),
    )  # fmt: skip
    mended = replace(
        seed,
        link_voltage=seed.link_voltage + _link_moved(line, run) + gap * line.voltage.first,
        primary_current=seed.primary_current - linkage / machine.transformer.magnetising_inductance,
        linkage=None if seed.linkage is None else seed.linkage - linkage,
        blocking_voltage=seed.blocking_voltage - voltage,
    )
    return mended, gap


def _link_moved(line: Timeline, run: PlainRun) -> float:
    """By how much the link's mean has moved from the second cycle of a run to its last [V]."""
    raw, period = run.vectors, 1.0 / line.frequency.first
    time, volts = raw["time"], node(raw, "link") - node(raw, "cl1")

    def mean(start: float) -> float:
        part = (time >= start) & (time < start + period)
        span = time[part][-1] - time[part][0]
        return float(np.trapezoid(volts[part], time[part]) / span)

    return mean(float(time[-1]) - period) - mean(period)


def _offsets(
    machine: Machine, line: Timeline, deck: Deck, run: PlainRun
) -> tuple[np.ndarray, np.ndarray]:
    """Middles of the cycles since a run's start [s], and half the sum of each one's largest and
    smallest linkage [Wb]; the first one, in which the gates fill, left out."""
    period, time = 1.0 / line.frequency.first, run.vectors["time"]
    found = linkage(run.vectors, facts_of(machine, line))
    starts = period * np.arange(1, ANEW)
    cycles = [found[(time >= t) & (time < t + period)] for t in starts]
    return starts + 0.5 * period, np.array([0.5 * (c.max() + c.min()) for c in cycles])


def _in_series(machine: Machine) -> float | None:
    """Capacitance in series with the primary [F]; None without any."""
    each = [machine.transformer.blocking_capacitance]
    if machine.bridge.form.far_end == "midpoint" and machine.bridge.split_capacitance is not None:
        each.append(2.0 * machine.bridge.split_capacitance)
    inverse = sum(1.0 / c for c in each if c is not None)
    return 1.0 / inverse if inverse else None


def swinging(
    times: np.ndarray, offsets: np.ndarray, inductance: float, capacitance: float | None
) -> tuple[float, float]:
    """Offset of the linkage at time zero [Wb], and how much too high the capacitor stood [V].

    a cos(w t) + b sin(w t) through the offsets by least squares, w^2 L C = 1; the winding has minus
    what the capacitor has too much, so that w b is minus that voltage. Without one the mean.
    """
    if capacitance is None:
        return float(np.mean(offsets)), 0.0
    rate = 1.0 / np.sqrt(inductance * capacitance)
    shapes = np.column_stack((np.cos(rate * times), np.sin(rate * times)))
    a, b = np.linalg.lstsq(shapes, offsets, rcond=None)[0]
    return float(a), float(-rate * b)


def _first_to_end(
    render: Callable[[Analysis], Deck], analysis: Analysis
) -> tuple[Deck, PlainRun, str]:
    """The first of the easier options that gets to the end: deck, run, what they were."""
    last: PlainFailed | None = None
    for change in EASIER:
        deck = render(change(analysis))
        try:
            return deck, plain_run(deck.text, deck.stop), change(analysis).label
        except PlainFailed as failed:
            last = failed
    assert last is not None
    raise last
