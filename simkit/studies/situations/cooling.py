"""Cooling that fails: pump, fan, insulating pad; time until each limit."""

from math import pi
from typing import Any

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import Case, Situation, draft, heatsink, rounded

WATER = {"volume": 10e-6, "inlet": 20.0, "copper": 0.05}
"""Water and copper of a small coil where the file says no more: 10 ml, 50 g; a design choice."""
COPPER_DENSITY = 8930.0
"""[kg/m3]; CRC Handbook (recalled from memory)."""
WEAK = 1e-7
"""Flow of a pump too weak [m3/s]: 6 ml a minute, a pinched hose; a design choice."""
STILL_AIR = 4.0
"""Heatsink to air without fan over with fan [1]: common practice, no source."""
DRY_PAD = 4.0
"""A pad without grease or pressure over a sound one [1]: common practice, no source."""
TIME = 1800.0
"""How long nobody notices [s]."""


def water_in_coil(machine: Machine) -> dict[str, float]:
    """Water and copper of the coil, from its geometry or its cooling where the file has them."""
    found, water = dict(WATER), machine.cooling.water
    if water is not None:
        found["inlet"] = water.inlet
        if water.bore is not None and water.length is not None:
            found["volume"] = rounded(0.25 * pi * water.bore**2 * water.length)
    geometry = machine.coil.geometry
    if geometry is None:
        return found
    length = geometry.turns * pi * (geometry.bore + geometry.tube) + 2.0 * geometry.lead_length
    inner = geometry.tube - 2.0 * geometry.wall
    found["volume"] = rounded(0.25 * pi * inner**2 * length)
    wall = 0.25 * pi * (geometry.tube**2 - inner**2)
    found["copper"] = rounded(COPPER_DENSITY * wall * length)
    return found


def _after(machine: Machine, **more: Any) -> dict[str, Any]:
    return {
        "time": TIME, "begins": "settled", "heatsink_heat_capacity": heatsink(machine), **more,
    }  # fmt: skip


def pump_stops(machine: Machine) -> Case:
    """The water stands."""
    after = _after(machine, water=water_in_coil(machine))
    return draft(machine, "pump-stops", title="Pump stops", aftermath=after)


def pump_weak(machine: Machine) -> Case:
    """A trickle is left."""
    after = _after(machine, water=water_in_coil(machine) | {"flow": WEAK})
    return draft(machine, "pump-weak", title="Pump too weak", aftermath=after)


def fan_stops(machine: Machine) -> Case:
    """The heatsink is left to still air."""
    outward = rounded(STILL_AIR * machine.cooling.heatsink_resistance)
    after = _after(machine, heatsink_resistance=outward)
    return draft(machine, "fan-stops", title="Fan stops", aftermath=after)


def pad_dry(machine: Machine) -> Case:
    """A pad put in dry, or without pressure."""
    pad = rounded(DRY_PAD * machine.cooling.pad_resistance)
    return draft(
        machine, "pad-dry", title="Insulating pad dry or loose",
        instead={"cooling.pad_resistance": pad}, aftermath=_after(machine),
    )  # fmt: skip


FAMILY = "cooling"
COOLING = (
    Situation(
        "pump-stops",
        FAMILY,
        "Pump stops",
        "The standing water in the coil boils within seconds; the switches do not notice.",
        pump_stops,
    ),
    Situation(
        "pump-weak",
        FAMILY,
        "Pump too weak",
        "The water leaves hotter; below some flow it boils all the same.",
        pump_weak,
    ),
    Situation(
        "fan-stops",
        FAMILY,
        "Fan stops",
        "The heatsink climbs for minutes towards what still air can carry off.",
        fan_stops,
    ),
    Situation(
        "pad-dry",
        FAMILY,
        "Insulating pad missing or dry",
        "Each switch runs hotter by its own loss times what the pad adds.",
        pad_dry,
    ),
)
