"""What the fast model and the circuit say of one changed machine, as plain data from any worker."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from simkit.errors import EngineError, InputError
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.run.backend import Budget
from simkit.run.cache import code_digest, digest_of
from simkit.studies.maps.cases import case_of, fast_row, marched, row_of

SETTLED = 2
"""Cycles from which the settled power is taken [1]."""


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
                      Settings(whole=case["whole"]))  # fmt: skip
    machine = Machine.model_validate(case["machine"])
    try:
        return row_of(bench.rehearse(machine, Scenario.model_validate(case["scenario"])))
    except EngineError as error:
        return {"level": "full", "outcome": "no_verdict", "reason": error.reason, "limits": {},
                "power": None, "bridge_loss": None, "link_peak": None}  # fmt: skip
