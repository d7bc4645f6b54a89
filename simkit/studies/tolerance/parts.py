"""What runs along with the figures of parts that have no course of their own.

Parts warm over seconds: of an event they are judged in the settled state and in the last, so of a
drawn machine its first and last moments count. Any scale will do, the circuit's figure is put in
its place; a temperature's rise is scaled, from where its cooling begins.
"""

from collections.abc import Callable, Mapping

import numpy as np

from simkit.figures.record import FastEvent
from simkit.parameters.machine import Machine
from simkit.studies.maps.space import Array

Course = Callable[[FastEvent], Array]


def _ends(course: Course) -> Course:
    """A course's larger end, at every moment."""

    def found(event: FastEvent) -> Array:
        values = course(event)
        return np.full_like(event.link, max(values[0], values[-1]))

    return found


def _primary(event: FastEvent) -> Array:
    return event.cycles.primary_current_rms


def _secondary(event: FastEvent) -> Array:
    loop = event.machine.tank.feed == "loop"
    return event.cycles.coil_current_peak if loop else event.cycles.primary_current_rms


def _coil(event: FastEvent) -> Array:
    return event.cycles.coil_current_peak


def _mains(event: FastEvent) -> Array:
    """What the mains gives: its voltage on the conductance P/V^2 of the bridge, as
    `parts.mains.drawn` has it, its form kept."""
    rectifier, taken = event.machine.supply.rectifier, event.cycles.supply_current / event.source
    level = rectifier.mains_voltage if rectifier is not None else event.source
    return np.asarray(level * taken)


def _core(event: FastEvent) -> Array:
    """Loss density f^a B^b of a square voltage; f is as link over flux linkage [any scale]. A core
    without its ferrite's constants has no figure that goes with it."""
    core = event.machine.transformer
    assert core.loss is not None
    linkage = event.cycles.magnetising_current_peak * core.magnetising_inductance
    flux = linkage / (core.primary_turns * core.core_area)
    return np.asarray((event.link / linkage) ** core.loss.alpha * flux**core.loss.beta)


ALONG: Mapping[str, Course] = {
    "coil_current_rms": _ends(_coil),
    "primary_current_rms": _ends(_primary),
    "primary_current_density": _ends(_primary),
    "blocking_current_rms": _ends(_primary),
    "split_current_rms": _ends(_primary),
    "secondary_current_rms": _ends(_secondary),
    "secondary_current_density": _ends(_secondary),
    "matching_current_rms": _ends(_secondary),
    "coil_loss": _ends(lambda e: e.machine.coil.resistance * e.cycles.coil_current_peak**2),
    "core_loss_density": _ends(_core),
    "mains_current_rms": _ends(_mains),
    "rectifier_current": _ends(_mains),
    "link_ripple_current": _ends(_mains),
    "link_voltage_peak": lambda e: e.link,
    "film_voltage_peak": lambda e: e.link,
    "precharge_energy": lambda e: e.machine.supply.link.capacitance * e.source**2,
    "bleeder_power": lambda e: e.source**2,
}
"""The same current, the same voltage, the same loss."""


def _windings(event: FastEvent) -> Array:
    core = event.machine.transformer
    reflected = core.secondary_resistance * (core.primary_turns / core.secondary_turns) ** 2
    return np.asarray((core.primary_resistance + reflected) * _primary(event) ** 2)


def _ambient(machine: Machine) -> float:
    return machine.cooling.ambient


def _inlet(machine: Machine) -> float:
    water = machine.cooling.water
    return machine.cooling.ambient if water is None else water.inlet


RISES: Mapping[str, tuple[Course, Callable[[Machine], float]]] = {
    "core_temperature": (_ends(_core), _ambient),
    "winding_temperature": (_ends(_windings), _ambient),
    "can_temperature": (_ends(lambda e: e.cycles.bank_voltage_peak**2), _ambient),
    "coil_wall_temperature": (
        _ends(lambda e: e.machine.coil.resistance * e.cycles.coil_current_peak**2), _inlet,
    ),
}  # fmt: skip
"""What a temperature's rise goes with, and where it begins [degC]."""
