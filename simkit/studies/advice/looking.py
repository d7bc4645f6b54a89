"""What the fast model and the circuit say of one changed machine, as plain data from any worker."""

from collections.abc import Mapping
from dataclasses import asdict
from math import sqrt
from typing import Any

import numpy as np

from simkit.errors import EngineError, InputError
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.backend import Budget
from simkit.run.cache import code_digest, digest_of
from simkit.studies.maps.cases import case_of, fast_row, marched, row_of

SETTLED = 2
"""Cycles from which the settled power is taken [1]."""
SNUBBED = 0.5
"""What a snubber leaves of an overshoot [1] (our own judgement, no source)."""


def look_case(machine: Machine, scenario: Scenario) -> dict[str, Any]:
    """What `looked` needs; of the events only those that the fast model follows."""
    events = tuple(e for e in scenario.events if e.about.fast)
    return case_of(machine, scenario.model_copy(update={"events": events, "goal": None}), "fast")


def looked(case: Mapping[str, Any]) -> dict[str, Any]:
    """What the fast model says: shares of limits, and what others follow from.

    `power` [W] is the settled one; `coil` [A], `primary` [A] and `loss` [W] are the largest;
    without an answer `limits` is empty.
    """
    machine = Machine.model_validate(case["machine"])
    scenario = Scenario.model_validate(case["scenario"])
    try:
        march = marched(machine, scenario)
    except (ValueError, InputError, ArithmeticError) as error:
        return {"limits": {}, "said": str(error)}
    event, cycles = march.fast, march.fast.cycles
    power = (cycles.supply_current * event.link - cycles.bridge_loss)[:SETTLED]
    return fast_row(march) | {
        "power": float(np.mean(power)),
        "coil": float(np.max(cycles.coil_current_peak)),
        "primary": float(np.max(cycles.primary_current_rms)),
        "loss": float(np.max(cycles.bridge_loss)),
        "at_off": float(np.max(np.maximum(cycles.turn_off_current, 0.0))),
        "at_on": float(np.max(np.maximum(-cycles.turn_on_current, 0.0))),
        "link": float(np.max(event.link)),
    }


def with_edges(machine: Machine, row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of the fast model's with what edges make of it on a machine that differs in nothing
    but these."""
    return {**row, **edges(machine, row)} if "at_off" in row else dict(row)


def edges(machine: Machine, row: Mapping[str, Any]) -> dict[str, float]:
    """What overshoots and lifted gates go with, to find one's way by; a circuit run has the say.

    `broken`: the current that an edge breaks off [A] times what its speed makes of it, the root of
    loop inductance over gate resistance, half with a snubber; `lifted`: the resistance by which a
    gate is held off, times the link's voltage [ohm V]; `hold`: the level it is held at, over the
    allowed one [1]. Source: dimensions and common practice, no source.
    """
    drive = machine.drive
    inner = machine.switch.channel.gate_resistance
    second = drive.turn_off_resistor
    off = 1.0 / (1.0 / drive.gate_resistor + (1.0 / second if second else 0.0))
    on = inner + drive.source_resistance + drive.gate_resistor
    off += inner + drive.sink_resistance
    calm = SNUBBED if machine.bridge.snubber is not None else 1.0
    most = max(row["at_off"] / sqrt(off), row["at_on"] / sqrt(on))
    bounds = {x.quantity: x.bound for x in machine_limits(machine)}
    return {
        "broken": calm * sqrt(machine.bridge.loop_inductance) * most,
        "lifted": off * row["link"],
        "hold": drive.voltage_off / bounds.get("gate_lift", 1.0),
    }


def rehearse_case(
    machine: Machine, scenario: Scenario, engine: str, whole: bool, budget: Budget
) -> dict[str, Any]:
    """What `rehearsed` needs."""
    case = case_of(machine, scenario.model_copy(update={"goal": None}), "full")
    return case | {"engine": engine, "whole": whole, "budget": asdict(budget)}


def key_of(case: Mapping[str, Any]) -> str:
    """Digest of all that determines a rehearsal's result; its time limit does not."""
    from simkit.run.cached import identity_of
    from simkit.run.engines import engine

    plain = {k: v for k, v in case.items() if k != "budget"}
    who = identity_of(engine(case["engine"])) if case["level"] == "full" else "fast"
    return digest_of("advice", plain, who, code_digest())


def rehearsed(case: Mapping[str, Any]) -> dict[str, Any]:
    """What circuit runs of a changed machine come to, as plain data; runs in a worker."""
    from simkit.rehearsal.rehearser import Rehearser
    from simkit.rehearsal.settings import Settings
    from simkit.run.engines import engine

    bench = Rehearser(engine(case["engine"]), Budget(**case["budget"]),
                      Settings(whole=case["whole"], onsets=False, every_figure=False))  # fmt: skip
    machine = Machine.model_validate(case["machine"])
    try:
        return row_of(bench.rehearse(machine, Scenario.model_validate(case["scenario"])))
    except EngineError as error:
        return {"level": "full", "outcome": "no_verdict", "reason": error.reason, "limits": {},
                "power": None, "bridge_loss": None, "link_peak": None}  # fmt: skip
