"""The switch of a machine file from its part file, at the temperature it works at."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import pi
from pathlib import Path
from typing import Any

from simkit.errors import InputError, Problem
from simkit.parameters.load import Loaded, load_file, top_values
from simkit.parameters.machine import Machine
from simkit.parameters.part import Mosfet
from simkit.parameters.part_igbt import Igbt
from simkit.parameters.switch import Switch
from simkit.parts.igbt_fit import fit_igbt, saturation_at
from simkit.parts.modelled import with_model
from simkit.parts.mosfet_fit import COLD, switch_from_part
from simkit.parts.thermal import Settled, Stack, conduction_loss, electro_thermal
from simkit.parts.working import primary_current

_FITS: dict[tuple[str, float], Switch] = {}
"""Fits of this process by the part file's digest and temperature [degC]: a study that loads a
machine many times fits once."""


Part = Mosfet | Igbt
KINDS: dict[str, type[Mosfet] | type[Igbt]] = {"mosfet": Mosfet, "igbt": Igbt}
"""By what a part file's `kind` says; a MOSFET's need not say it."""
FOREIGN = {
    "igbt": {
        "on_resistance": "an IGBT has [[saturation]]: V_CE(sat) at two currents and temperatures",
        "avalanche": "an IGBT has breakdown_voltage, and is not rated for avalanche",
        "double_pulse": "an IGBT has [[turn_off]], with E_off and the tail's decay",
    },
    "mosfet": {
        "saturation": 'a MOSFET has [on_resistance]; an IGBT\'s file begins with kind = "igbt"',
        "turn_off": 'a MOSFET has [double_pulse]; an IGBT\'s file begins with kind = "igbt"',
        "reach_voltage": 'a MOSFET has none; an IGBT\'s file begins with kind = "igbt"',
    },
}
"""Tables of the other kind, by kind, and what stands in their place."""


def load_part(path: Path, overrides: Mapping[str, str] | None = None) -> Loaded[Any]:
    """A part file of either kind. Errors: InputError with every problem found, naming that file."""
    top = top_values(path, Mosfet)
    kind = top.get("kind", "mosfet")
    if kind not in KINDS:
        known = " or ".join(KINDS)
        raise InputError([Problem(str(path), None, "kind", str(kind), f"must be {known}")])
    foreign = [
        Problem(str(path), None, key, "", f"belongs to another kind of switch than {kind}", hint)
        for key, hint in FOREIGN[kind].items()
        if key in top
    ]
    if foreign:
        raise InputError(foreign)
    return load_file(path, KINDS[kind], overrides or {})


def switch_of(part: Part, junction_temperature: float = COLD) -> Switch:
    """The switch of a part at a junction temperature [degC]; ValueError as the fits'."""
    if isinstance(part, Igbt):
        return fit_igbt(part, junction_temperature).switch
    return switch_from_part(part, junction_temperature)


def fitted_switch(part: Loaded[Any], junction_temperature: float) -> Switch:
    """The switch at a junction temperature [degC], with its model file where the part names one.

    ValueError for figures that allow no fit; InputError for a model file that is not taken.
    """
    key = (part.digest, junction_temperature)
    if key not in _FITS:
        _FITS[key] = switch_of(part.model, junction_temperature)
    return with_model(part, _FITS[key], junction_temperature)


def stack_of(machine: Machine) -> Stack:
    """From a junction of the machine to the air."""
    cooling = machine.cooling
    return Stack(
        junction_case=machine.switch.ratings.thermal_resistance,
        pad=cooling.pad_resistance,
        heatsink=cooling.heatsink_resistance,
        ambient=cooling.ambient,
        switches=machine.bridge.switches,
    )


def working_current(machine: Machine, name: str) -> float:
    """Current through one switch with a load in the coil, full supply [A rms].

    Half of the bridge's, in the mean square: each conducts every other half period. The drive
    is at its working margin above the load's resonance.
    """
    load = machine.load(name)
    frequency = (1.0 + machine.drive.working_margin) * machine.resonance(load.inductance)
    return 0.5 * primary_current(machine, load, frequency, machine.supply.voltage)


def expected_junction(machine: Machine, part: Part) -> Settled:
    """Where the junction settles with the load that draws most, at full supply.

    Conduction loss of each switch against pad and heatsink, iterated to balance
    (`thermal.electro_thermal`). Switching loss is not in it: the design is for soft switching,
    and what that leaves only a circuit run tells.
    """
    currents = [working_current(machine, name) for name in machine.workpieces]
    most = max(currents, default=0.0)
    if isinstance(part, Igbt):
        return electro_thermal(saturation_loss(part, most), stack_of(machine))
    test = part.on_resistance
    loss = conduction_loss(test.cold, test.hot, test.hot_temperature, most)
    return electro_thermal(loss, stack_of(machine))


def saturation_loss(part: Igbt, current: float) -> Callable[[float], float]:
    """Conduction loss [W] over the junction temperature [degC], from a current [A rms].

    A half sine every other half period has a mean of 2/pi of its rms value over the whole period.
    Knee and slope are the straight line's through the two points given; the anti-parallel diode
    counts as if it dropped the same. Source: mean of a half sine. Range: as `saturation_at`.
    """
    mean = current * 2.0 / pi

    def loss(celsius: float) -> float:
        low, high = saturation_at(part, celsius)
        slope = (high.voltage - low.voltage) / (high.collector_current - low.collector_current)
        knee = low.voltage - slope * low.collector_current
        return max(knee, 0.0) * mean + slope * current * current

    return loss
