"""One setting of a machine as a circuit run: what the instruments show there.

A settled state without an event needs no sampling: a few cycles are run from the fast model's
state, and once or twice more from that state as the run before has shown it to be off, until the
cycles measured no longer remember where they started from. A resonance is found from one such
run at the fast model's: the phase there over that model's slope of phase against frequency.
"""

from dataclasses import dataclass, replace

from simkit.circuit.netlist import Deck
from simkit.circuit.timeline import Timeline
from simkit.measure.commutation import AFTER
from simkit.measure.periodic import Cycle, cycle_average
from simkit.measure.point import OperatingPoint, operating_point
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.rehearsal.closeup import LEDGER, RESIDUE
from simkit.rehearsal.driving import driven_line
from simkit.rehearsal.job import WORKING
from simkit.rehearsal.ladder import climb
from simkit.rehearsal.rehearser import Rehearser
from simkit.rehearsal.scouting import Scouted, scouted
from simkit.rehearsal.stretches import Stretch
from simkit.run.backend import EngineRun
from simkit.scout.bench import POWERED, Setting, fast_readings, on_scope, settled

CYCLES = 14
"""Length of the settled part, which holds run-in and measured cycles [1]."""
AGAIN = 2
"""Most further runs from a corrected start [1]."""
MEMORIES = (0.5, 1.0)
"""Run-in of the first run and of the others, in times of the tank's memory [1]."""
SLOPE_STEP = 1e-3
"""Step of frequency for the slope of phase, as a share [1]."""


@dataclass(frozen=True)
class BenchPoint:
    """Readings of one circuit run, by name, in the reading's unit; and the run."""

    setting: Setting
    frequency: float
    """[Hz]"""
    readings: dict[str, float]
    stretch: Stretch
    point: OperatingPoint
    residue: float
    """Share by which the measured cycles may still remember their start [1]."""


def bench_scenario(machine: Machine, setting: Setting, frequency: float) -> Scenario:
    """Settled operation at a setting [frequency in Hz]."""
    voltage = setting.supply_voltage
    if not setting.at_source:  # what the rails are to have is lifted by the drop before them
        current = settled(
            machine, replace(setting, frequency=frequency, margin=None)
        ).supply_current
        voltage += machine.supply.source_resistance * current
    return Scenario.model_validate(
        {
            "name": "bench",
            "title": "Settled at the bench",
            "machine": "machine.toml",
            "start": {
                "load": setting.load,
                "frequency": frequency,
                "supply_voltage": voltage,
                "settled": CYCLES / frequency,
            },
            "tail": 2.0 / frequency,
        }
    )


def settled_run(
    rehearser: Rehearser, machine: Machine, scenario: Scenario
) -> tuple[Stretch, float]:
    """The last cycles of a settled state, and the share of their start they may remember [1].

    Errors: EngineError when the engine gives no whole answer even on the ladder's last rung.
    """
    line = driven_line(machine, scenario)
    scout = scouted(machine, line)
    found = _look(rehearser, machine, scout, line, MEMORIES[0])
    residue = scout.residue(found)
    for _ in range(AGAIN):
        if residue <= RESIDUE:
            break
        scout = scout.corrected([found])
        found = _look(rehearser, machine, scout, line, MEMORIES[1])
        residue = scout.residue(found)
    return found, residue


def _look(
    rehearser: Rehearser, machine: Machine, seeds: Scouted, line: Timeline, memories: float
) -> Stretch:
    period = 1.0 / line.frequency.last
    start = max(line.end - (LEDGER + 1.5) * period - 2.0 * AFTER, 0.0)
    part = line.stretch(start - seeds.run_in(start, memories), line.end)

    def runner(deck: Deck) -> EngineRun:
        return rehearser.engine.run(deck.text, deck.saved, deck.stop, rehearser.budget)

    return climb(machine, part, seeds.seed(part.begin), WORKING, runner, start, [])


def drawn_current(found: Stretch, point: OperatingPoint) -> float:
    """Average supply current [A]: what leaves the bridge and what it loses, over the rails.

    In the steady state that is the average current into the rails; taken so it is free of what the
    midpoint capacitors still gain or lose over the few cycles measured.
    """
    waves = found.waves
    span = Cycle(found.cycles[0].start, found.cycles[-1].end)
    power = cycle_average(waves, waves.bridge_voltage * waves.primary_current, span)
    rails = cycle_average(waves, waves.link_voltage, span)
    return (power + point.bridge_loss_w) / rails


def bench_point(rehearser: Rehearser, machine: Machine, setting: Setting) -> BenchPoint:
    """Readings of a circuit run at a setting.

    Errors: EngineError when the engine gives no whole answer.
    """
    frequency = setting.drive(machine)
    found, residue = settled_run(rehearser, machine, bench_scenario(machine, setting, frequency))
    point = operating_point(found.waves, found.cycles, found.transitions)
    readings = {
        "supply_current": drawn_current(found, point),
        "tank_voltage": point.tank_voltage_peak_v,
        "primary_current": point.primary_current_peak_a,
        "phase": point.phase_deg,
        "heatsink": machine.cooling.ambient
        + machine.cooling.heatsink_resistance * point.bridge_loss_w,
    }
    shown = readings | on_scope(machine, readings)
    return BenchPoint(setting, frequency, shown, found, point, residue)


def circuit_resonance(rehearser: Rehearser, machine: Machine, setting: Setting) -> float:
    """Frequency at which the circuit's bridge current and voltage are in phase [Hz]."""
    guess = replace(setting, frequency=None, margin=0.0)
    at = bench_point(rehearser, machine, guess)
    near = [settled(machine, replace(setting, frequency=at.frequency * f, margin=None)).phase_deg
            for f in (1.0 - SLOPE_STEP, 1.0 + SLOPE_STEP)]  # fmt: skip
    slope = (near[1] - near[0]) / (2.0 * SLOPE_STEP * at.frequency)
    return at.frequency - at.readings["phase"] / slope


def circuit_readings(
    rehearser: Rehearser, machine: Machine, setting: Setting, names: frozenset[str]
) -> dict[str, float]:
    """Readings at a setting, by circuit runs where there is one for it and else by formula.

    By formula, exact for a linear network or a setting of the file: ring-down, ringing, dead time,
    gate voltage.
    """
    found = {k: v for k, v in fast_readings(machine, setting).items() if k in names}
    if "resonance" in names:
        found["resonance"] = circuit_resonance(rehearser, machine, setting)
    powered = names & POWERED
    if powered:
        point = bench_point(rehearser, machine, setting)
        found |= {k: v for k, v in point.readings.items() if k in powered}
    return found
