"""What a machine's model file makes a rehearsal cost, told before it begins."""

from math import nan

from simkit.circuit import bench_decks
from simkit.errors import EngineError
from simkit.parameters.machine import Machine
from simkit.run.process import NgspiceEngine
from simkit.studies.part.sturdy import BUDGET, SturdyRunner
from simkit.studies.part.trial import DEARER


def dearness(machine: Machine) -> float:
    """CPU of the machine's switch by model file over that of our own [1]; NaN where it stops.

    A double pulse at the machine's supply, gate drive and a quarter of the rated current, the
    quicker of two runs each. Errors: EngineError when our own switch does not run.
    """
    switch = machine.switch
    engine = NgspiceEngine()
    run = SturdyRunner(lambda d: engine.run(d.text, d.saved, d.stop, BUDGET))
    decks = []
    for each in (switch, switch.model_copy(update={"model": None})):
        test = bench_decks.double_pulse_test(
            each, machine.supply.voltage, 0.25 * switch.ratings.drain_current,
            (machine.drive.voltage_off, machine.drive.voltage_on), machine.drive.gate_resistor,
            machine.bridge.loop_inductance,
        )  # fmt: skip
        decks.append(test.deck)
    ours = min(run(decks[1]).cpu_seconds for _ in range(2))
    try:
        return min(run(decks[0]).cpu_seconds for _ in range(2)) / ours
    except EngineError:
        return nan


def dear(machine: Machine) -> str | None:
    """A sentence where a machine's model file is dearer than our own switch, else None."""
    model = machine.switch.model
    if model is None:
        return None
    times = dearness(machine)
    if times != times:  # nan: it stopped
        return (
            f"{model.file} stops the engine in a double pulse; expect no verdict, and see `simkit "
            "part` for why"
        )
    if times <= DEARER:
        return None
    return f"{model.file} makes the circuit about {times:.2g} times as dear as our own switch would"
