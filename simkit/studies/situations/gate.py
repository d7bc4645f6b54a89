"""Gate drive: resistors, supply, and the gate transformer."""

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import Case, NotHere, Situation, draft, rounded

SMALL, LARGE = 0.1, 6.0
"""Gate resistor over the machine's own [1]."""
ABOVE_THRESHOLD = 2.0
"""What a starved driver puts out above the threshold [V]: a design choice."""
DROOPING = 0.1
"""Magnetising inductance of a gate transformer wound for ten times the frequency [1]."""


def _resistor(machine: Machine, name: str, title: str, factor: float) -> Case:
    drive = machine.drive
    instead = {"drive.gate_resistor": rounded(factor * drive.gate_resistor)}
    if drive.turn_off_resistor is not None:
        instead["drive.turn_off_resistor"] = rounded(factor * drive.turn_off_resistor)
    return draft(machine, name, title=title, instead=instead)


def small(machine: Machine) -> Case:
    """A tenth of the gate resistor."""
    return _resistor(machine, "gate-resistor-small", "Gate resistor far too small", SMALL)


def large(machine: Machine) -> Case:
    """Six times the gate resistor."""
    return _resistor(machine, "gate-resistor-large", "Gate resistor far too large", LARGE)


def starved(machine: Machine) -> Case:
    """The driver's supply too low to open the channel fully."""
    voltage = machine.switch.channel.threshold + ABOVE_THRESHOLD
    if voltage >= machine.drive.voltage_on:
        raise NotHere("the driver's supply lies within 2 V of the threshold already")
    title = "Supply of the driver too low"
    return draft(machine, "driver-supply-low", title=title, instead={"drive.voltage_on": voltage})


def drooping(machine: Machine) -> Case:
    """The gate transformer wound for ten times the frequency."""
    transformer = machine.drive.transformer
    if transformer is None:
        raise NotHere("the gates are not driven through transformers: nothing can droop")
    inductance = rounded(DROOPING * transformer.magnetising_inductance)
    return draft(
        machine, "gate-transformer-droop", title="Gate transformer droops at this frequency",
        instead={"drive.transformer.magnetising_inductance": inductance},
    )  # fmt: skip


FAMILY = "gate"
GATE = (
    Situation(
        "gate-resistor-small",
        FAMILY,
        "Gate resistor too small",
        "The gate rings; edges are fast, overshoot and noise with them.",
        small,
    ),
    Situation(
        "gate-resistor-large",
        FAMILY,
        "Gate resistor too large",
        "Slow edges, a voltage spike at the edge, delay that eats the dead time.",
        large,
    ),
    Situation(
        "driver-supply-low",
        FAMILY,
        "Supply of the driver too low",
        "The channel is not fully open: it drops volts and heats.",
        starved,
    ),
    Situation(
        "gate-transformer-droop",
        FAMILY,
        "Gate transformer droop at low frequency",
        "The gate voltage sags towards the end of the half period and the level shifts.",
        drooping,
    ),
)
