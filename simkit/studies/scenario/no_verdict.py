"""The result when the engine gave no whole answer: no verdict, and why."""

from simkit.errors import EngineError
from simkit.judge.cautions import CAUTIONS
from simkit.judge.limits import machine_limits
from simkit.judge.verdict import unjudged
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.result.document import LimitRow, Numerics, Result
from simkit.studies.scenario.result import not_modelled, provenance, run_file


def no_answer(
    scenario: Loaded[Scenario], machine: Loaded[Machine], error: EngineError, seconds: float
) -> Result:
    """Result of a run that did not come to its end; every limit is not evaluated."""
    return Result(
        scenario=run_file(scenario.model.name, scenario),
        machine=run_file(machine.model.name, machine),
        verdict="no_verdict",
        reason=sentence(error.reason),
        first_over_limit=None,
        limits=tuple(LimitRow.of(unjudged(limit)) for limit in machine_limits(machine.model)),
        numerics=Numerics(total_seconds=seconds, engine_log=tuple(error.log[-40:])),
        overridden=machine.overridden | scenario.overridden,
        warnings=(*machine.warnings, *scenario.warnings),
        not_modelled=tuple(not_modelled(machine.model)),
        cautions=tuple(CAUTIONS),
        provenance=provenance(),
    )


def sentence(text: str) -> str:
    """The same with a capital letter and a full stop."""
    text = text.strip()
    if not text:
        return "The engine gave no reason."
    ended = text if text[-1] in ".!?" else f"{text}."
    return ended[0].upper() + ended[1:]
