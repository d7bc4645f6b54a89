"""Figure 2: a steady operating point to 1 %, against ringing up from rest."""

from __future__ import annotations

import numpy as np

from benchmarks.cost import spent
from benchmarks.figure import Figure
from benchmarks.ours import Counted
from benchmarks.plain import plain_run
from benchmarks.scenarios import CHISEL, machine, steady
from simkit.circuit.analysis import Analysis
from simkit.circuit.netlist import machine_deck
from simkit.circuit.timeline import Timeline, timeline
from simkit.circuit.values import Seed
from simkit.measure.periodic import whole_cycles
from simkit.measure.waveforms import Waves
from simkit.parameters.machine import Machine
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.start_flux import with_kick

WITHIN = 0.01
QUALITIES = (20.0, 50.0, 100.0)
GOAL_AT = 50.0
ANALYSIS = Analysis(step=50e-9, reltol=1e-4)
WATCHED = ("tank", "primary")


def _line(subject: Machine, cycles: float) -> Timeline:
    line = timeline(subject, steady("probe", margin=0.02))
    return line.stretch(0.0, cycles / line.frequency.first)


def _subject(quality: float) -> Machine:
    base = machine(CHISEL)
    data = base.model_dump(exclude_none=True)
    inductance = base.coil.inductance
    reactance = 2.0 * np.pi * base.resonance(inductance) * inductance
    data["workpieces"]["probe"] = {"title": "", "inductance": inductance, "travel": 0.05,
                                   "resistance": reactance / quality}  # fmt: skip
    return Machine.model_validate(data)


def _peaks(waves: Waves, line: Timeline) -> tuple[np.ndarray, np.ndarray]:
    """Peak tank voltage and primary current of each whole cycle."""
    cycles = whole_cycles(line.boundaries(line.begin, line.stop), 0.0, line.stop)
    rows = []
    for c in cycles:
        part = waves.between(c.start, c.end)
        rows.append((np.abs(part.coil_voltage).max(), np.abs(part.primary_current).max()))
    return np.array([c.end for c in cycles]), np.array(rows)


def _settled(ends: np.ndarray, rows: np.ndarray, truth: np.ndarray) -> int | None:
    """Cycle from which on everything stays within WITHIN of the truth."""
    bad = np.flatnonzero(np.any(np.abs(rows / truth - 1.0) > WITHIN, axis=1))
    first = int(bad[-1]) + 1 if len(bad) else 0
    return first if first < len(rows) else None


def measure() -> list[Figure]:
    """One figure per quality factor; the goal stands at Q = 50."""
    return [_one(q) for q in QUALITIES]


def _one(quality: float) -> Figure:
    subject = _subject(quality)
    name = f"steady point, Q = {quality:g}"
    long = _line(subject, 2.5 * quality + 30.0)
    deck = machine_deck(subject, long, Seed(link_voltage=subject.supply.voltage), ANALYSIS)
    with plain_run(deck) as run:
        kept = {n: np.ascontiguousarray(run.vectors[n]) for n in ("time", *deck.saved)}
        plain_cpu = run.cost.cpu
    ends, rows = _peaks(Waves.from_vectors(subject, kept, deck.begin), long)
    truth = rows[-1]
    needed = _settled(ends, rows, truth)
    door = Counted()
    door.engine.version()
    with spent() as told:
        short = _line(subject, 4.0)
        seed = with_kick(subject, short, short.begin, scouted(subject, short).seed(short.begin))
        deck = machine_deck(subject, short, seed, ANALYSIS)
        waves = Waves.from_vectors(subject, door.run(deck).vectors, deck.begin)
        _, mine = _peaks(waves, short)
    off = float(np.max(np.abs(mine[-1] / truth - 1.0)))
    if needed is None:
        return Figure(2, name, "ratio", None, 0.2, note="from rest it did not settle in time")
    plain = plain_cpu * ends[needed] / long.stop
    cost = told.cpu + door.cpu
    note = (f"ours {cost:.2f} s CPU, {100 * off:.2f} % off after 3 cycles; from rest {needed} "
            f"cycles, {plain:.2f} s of plain CPU; the goal is set at Q = {GOAL_AT:g}")  # fmt: skip
    return Figure(2, name, "ratio", cost / plain, 0.2, allowed=off <= WITHIN, note=note)
