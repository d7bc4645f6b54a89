"""What the drive's loop cannot do with the load a scenario starts with."""

from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario

Found = tuple[str, str, str]
"""Field of the scenario, written value, rule."""


def loop_misfits(machine: Machine, scenario: Scenario) -> list[Found]:
    """A load nobody knows, or a gain with which the loop swings before anything has happened."""
    from simkit.circuit.timeline import by_hand, start_frequency
    from simkit.parts.working import load_at
    from simkit.scout.loop_gain import loop_gain
    from simkit.scout.tracking import angle_of

    loop, name = machine.drive.loop, scenario.start.load
    if loop is None:
        return []
    if loop.set_with is not None and loop.set_with not in ("empty", *machine.workpieces):
        rule = f"drive.loop.set_with = {loop.set_with}: the machine has no such workpiece"
        return [("machine", scenario.machine, rule)]
    if loop.holds in ("margin", "none") or loop.by == "self-oscillating" or by_hand(scenario):
        return []
    frequency, voltage = start_frequency(machine, scenario), machine.supply.voltage
    load = load_at(machine, name, frequency, voltage)
    angle = angle_of(machine, load, voltage, frequency, loop.sensed)
    found = loop_gain(machine, load, loop.set_with or name, angle)
    if found is None or found.gain <= found.most:
        return []
    if loop.by == "sampled":
        said = f"step_per_degree = {loop.step_per_degree:g} Hz is {found.gain:.3g} times deadbeat"
        why = "each correction overshoots by more than the error was"
    else:
        said = f"bandwidth is {found.gain:.3g} Hz"
        why = "with the tank's memory and the detector's delay the error comes back larger"
    rule = f"with it drive.loop.{said}; above {found.most:.3g} {why}"
    return [("start.load", name, rule)]
