"""The switch of a machine file from its part file, at the temperature it works at."""

from __future__ import annotations

from pathlib import Path

from simkit.parameters.load import Loaded, load_file
from simkit.parameters.machine import Machine
from simkit.parameters.part import Mosfet
from simkit.parameters.switch import Switch
from simkit.parts.mosfet_fit import switch_from_part
from simkit.parts.thermal import Settled, Stack, conduction_loss, electro_thermal
from simkit.parts.working import primary_current

_FITS: dict[tuple[str, float], Switch] = {}
"""Fits of this process by the part file's digest and temperature [degC]: a study that loads a
machine many times fits once."""


def load_part(path: Path) -> Loaded[Mosfet]:
    """A part file. Errors: InputError with every problem found, naming that file."""
    return load_file(path, Mosfet)


def fitted_switch(part: Loaded[Mosfet], junction_temperature: float) -> Switch:
    """The switch at a junction temperature [degC]; ValueError for figures that allow no fit."""
    key = (part.digest, junction_temperature)
    if key not in _FITS:
        _FITS[key] = switch_from_part(part.model, junction_temperature)
    return _FITS[key]


def stack_of(machine: Machine) -> Stack:
    """From a junction of the machine to the air."""
    cooling = machine.cooling
    return Stack(
        junction_case=machine.switch.ratings.thermal_resistance,
        pad=cooling.pad_resistance,
        heatsink=cooling.heatsink_resistance,
        ambient=cooling.ambient,
        switches=4 if machine.bridge.topology == "full" else 2,
    )


def working_current(machine: Machine, name: str) -> float:
    """Current through one switch with a load in the coil, full supply [A rms].

    Half of the bridge's, in the mean square: each conducts every other half period. The drive
    is at its working margin above the load's resonance.
    """
    load = machine.load(name)
    frequency = (1.0 + machine.drive.working_margin) * machine.resonance(load.inductance)
    return 0.5 * primary_current(machine, load, frequency, machine.supply.voltage)


def expected_junction(machine: Machine, part: Mosfet) -> Settled:
    """Where the junction settles with the load that draws most, at full supply.

    Conduction loss I^2 R_DS(on)(T) of each switch against pad and heatsink, iterated to balance
    (`thermal.electro_thermal`). Switching loss is not in it: the design is for soft switching,
    and what that leaves only a circuit run tells.
    """
    currents = [working_current(machine, name) for name in machine.workpieces]
    test = part.on_resistance
    loss = conduction_loss(test.cold, test.hot, test.hot_temperature, max(currents, default=0.0))
    return electro_thermal(loss, stack_of(machine))
