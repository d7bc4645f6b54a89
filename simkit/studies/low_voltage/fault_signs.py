"""Faults that show at a low voltage, each as a change of the machine with a few severities.

A severity is a number of its own meaning, named in `scale`. A fault that a machine cannot have (no
blocking capacitor, say) gives no machine. What these changes are is common practice, no source.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from simkit.parameters.machine import Machine
from simkit.studies.inputs.uncertain_values import with_values

Build = Callable[[Machine, float], Machine | None]


@dataclass(frozen=True)
class Fault:
    """One fault: what it is, how it is shown in a machine, what to look at."""

    name: str
    title: str
    scale: str
    """What the severity counts."""
    severities: tuple[float, ...]
    build: Build
    look: str
    """Where to look, one sentence."""

    def machines(self, machine: Machine) -> Iterator[tuple[float, Machine]]:
        """Severity and faulty machine, those the machine can have."""
        for severity in self.severities:
            changed = self.build(machine, severity)
            if changed is not None:
                yield severity, changed


def loads_changed(
    machine: Machine, inductance: Callable[[float], float], resistance: Callable[[float], float]
) -> Machine:
    """Inductance and resistance of the coil, alone and with every piece, put through functions."""
    values: dict[str, float] = {}
    keys = ["coil", *(f"workpieces.{name}" for name in machine.workpieces)]
    loads = [machine.coil.as_load(), *machine.workpieces.values()]
    for key, load in zip(keys, loads, strict=True):
        values[f"{key}.inductance"] = inductance(load.inductance)
        values[f"{key}.resistance"] = resistance(load.resistance)
    return with_values(machine, values)


def missing_cans(machine: Machine, count: float) -> Machine | None:
    """Cans not connected."""
    if machine.tank.cans <= count:
        return None
    return with_values(machine, {"tank.cans": int(machine.tank.cans - count)})


def shorted_turn(machine: Machine, share: float) -> Machine:
    """A shorted turn of the coil couples with the rest: L falls by a share k^2, and its own
    resistance comes across as k^2 times the share of the coil's; taken as R grown by 2 k^2 R_coil
    (a turn's share of the copper, with the current of a short)."""
    extra = 2.0 * share * machine.coil.resistance
    return loads_changed(machine, lambda x: x * (1.0 - share), lambda r: r + extra)


def loose_clamp(machine: Machine, ohms: float) -> Machine:
    """A bad joint in the tank's loop."""
    return loads_changed(machine, lambda x: x, lambda r: r + ohms)


def wrong_turns(machine: Machine, change: float) -> Machine | None:
    """The matching transformer wound with other primary turns; inductances go with the square."""
    turns = machine.transformer.primary_turns
    now = turns + int(change)
    if now < 2:
        return None
    square = (now / turns) ** 2
    return with_values(
        machine,
        {
            "transformer.primary_turns": now,
            "transformer.magnetising_inductance": machine.transformer.magnetising_inductance
            * square,
            "transformer.leakage_inductance": machine.transformer.leakage_inductance * square,
        },
    )


def wrong_dead_time(machine: Machine, factor: float) -> Machine | None:
    """Dead time off by a factor, where it leaves an on-time and more than an edge."""
    now = machine.drive.dead_time * factor
    room = 2.0 * (now + machine.drive.edge_time) < 0.5 / machine.drive.frequency_max
    if not room or now <= 2.0 * machine.drive.edge_time:
        return None
    return with_values(machine, {"drive.dead_time": now})


def weak_blocking(machine: Machine, factor: float) -> Machine | None:
    """The capacitance in series with the primary has lost most of itself."""
    if machine.transformer.blocking_capacitance is not None:
        now = machine.transformer.blocking_capacitance * factor
        return with_values(machine, {"transformer.blocking_capacitance": now})
    if machine.bridge.split_capacitance is not None:
        now = machine.bridge.split_capacitance * factor
        return with_values(machine, {"bridge.split_capacitance": now})
    return None


def open_core(machine: Machine, factor: float) -> Machine:
    """Core halves that do not close: the magnetising inductance falls."""
    now = machine.transformer.magnetising_inductance * factor
    return with_values(machine, {"transformer.magnetising_inductance": now})


def loose_secondary(machine: Machine, factor: float) -> Machine:
    """The secondary away from the primary: the leakage rises."""
    now = machine.transformer.leakage_inductance * factor
    return with_values(machine, {"transformer.leakage_inductance": now})


def no_workpiece(machine: Machine, _: float) -> Machine | None:
    """Nothing in the coil where a piece was meant to be."""
    if not machine.workpieces:
        return None
    values: dict[str, float] = {}
    for name in machine.workpieces:
        values[f"workpieces.{name}.inductance"] = machine.coil.inductance
        values[f"workpieces.{name}.resistance"] = machine.coil.resistance
    return with_values(machine, values)


def dead_leg(machine: Machine, _: float) -> Machine | None:
    """Leg b stands at the negative rail: its upper gate gets nothing, its lower one stays on."""
    if machine.bridge.form.far_end != "leg" or machine.transformer.blocking_capacitance is None:
        return None
    bridge = machine.bridge.model_copy(update={"topology": "half-blocking"})
    return machine.model_copy(update={"bridge": bridge})


def weak_gates(machine: Machine, volts: float) -> Machine | None:
    """The driver's supply is too low."""
    if not machine.switch.channel.threshold + 0.5 < volts < machine.drive.voltage_on - 1.0:
        return None
    return with_values(machine, {"drive.voltage_on": volts})


FAULTS: tuple[Fault, ...] = (
    Fault("missing-can", "cans of the bank not connected", "cans", (1.0, 2.0, 3.0), missing_cans,
          "Look at every joint of the capacitor bank; measure the bank with a meter."),
    Fault("shorted-turn", "a shorted turn in the coil", "share of L lost", (0.08, 0.15, 0.25),
          shorted_turn, "Look for turns, or leads, that touch."),
    Fault("loose-clamp", "a bad joint in the tank's loop", "ohm", (0.008, 0.02, 0.05), loose_clamp,
          "Find the warm joint with a thermometer, never fingers; discharge and measure, then "
          "clean and tighten clamps of coil and bank."),
    Fault("wrong-turns", "other primary turns than meant", "turns", (-2.0, -1.0, 1.0, 2.0),
          wrong_turns, "Count the turns; measure the ratio with a small signal."),
    Fault("wrong-dead-time", "the dead time is not what is meant", "times", (0.4, 0.6, 1.7, 2.5),
          wrong_dead_time, "Measure both gates of a leg on one screen with the bridge unpowered."),
    Fault("weak-blocking", "the capacitor in series with the primary has lost capacitance",
          "times", (0.003, 0.01, 0.03), weak_blocking,
          "Measure it with a meter; look for a dry joint or a wrong part."),
    Fault("open-core", "the transformer's core halves do not close", "times", (0.05, 0.15, 0.4),
          open_core, "Measure the primary's inductance with the secondary open."),
    Fault("loose-secondary", "the secondary is not where it belongs", "times", (2.0, 4.0, 8.0),
          loose_secondary, "Measure the primary's inductance with the secondary shorted."),
    Fault("no-workpiece", "no workpiece in the coil, or another one", "", (1.0,), no_workpiece,
          "Look into the coil: is the piece the one named, and in place?"),
    Fault("dead-leg", "one leg of the bridge does not switch", "", (1.0,), dead_leg,
          "Compare the gates of both legs with the bridge unpowered, then both nodes at 12 V."),
    Fault("weak-gates", "gates are driven with too low a voltage", "V", (6.0, 8.0), weak_gates,
          "Measure the gates with the bridge unpowered, and the driver's supply."),
)  # fmt: skip
"""Every fault the finder weighs."""
