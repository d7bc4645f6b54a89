"""Gates of the switches."""

import numpy as np

from simkit.figures.record import Bound, Fast, FastEvent, Figure, Words, rated
from simkit.figures.switch import broken
from simkit.figures.switch_recovery import forced
from simkit.parameters.machine import Machine

OVERSHOOT_FLAT = 0.025
"""What the part on top of the drive's level may rise above the samples [1]: what the bridge's edges
push into a gate goes with the current they break off, and little else is known of it."""


def _swing(machine: Machine) -> float:
    return max(abs(machine.drive.voltage_on), abs(machine.drive.voltage_off))


def _driven(event: FastEvent) -> float:
    drive = event.machine.drive
    return max(drive.voltage_on, -drive.voltage_off)


def _threshold(machine: Machine) -> Bound:
    value = machine.switch.channel.threshold - machine.limits.threshold_margin
    return Bound(value, "switch.channel.threshold less limits.threshold_margin")


FIGURES = (
    Figure(
        name="gate_voltage_peak",
        part="switch",
        unit="V",
        words=Words(
            title="gate-source voltage, peak",
            what="The highest voltage across the gate oxide, ringing of the gate loop included.",
            why="Beyond the rating the gate oxide breaks down, sometimes hours later.",
            how="Largest magnitude at the chip, inside the internal gate resistor.",
            formula="max over a cycle of |v_GS| at the chip",
            scope="Differential probe at gate and source leads, shortest loop; expect less "
            "ringing inside.",
            change="Shorter gate leads, a larger gate resistor, clamp diodes, a lower drive "
            "voltage.",
            moved_by=("drive.voltage_on", "drive.loop_inductance", "drive.gate_resistor"),
        ),
        place="simkit/measure/switch.py",
        limit=lambda m: rated(
            m.switch.ratings.gate_voltage,
            m.limits.derating.gate_voltage,
            "switch.ratings.gate_voltage",
        ),
        fast=Fast(
            course=broken,
            above=lambda e: np.full(len(e.link), _driven(e)),
            flat=OVERSHOOT_FLAT,
            driver=_driven,
        ),
        sudden=True,
        remembers="winding",
        swing=_swing,
    ),
    Figure(
        name="gate_lift",
        part="switch",
        unit="V",
        words=Words(
            title="gate voltage while it should be off",
            what="How far the gate of a switch that should be off is pushed up while its "
            "partner turns on.",
            why="Lifted over the threshold, both switches of a leg conduct: a short circuit "
            "of the link.",
            how="Largest gate voltage of the outgoing switch while the other one turns on.",
            formula="max of v_GS at the chip from the partner's command to 1 us after; the push "
            "is C_GD x dv/dt through the gate's resistors",
            scope="Gate of the off switch while the bridge node swings: a bump that must stay low.",
            change="Lower turn-off resistance, slower turn-on, negative off voltage, shorter "
            "source lead.",
            moved_by=("drive.gate_resistor", "drive.turn_off_resistor", "drive.voltage_off"),
        ),
        place="simkit/measure/gate.py",
        limit=_threshold,
        fast=Fast(
            course=broken,
            above=lambda e: np.full(len(e.link), e.machine.drive.voltage_off),
            flat=OVERSHOOT_FLAT,
            driver=forced,
            only_forced=True,
        ),
        sudden=True,
        remembers="gate",
        swing=_swing,
    ),
)
