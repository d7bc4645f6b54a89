"""What is tried, in order, when the engine stops early."""

from collections.abc import Callable
from dataclasses import replace

from simkit.circuit.analysis import Analysis
from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.errors import EngineError
from simkit.parameters.machine import Machine
from simkit.rehearsal.stretches import Runner, Stretch, run_stretch

LADDER: tuple[tuple[str, Callable[[Analysis], Analysis]], ...] = (
    ("as planned", lambda a: a),
    ("nodes from zero", lambda a: replace(a, start_nodes=False)),
    ("abstol 1e-5", lambda a: replace(a, abstol=1e-5)),
    ("nodes from zero, abstol 1e-5", lambda a: replace(a, start_nodes=False, abstol=1e-5)),
    ("trtol 3", lambda a: replace(a, trtol=3.0)),
    ("a quarter of the step", lambda a: replace(a, step=a.step / 4)),
    ("a quarter of the step, nodes from zero, abstol 1e-4",
     lambda a: replace(a, step=a.step / 4, start_nodes=False, abstol=1e-4)),
    ("gear", lambda a: replace(a, method="gear", step=a.step / 2)),
    ("gear, reltol 5e-4",
     lambda a: replace(a, method="gear", step=a.step / 2, reltol=max(a.reltol, 5e-4))),
)  # fmt: skip
"""What is tried, in order, when the engine stops early. A coarse tolerance only with gear, whose
peaks it makes a little wrong; those of the trapezoidal rule it can double."""


def climb(
    machine: Machine,
    line: Timeline,
    seed: Seed,
    analysis: Analysis,
    runner: Runner,
    measured_from: float,
    retries: list[str],
) -> Stretch:
    """Run a stretch, going down the ladder when the engine stops early; every rung is recorded."""
    last: EngineError | None = None
    for name, change in LADDER:
        try:
            return run_stretch(machine, line, seed, change(analysis), runner, measured_from)
        except EngineError as error:
            if not error.retry:
                raise
            retries.append(f"from {line.begin * 1e3:.4g} ms, {name}: {error.reason}")
            last = error
    assert last is not None
    raise last
