"""The tank's capacitor cans."""

from math import pi, sqrt

import numpy as np

from simkit.figures.record import Fast, FastEvent, Figure, Words, rated


def _largest_can_current(event: FastEvent) -> float:
    """Largest current of a can [A rms]: the coil's, which is in series with the bank where the tank
    is fed in its loop; else what drives the bank's voltage, 2 pi f C V, at the event's own pace."""
    cycles, tank = event.cycles, event.machine.tank
    if tank.feed == "loop" or len(cycles.time) < 2:
        return float(np.max(cycles.coil_current_peak)) / (sqrt(2.0) * tank.cans)
    rate = 2.0 * pi / float(np.min(np.diff(cycles.time)))
    return rate * tank.can_capacitance * float(np.max(cycles.bank_voltage_peak)) / sqrt(2.0)


FIGURES = (
    Figure(
        name="can_voltage_rms",
        part="tank capacitor",
        unit="V",
        averaged=True,
        words=Words(
            title="voltage, rms",
            what="The alternating voltage every capacitor can of the tank has to bear.",
            why="Corona and dielectric heating puncture the film.",
            how="Root mean square over a cycle across the bank, largest cycle.",
            formula="sqrt(mean over a cycle of v_bank^2); all cans share it",
            scope="Divider across the bank: the peak is 1.41 times as much.",
            change="More distance from resonance, strings of two in series, cans for higher "
            "voltage.",
            moved_by=("tank.can_voltage", "drive.working_margin", "transformer.primary_turns"),
        ),
        place="simkit/measure/tank.py",
        limit=lambda m: rated(m.tank.can_voltage, m.limits.derating.capacitor, "tank.can_voltage"),
        fast=Fast(
            course=lambda e: e.cycles.bank_voltage_peak / sqrt(2.0),
            point=lambda _, p: p.bank_voltage_rms,
        ),
    ),
    Figure(
        name="can_current_rms",
        part="tank capacitor",
        unit="A",
        averaged=True,
        words=Words(
            title="current, rms",
            what="The alternating current through one capacitor can.",
            why="Heats film and end sprays; cans swell and burst.",
            how="Bank current over the number of cans, root mean square over a cycle, largest"
            " cycle.",
            formula="sqrt(mean over a cycle of i^2) / number, of the cans that stay connected",
            scope="Clamp around one can's lead; of a tank fed in its loop, coil current over the "
            "number of cans.",
            change="More cans, wider spread of the current, water-cooled bars.",
            moved_by=("tank.cans", "tank.can_current", "drive.working_margin"),
        ),
        place="simkit/measure/tank.py",
        limit=lambda m: rated(m.tank.can_current, m.limits.derating.capacitor, "tank.can_current"),
        fast=Fast(
            course=lambda e: e.cycles.coil_current_peak / (sqrt(2.0) * e.machine.tank.cans),
            driver=_largest_can_current,
            point=lambda m, p: p.bank_current_rms / m.tank.cans,
        ),
    ),
)
