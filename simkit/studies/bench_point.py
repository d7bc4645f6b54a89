"""One setting of a machine as a circuit run: what the instruments show there.

The scenario is settled operation without an event; the run is short and starts from the fast
model. A resonance is found from one run at the fast model's: the phase there over the fast
model's slope of phase against frequency.
"""

from dataclasses import dataclass, replace

from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.scout.bench import POWERED, Setting, fast_readings, on_scope, settled
from simkit.studies.findings import Rehearsal
from simkit.studies.workbench import Workbench

CYCLES = 14
"""Length of the settled part, which holds run-in and measured cycles [1]."""
SLOPE_STEP = 1e-3
"""Step of frequency for the slope of phase, as a share [1]."""


@dataclass(frozen=True)
class BenchPoint:
    """Readings of one circuit run, by name, in the reading's unit; and the run."""

    setting: Setting
    frequency: float
    """[Hz]"""
    readings: dict[str, float]
    rehearsal: Rehearsal


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


def bench_point(workbench: Workbench, machine: Machine, setting: Setting) -> BenchPoint:
    """Readings of a circuit run at a setting.

    Errors: EngineError when the engine gives no whole answer.
    """
    frequency = setting.drive(machine)
    quick = replace(workbench, settings=replace(workbench.settings, refine=False))
    found = quick.rehearse(machine, bench_scenario(machine, setting, frequency))
    point = found.after
    readings = {
        "supply_current": point.supply_current_a,
        "tank_voltage": point.tank_voltage_peak_v,
        "primary_current": point.primary_current_peak_a,
        "phase": point.phase_deg,
        "heatsink": machine.cooling.ambient
        + machine.cooling.heatsink_resistance * point.bridge_loss_w,
    }
    return BenchPoint(setting, frequency, readings | on_scope(machine, readings), found)


def circuit_resonance(workbench: Workbench, machine: Machine, setting: Setting) -> float:
    """Frequency at which the circuit's bridge current and voltage are in phase [Hz]."""
    guess = replace(setting, frequency=None, margin=0.0)
    at = bench_point(workbench, machine, guess)
    near = [settled(machine, replace(setting, frequency=at.frequency * f, margin=None)).phase_deg
            for f in (1.0 - SLOPE_STEP, 1.0 + SLOPE_STEP)]  # fmt: skip
    slope = (near[1] - near[0]) / (2.0 * SLOPE_STEP * at.frequency)
    return at.frequency - at.readings["phase"] / slope


def circuit_readings(
    workbench: Workbench, machine: Machine, setting: Setting, names: frozenset[str]
) -> dict[str, float]:
    """Readings at a setting, by circuit runs where there is one for it and else by formula.

    By formula, exact for a linear network or a setting of the file: ring-down, ringing, dead time,
    gate voltage.
    """
    found = {k: v for k, v in fast_readings(machine, setting).items() if k in names}
    if "resonance" in names:
        found["resonance"] = circuit_resonance(workbench, machine, setting)
    powered = names & POWERED
    if powered:
        point = bench_point(workbench, machine, setting)
        found |= {k: v for k, v in point.readings.items() if k in powered}
    return found
