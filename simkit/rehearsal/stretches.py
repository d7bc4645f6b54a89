"""One stretch of a rehearsal through deck, engine and measures."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.circuit.analysis import Analysis
from simkit.circuit.commands import dead_time_at
from simkit.circuit.netlist import Deck, machine_deck
from simkit.circuit.oscillator import clock
from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed, lost_cans
from simkit.figures.series import figure_series
from simkit.measure.commutation import Edge, Transition, cut_short, edges, transitions
from simkit.measure.gate import gate_lift
from simkit.measure.periodic import Cycle, whole_cycles, with_rest
from simkit.measure.recovery import SHORTEST, Recovery, recoveries
from simkit.measure.series import Series
from simkit.measure.switch import switch_series
from simkit.measure.tank import machine_series
from simkit.measure.waveforms import Array, Waves, value_at
from simkit.parameters.machine import Machine
from simkit.run.backend import EngineRun

SAME = 1e-12
"""Two times this near are the same [s]."""

Runner = Callable[[Deck], EngineRun]


@dataclass(frozen=True)
class Stretch:
    """What one stretch of a run gave."""

    waves: Waves
    cycles: tuple[Cycle, ...]
    transitions: tuple[Transition, ...]
    recoveries: tuple[Recovery, ...]
    series: tuple[Series, ...]
    deck: Deck
    run: EngineRun
    analysis: Analysis
    line: Timeline | None = None
    """As it ran: with the clock of a loop inside the deck."""


def run_stretch(
    machine: Machine,
    line: Timeline,
    seed: Seed,
    analysis: Analysis,
    runner: Runner,
    measured_from: float,
) -> Stretch:
    """Run the stretch a timeline covers, and measure it from a time on [s]."""
    deck = machine_deck(machine, line, seed, analysis)
    run = runner(deck)
    waves = Waves.from_vectors(machine, run.vectors, line.begin, lost_cans(machine, line))
    if line.inside and line.oscillator is not None:
        line = line.as_run(clock(
            line.oscillator.form, waves.time, waves.raw, line.phase(line.begin),
            line.frequency.at(line.begin),
        ))  # fmt: skip
    return measure(waves, line, deck, run, analysis, measured_from)


def measure(
    waves: Waves,
    line: Timeline,
    deck: Deck,
    run: EngineRun,
    analysis: Analysis,
    measured_from: float,
) -> Stretch:
    """Everything measured on the waveforms of one stretch, from a time on [s]."""
    boundaries = line.boundaries(line.begin, line.stop)
    boundaries = boundaries[boundaries >= measured_from]
    # Cycles always begin where switch 1 goes off, so that stretches can be compared cycle by cycle.
    skip = 0 if line.upper_first(float(boundaries[0])) else 1
    cycles = whole_cycles(boundaries[skip:], measured_from, line.stop)
    dead = np.array([dead_time_at(line, waves.machine.drive, b) for b in boundaries.tolist()])
    found = transitions(waves, boundaries, skip == 0, dead)
    # Where the scenario ends, what is left of the last cycle and its edges is seen too; a sample
    # that ends elsewhere leaves it to the next.
    ends = line.stop >= line.end - SAME
    last = cut_short(waves, edges(waves, boundaries, skip == 0, dead), found) if ends else ()
    end = float(waves.time[-1]) if ends else None
    recovered = recoveries(waves, (*found, *last))
    series = [*switch_series(waves, cycles, end), *machine_series(waves, cycles, end)]
    series += transition_series(waves, found, last, recovered)
    series += figure_series(waves, cycles, cycles if end is None else with_rest(cycles, end))
    return Stretch(waves, cycles, found, recovered, tuple(series), deck, run, analysis, line)


def transition_series(
    waves: Waves,
    found: tuple[Transition, ...],
    last: tuple[Edge, ...],
    recovered: tuple[Recovery, ...],
) -> list[Series]:
    """Gate lift and recovery figures of every switch, a value per transition.

    A transition without a recovery counts as zero: the diode was not forced off, which is a
    finding, not a gap. So does, of the edges that the end of the run cuts short (`last`), what had
    not begun by then.
    """
    out = []
    every = (*found, *last)
    by_time = {
        (r.switch, t.time): r for t in every for r in recovered if belongs(r, t, t.dead(waves))
    }
    for number in range(1, len(waves.switches) + 1):
        mine = [t for t in every if t.outgoing == number]
        times = np.array([t.time for t in mine])
        lifts = np.array([gate_lift(waves, t).voltage for t in mine])
        out.append(Series(f"Q{number}", "gate_lift", "V", times, lifts))
        hits = [by_time.get((number, t.time)) for t in mine]
        for quantity, unit, key in (
            ("recovery_di_dt", "A/s", "di_dt"),
            ("recovery_dv_dt", "V/s", "dv_dt"),
            ("recovery_current", "A", "peak_current"),
            ("recovery_charge", "C", "charge"),
        ):
            values = np.array([getattr(r, key) if r else 0.0 for r in hits])
            unseen = np.array([t in last for t in mine], dtype=bool) & np.isnan(values)
            values = np.where(unseen, 0.0, values)
            out.append(Series(f"Q{number}", quantity, unit, times, values))
    return out


def belongs(recovery: Recovery, transition: Edge, dead: float) -> bool:
    """Whether a recovery is of a transition with some dead time [s]: of its outgoing switch, and
    before the leg's next command, however late that makes it."""
    looked = max(0.5 * dead, SHORTEST) + transition.next_command
    near = abs(recovery.time - transition.time) < looked
    return near and recovery.switch == transition.outgoing


def seed_at(waves: Waves, time: float) -> Seed:
    """Slow states of a run at a time [s], to start another run from."""

    def at(values: Array) -> float:
        return value_at(waves.time, values, time)

    machine = waves.machine
    link = at(waves.node("link") - waves.node("cl1"))
    blocking = 0.0
    if machine.transformer.blocking_capacitance is not None:
        blocking = at(waves.node("a") - waves.node("pa"))
        blocking -= machine.bridge.form.rest_share * link
    if machine.bridge.form.far_end == "midpoint":
        # Two equal capacitors: the midpoint rides on half of what the rails do, ripple and all.
        blocking += at(waves.node("sl") - 0.5 * waves.node("p"))
    before, after = ("s2", "t1") if machine.tank.feed == "loop" else ("w", "t1")
    return Seed(
        link_voltage=link,
        film_voltage=at(waves.node("film") - waves.node("cf1")),
        primary_current=at(waves.primary_current),
        load_current=at(waves.load_current),
        coil_current=at(waves.coil_current),
        tank_voltage=at(waves.node(before) - waves.node(after)),
        blocking_voltage=blocking,
        linkage=at(waves.linkage),
    )
