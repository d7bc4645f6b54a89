"""One case of a map as plain data, worked on anywhere: by the fast model, or by circuit runs."""

from collections.abc import Mapping
from math import pi, sqrt
from typing import Any

import numpy as np

from simkit.errors import EngineError, InputError
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.cache import code_digest, digest_of

FORCED = frozenset({"recovery_di_dt", "recovery_dv_dt", "gate_lift"})
"""Quantities that there are only when a body diode is forced off."""


def case_of(machine: Machine, scenario: Scenario, level: str) -> dict[str, Any]:
    """A case as plain data. Level: "fast" or "full"."""
    return {
        "level": level,
        "machine": machine.model_dump(mode="json", exclude_none=True),
        "scenario": scenario.model_dump(mode="json", exclude_none=True, exclude={"map"}),
    }


def key_of(case: Mapping[str, Any]) -> str:
    """Digest of all that determines a case's result."""
    from simkit.run.cached import identity_of
    from simkit.run.engines import engine

    who = identity_of(engine("ngspice")) if case["level"] == "full" else "fast"
    return digest_of("map", dict(case), who, code_digest())


def work(case: Mapping[str, Any]) -> dict[str, Any]:
    """The result of a case as plain data."""
    machine = Machine.model_validate(case["machine"])
    scenario = Scenario.model_validate(case["scenario"])
    return (fast if case["level"] == "fast" else full)(machine, scenario)


def full(machine: Machine, scenario: Scenario) -> dict[str, Any]:
    """A rehearsal by circuit runs: outcome, and each quantity's share of its limit with error."""
    from simkit.rehearsal.rehearser import Rehearser

    try:
        found = Rehearser().rehearse(machine, scenario)
    except EngineError as error:
        return {"level": "full", "outcome": "no_verdict", "reason": error.reason, "limits": {},
                "power": None, "bridge_loss": None, "link_peak": None}  # fmt: skip
    limits = {
        r.quantity: {
            "ratio": r.ratio,
            "error": None if r.error is None else r.error / abs(r.limit),
            "status": r.status,
            "first_over_s": r.first_over_s,
        }
        for r in found.rows
    }
    return {
        "level": "full", "outcome": found.verdict.outcome, "reason": found.verdict.reason,
        "limits": limits, "power": found.before.workpiece_power_w,
        "bridge_loss": found.before.bridge_loss_w,
        "link_peak": float(found.whole.waves.node("link").max()),
    }  # fmt: skip


def fast(machine: Machine, scenario: Scenario) -> dict[str, Any]:
    """What the fast model says of every limit, as a share of it, before any calibration.

    Where it has no formula of its own (peak drain voltage, gate), what drives the quantity stands
    for it; circuit runs then find the factor. `forced` is the largest current forced out of a body
    diode [A], negative while none is.
    """
    try:
        march = _marched(machine, scenario)
    except (ValueError, InputError) as error:
        return {"level": "fast", "limits": {}, "forced": None, "swing": None, "said": str(error)}
    cycles = march.event.cycles
    forced = float(-np.min(cycles.turn_on_current))
    primary = float(np.max(cycles.primary_current_peak))
    bounds = {limit.quantity: limit.bound for limit in machine_limits(machine)}
    values = _drivers(machine, march, forced)
    limits = {q: values[q] / bounds[q] for q in bounds if q in values and bounds[q] > 0.0}
    return {"level": "fast", "limits": limits, "forced": forced, "swing": primary}


def _marched(machine: Machine, scenario: Scenario) -> Any:
    from simkit.circuit.timeline import timeline
    from simkit.rehearsal.scouting import scouted
    from simkit.scout.drive import refuse_overlap

    refuse_overlap(machine)
    line = timeline(machine, scenario)
    if line.cut:
        raise ValueError("the run ends in the midst of an event")
    return scouted(machine, line)


def _drivers(machine: Machine, march: Any, forced: float) -> dict[str, float]:
    """What drives each quantity, in its unit where the fast model has it."""
    cycles, line = march.event.cycles, march.line
    frequency = line.frequency.first
    lowest = min([frequency, *(c.after for c in line.frequency.changes)])
    tank = float(np.max(cycles.tank_voltage_peak)) / sqrt(2.0)
    primary = float(np.max(cycles.primary_current_peak))
    voltage = max([line.voltage.first, *(c.after for c in line.voltage.changes)])
    share = 1.0 if machine.bridge.topology == "full" else 0.5
    area = machine.transformer.primary_turns * machine.transformer.core_area
    ends = max(float(cycles.primary_current_peak[k]) for k in (0, -1))
    heat = _heated(machine, ends)
    out = {
        "drain_voltage_peak": voltage,
        "channel_current_peak": float(np.max(cycles.switch_current_peak)),
        "drain_current_rms": primary / 2.0,  # a half sine
        "gate_voltage_peak": max(machine.drive.voltage_on, -machine.drive.voltage_off),
        "junction_peak": heat,
        "junction_held": heat,
        "can_voltage_rms": tank,
        "can_current_rms": 2.0 * pi * frequency * machine.tank.can_capacitance * tank,
        "flux_peak": share * voltage / (4.0 * lowest * area),
        "supply_current": float(np.max(cycles.supply_current)),
    }
    return out | dict.fromkeys(FORCED, max(forced, 0.0))


def _heated(machine: Machine, peak: float) -> float:
    """Settled junction by conduction of a half sine of that peak [A] alone [degC]."""
    count = 4 if machine.bridge.topology == "full" else 2
    cooling, ratings = machine.cooling, machine.switch.ratings
    way = ratings.thermal_resistance + cooling.pad_resistance + count * cooling.heatsink_resistance
    return cooling.ambient + way * machine.switch.channel.drain_resistance * (peak / 2.0) ** 2
