"""One case of a map as plain data, worked on anywhere: by the fast model, or by circuit runs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from simkit.errors import EngineError, InputError
from simkit.figures.record import FastEvent
from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.cache import code_digest, digest_of

if TYPE_CHECKING:
    from simkit.rehearsal.findings import Rehearsal
    from simkit.rehearsal.scouting import Scouted


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
    from simkit.rehearsal.settings import Settings

    try:
        found = Rehearser(settings=Settings(onsets=False, every_figure=False)).rehearse(
            machine, scenario
        )
    except EngineError as error:
        return {"level": "full", "outcome": "no_verdict", "reason": error.reason, "limits": {},
                "power": None, "bridge_loss": None, "link_peak": None}  # fmt: skip
    return row_of(found)


def row_of(found: Rehearsal) -> dict[str, Any]:
    """A rehearsal as plain data: outcome, each quantity's share of its limit, what it costs."""
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
        "tripped": bool(found.tripped),
    }  # fmt: skip


def fast(machine: Machine, scenario: Scenario) -> dict[str, Any]:
    """What the fast model says of every limit, as a share of it, before any calibration.

    Where it has no formula of its own (peak drain voltage, gate), what drives the quantity stands
    for it; circuit runs then find the factor. `forced` is the largest current forced out of a body
    diode [A], negative while none is.
    """
    try:
        return fast_row(marched(machine, scenario))
    except (ValueError, InputError) as error:
        return {"level": "fast", "limits": {}, "forced": None, "swing": None, "said": str(error)}


def fast_row(march: Scouted) -> dict[str, Any]:
    """What the fast model's march says of every limit, as plain data."""
    cycles = march.event.cycles
    forced = float(-np.min(cycles.turn_on_current))
    primary = float(np.max(cycles.primary_current_peak))
    bounds = {limit.quantity: limit.bound for limit in machine_limits(march.machine)}
    values = _drivers(march.fast)
    limits = {q: values[q] / bounds[q] for q in bounds if q in values and bounds[q] > 0.0}
    return {"level": "fast", "limits": limits, "forced": forced, "swing": primary}


def marched(machine: Machine, scenario: Scenario) -> Scouted:
    """The fast model's march over a scenario.

    Errors: ValueError or InputError where it cannot follow.
    """
    from simkit.rehearsal.driving import driven_line
    from simkit.rehearsal.scouting import scouted
    from simkit.scout.drive import refuse_overlap

    refuse_overlap(machine)
    line = driven_line(machine, scenario)
    if line.cut:
        raise ValueError("the run ends in the midst of an event")
    return scouted(machine, line)


def _drivers(event: FastEvent) -> dict[str, float]:
    """What drives each figure over an event, in its unit where the fast model has it."""
    out = {}
    for name, figure in figures().items():
        fast = figure.fast
        if fast.driver is not None:
            out[name] = fast.driver(event)
        elif fast.course is not None:
            out[name] = float(np.max(fast.course(event)))
    return out
