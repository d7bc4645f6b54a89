"""The water's way through a machine's coil."""

from __future__ import annotations

from simkit.parameters.machine import Machine
from simkit.parts.cooling import Channel
from simkit.parts.loads import coil_part


def water_channel(machine: Machine) -> Channel | None:
    """The water's way through the coil [m]; None where nobody said how long and how wide it is.

    Source: [cooling.water], or the coil's geometry. Range: one tube, leads included.
    """
    water = machine.cooling.water
    geometry = machine.coil.geometry
    if water is None:
        return None
    if water.bore is not None and water.length is not None:
        return Channel(water.bore, water.length)
    if geometry is None or 2.0 * geometry.wall >= geometry.tube:
        return None
    at = machine.resonance(machine.coil.inductance)
    shape = coil_part(geometry, at, machine.coil.inductance, machine.coil.resistance).geometry
    return Channel(geometry.tube - 2.0 * geometry.wall, shape.tube_length)
