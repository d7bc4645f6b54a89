"""Figure 5: 1,000 points of frequency, load and dead time through the fast model, and 20 of them
by full circuit runs."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from benchmarks.figure import Figure
from benchmarks.scenarios import CHISEL, machine, steady
from simkit.circuit.timeline import timeline
from simkit.measure.point import operating_point as measured
from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.job import WORKING
from simkit.rehearsal.scouting import scouted
from simkit.rehearsal.start_flux import with_kick
from simkit.rehearsal.stretches import run_stretch
from simkit.run.backend import Budget, EngineRun
from simkit.run.process import NgspiceEngine
from simkit.scout.operating import Case, OperatingPoint, operating_cases

SEED = 4
CHECKED = 20
WITHIN = 0.05
MEMORIES = 5.0
"""Run-in of a checked point in memory times of the tank [1]."""
STEP = 0.002
"""Between frequencies on either side of which a mode boundary is looked for, as a share [1]."""


def grid(subject: Machine) -> list[Case]:
    """20 frequencies, 10 loads, 5 dead times."""
    out = []
    for k in range(10):
        inductance, resistance = 0.75e-6 + 0.022e-6 * k, 9e-3 + 6e-3 * ((3 * k) % 10)
        load = Load(inductance=inductance, resistance=resistance)
        for share in np.linspace(0.95, 1.12, 20):
            for dead in np.linspace(0.4e-6, 1.0e-6, 5):
                out.append(Case(load, float(share) * subject.resonance(inductance), float(dead)))
    return out


def circuit(subject: Machine, case: Case) -> Any:
    """Operating point of a case by the circuit, run until the tank has settled."""
    data = subject.model_dump(exclude_none=True)
    data["drive"]["dead_time"] = case.dead_time
    data["workpieces"]["probe"] = {"title": "", "travel": 0.05, **case.load.model_dump()}
    mine = Machine.model_validate(data)
    line = timeline(mine, steady("probe", frequency=case.frequency, settled=5e-3))
    memory = 2.0 * case.load.inductance / case.load.resistance
    run_in = MEMORIES * memory + 2.0 / case.frequency
    line = line.stretch(0.0, run_in + 5.0 / case.frequency)
    seed = with_kick(mine, line, line.begin, scouted(mine, line).seed(line.begin))

    def runner(deck: Any) -> EngineRun:
        return NgspiceEngine().run(deck.text, deck.saved, deck.stop, Budget())

    found = run_stretch(mine, line, seed, WORKING, runner, run_in)
    return measured(found.waves, found.cycles, found.transitions)


def compare(subject: Machine, case: Case, fast: OperatingPoint) -> dict[str, Any]:
    """One checked point: relative differences, and both modes."""
    real = circuit(subject, case)
    return {
        "point": f"{case.frequency / 1e3:.2f} kHz, {case.load.inductance * 1e6:.3f} uH, "
        f"{case.load.resistance * 1e3:.0f} mohm, {(case.dead_time or 0.0) * 1e6:.2f} us",
        "tank_voltage": fast.tank_voltage_peak / real.tank_voltage_peak_v - 1.0,
        "supply_current": fast.supply_current / real.supply_current_a - 1.0,
        "fast_mode": fast.mode,
        "mode": real.mode,
        "boundary": 0.0 if fast.mode == real.mode else _boundary(subject, case, real.mode),
    }


def _boundary(subject: Machine, case: Case, mode: str) -> float:
    """How far the frequency must move for the fast model to see the circuit's mode [1]."""
    shares = np.arange(1, 40) * STEP
    both = [(s, Case(case.load, case.frequency * (1.0 + s), case.dead_time))
            for share in shares for s in (share, -share)]  # fmt: skip
    points = operating_cases(subject, [c for _, c in both])
    there = [abs(s) for (s, _), p in zip(both, points, strict=True) if p.mode == mode]
    return float(min(there, default=1.0))


def measure() -> list[Figure]:
    """The time of the whole map, and the worst of the checked points."""
    subject = machine(CHISEL)
    wanted = grid(subject)
    started = time.monotonic()
    points = operating_cases(subject, wanted)
    took = time.monotonic() - started
    chosen = np.random.default_rng(SEED).choice(len(wanted), CHECKED, replace=False)
    rows = [compare(subject, wanted[k], points[k]) for k in chosen.tolist()]
    worst = {
        k: max(abs(r[k]) for r in rows) for k in ("tank_voltage", "supply_current", "boundary")
    }
    told = ", ".join(
        f"{name.replace('_', ' ')} {100 * value:.1f} %" for name, value in worst.items()
    )
    fine = all(p.converged for p in points)
    return [
        Figure(5, "1,000-point map", "value", took, 60.0, unit="s", allowed=fine,
               note=f"one core; {sum(p.converged for p in points)} of {len(points)} converged"),
        Figure(5, "map's worst error", "value", max(worst.values()), WITHIN,
               note=f"{CHECKED} random points by circuit: {told}", points=tuple(rows)),
    ]  # fmt: skip
