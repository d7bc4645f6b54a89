"""The result when the engine gave no whole answer: no verdict, and why."""

import platform
from typing import Any

import simkit
from simkit.errors import EngineError
from simkit.judge.cautions import CAUTIONS
from simkit.judge.limits import machine_limits
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.studies.scenario.result import SCHEMA, not_modelled


def unanswered(
    scenario: Loaded[Scenario], machine: Loaded[Machine], error: EngineError, seconds: float
) -> dict[str, Any]:
    """Result document of a run that did not come to its end; every limit is not evaluated."""
    rows = [
        {
            "part": "machine", "quantity": limit.quantity, "unit": limit.unit, "value": None,
            "error": None, "limit": limit.bound, "ratio": None, "time_s": None,
            "first_over_s": None, "status": "not_evaluated", "source": limit.source,
        }
        for limit in machine_limits(machine.model)
    ]  # fmt: skip
    return {
        "schema": SCHEMA,
        "scenario": {
            "name": scenario.model.name, "file": str(scenario.file), "digest": scenario.digest,
        },
        "machine": {
            "name": machine.model.name, "file": str(machine.file), "digest": machine.digest,
        },
        "verdict": "no_verdict",
        "reason": sentence(error.reason),
        "first_over_limit": None,
        "events": [],
        "mode": [],
        "limits": rows,
        "operating_point": {"before": None, "after": None},
        "commutation": None,
        "recovery": None,
        "losses": [],
        "transformer": None,
        "temperatures": [],
        "electro_thermal": None,
        "numerics": {
            "refinement_error": None, "energy_residual": None, "steps": None, "cycles": None,
            "engine_seconds": None, "total_seconds": seconds, "method": None,
            "engine_log": list(error.log[-40:]),
        },
        "not_modelled": not_modelled(machine.model),
        "cautions": list(CAUTIONS),
        "provenance": {
            "simkit": simkit.__version__, "engine": None, "python": platform.python_version(),
            "platform": platform.platform(), "deck_digest": None,
        },
    }  # fmt: skip


def sentence(text: str) -> str:
    """The same with a capital letter and a full stop."""
    text = text.strip()
    if not text:
        return "The engine gave no reason."
    ended = text if text[-1] in ".!?" else f"{text}."
    return ended[0].upper() + ended[1:]
