"""Where a run starts: the slow states of the fast model's periodic solution.

The fast model seeds and steers; the run-in that follows lets the engine's circuit find its own
steady state, and nothing is judged before.
"""

import numpy as np

from simkit.circuit.timeline import Timeline
from simkit.circuit.values import Seed
from simkit.parameters.machine import Load, Machine
from simkit.scout.halfwave import Edges
from simkit.scout.plant import plant_from_machine, swing_charge
from simkit.scout.steady import steady, waveforms


def steady_seed(machine: Machine, line: Timeline) -> Seed:
    """Slow states at the beginning of a timeline, as if it had stood still for long."""
    source, frequency = line.voltage.at(line.begin), line.frequency.at(line.begin)
    load = Load(
        inductance=line.inductance.at(line.begin), resistance=line.resistance.at(line.begin)
    )
    voltage = source
    for _ in range(4):  # the source's drop depends on the current it explains; it contracts fast
        plant = plant_from_machine(machine, load, voltage)
        edges = Edges(machine.drive.dead_time, swing_charge(machine, voltage))
        solution = steady(plant, frequency, edges)
        voltage = source - solution.supply_current * machine.supply.source_resistance
    shown = waveforms(solution)
    time = (line.phase(line.begin) % 1.0) / frequency
    order = np.argsort(shown.time, kind="stable")
    state = {
        name: float(np.interp(time, shown.time[order], values[order], period=1.0 / frequency))
        for name, values in shown.outputs.items()
    }
    return Seed(
        link_voltage=voltage,
        primary_current=state["primary_current"],
        load_current=state["load_current"],
        coil_current=state["coil_current"],
        tank_voltage=state["capacitor_voltage"],
        blocking_voltage=state["blocking_voltage"],
    )
