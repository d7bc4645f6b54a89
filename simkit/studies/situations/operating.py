"""Ordinary running: tuning down, soaking, raising the supply, warming up, melting."""

from collections.abc import Mapping
from typing import Any

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import (
    Case,
    NotHere,
    Situation,
    draft,
    heatsink,
    main_load,
    reachable,
    rounded,
)

SOAK_VOLTAGE = 24.0
"""Supply of the first long run [V]: a design choice, a bench supply's range."""
SOAK_TIME = 1200.0
"""Twenty minutes [s]: a design choice, several time constants of a small heatsink's start."""
WIDE, DEEP = 1.25, 0.97
"""Where tuning down begins and ends, over resonance [1]."""
LOW = 100.0
"""Supply while tuning and before it is raised [V]."""
HOTTER = 1.3
"""Resistance of a hot piece over a cold one where the file names no hot piece [1]."""
CHARGE = 0.12
"""Charge that is melted [kg]: a design choice, 44 cm3 of aluminium."""
TARGET = 720.0
"""Where it is poured [degC]: a design choice, 60 K above its melting point."""

Step = Mapping[str, Any]


def tune_down(machine: Machine) -> Case:
    """From well above resonance, through it, and a little too far, at low voltage."""
    load = main_load(machine)
    resonance = machine.resonance(machine.load(load).inductance)
    high, low = (reachable(machine, x * resonance) for x in (WIDE, DEEP))
    if low >= resonance or high <= resonance:
        raise NotHere("the oscillator's range does not hold the loaded resonance")
    step = {"kind": "frequency", "frequency": rounded(low), "at": 0.0, "duration": 3e-3}
    return draft(
        machine, "tune-down-low-voltage", title="Frequency lowered through resonance",
        events=[step], settled=3e-4, tail=3e-4,
        start={"frequency": rounded(high), "supply_voltage": LOW},
    )  # fmt: skip


def soak(machine: Machine) -> Case:
    """Twenty minutes at 24 V from a cold heatsink."""
    after = {"time": SOAK_TIME, "begins": "cold", "heatsink_heat_capacity": heatsink(machine)}
    return draft(
        machine, "soak-low-voltage", title="Twenty minutes at 24 V", aftermath=after,
        start={"supply_voltage": SOAK_VOLTAGE},
    )  # fmt: skip


def raise_supply(machine: Machine) -> Case:
    """From 100 V to the full supply within 50 ms, quick against a hand on a dial."""
    full = machine.supply.voltage
    if full <= LOW:
        raise NotHere("the supply stays at or below 100 V")
    step = {"kind": "supply", "voltage": full, "at": 0.0, "duration": 50e-3}
    return draft(
        machine, "raise-supply-fully", title="Supply raised from 100 V to full",
        events=[step], start={"supply_voltage": LOW}, tail=1e-3,
    )  # fmt: skip


def hot_piece(machine: Machine) -> Step:
    """The event that turns the machine's first piece into a hot one."""
    first = main_load(machine)
    steel = {n: p for n, p in machine.workpieces.items() if "hot" in n.split("-")}
    step: dict[str, Any] = {"at": 0.0, "duration": 4e-3}
    if steel:
        return {"kind": "becomes", "load": next(iter(steel))} | step
    # Without a hot piece in the file only the rise of resistivity is shown.
    if machine.load(first).resistance <= machine.coil.resistance:
        raise NotHere("the piece adds no resistance that could change with heat")
    return {"kind": "coil", "resistance_factor": HOTTER} | step


def warm_fixed(machine: Machine) -> Case:
    """Cold to hot at a fixed frequency; what takes minutes is shown in milliseconds."""
    return draft(
        machine, "warm-up-fixed-frequency", title="Piece heats through, frequency fixed",
        events=[hot_piece(machine)], tail=3e-4,
    )  # fmt: skip


def warm_tracked(machine: Machine) -> Case:
    """The same with a drive that follows the resonance."""
    return draft(
        machine, "warm-up-tracked", title="Piece heats through, drive follows the resonance",
        events=[hot_piece(machine)], start={"tracks": True}, tail=3e-4,
    )  # fmt: skip


def melt(machine: Machine) -> Case:
    """Aluminium to its melt in the piece's place, at the run's power for twenty minutes."""
    charge = {
        "material": "aluminium", "mass": CHARGE, "start": machine.cooling.ambient, "target": TARGET,
        "radiating_area": 20e-4, "emissivity": 0.8, "insulation": 3.0,
    }  # fmt: skip
    after = {
        "time": SOAK_TIME, "begins": "cold", "heatsink_heat_capacity": heatsink(machine),
        "charge": charge,
    }  # fmt: skip
    title = "120 g of aluminium melted, twenty minutes at full power"
    return draft(machine, "melt-charge", title=title, aftermath=after)


FAMILY = "operating"
OPERATING = (
    Situation(
        "tune-down-low-voltage",
        FAMILY,
        "Tuning down from above resonance",
        "Current and power grow towards resonance; past it the mode turns capacitive.",
        tune_down,
    ),
    Situation(
        "soak-low-voltage",
        FAMILY,
        "Low-voltage soak",
        "At 24 V for twenty minutes the heatsinks warm by little.",
        soak,
    ),
    Situation(
        "raise-supply-fully",
        FAMILY,
        "Raise of supply voltage",
        "Currents and voltages grow with the supply, losses with its square; the mode stays.",
        raise_supply,
    ),
    Situation(
        "warm-up-fixed-frequency",
        FAMILY,
        "Warm-up at fixed frequency",
        "The resonance drifts away from the drive, or towards it: who chases whom decides.",
        warm_fixed,
    ),
    Situation(
        "warm-up-tracked",
        FAMILY,
        "Warm-up with a drive that tracks phase",
        "The margin stays; current follows the falling resistance.",
        warm_tracked,
    ),
    Situation(
        "melt-charge",
        FAMILY,
        "Crucible charge melting",
        "The charge takes its heat of fusion at one temperature; the heatsinks must bear the time.",
        melt,
    ),
)
