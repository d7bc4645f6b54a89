"""Voltage and currents of a switch."""

from math import sqrt

import numpy as np

from simkit.figures.record import Fast, FastEvent, Figure, Words, rated
from simkit.measure.waveforms import Array


def broken(event: FastEvent) -> Array:
    """Current that is broken off: at turn-off, or out of a recovering diode [A]; the drain's
    overshoot above the link runs along with it."""
    c = event.cycles
    return np.asarray(np.maximum(np.maximum(c.turn_off_current, -c.turn_on_current), 0.0))


FIGURES = (
    Figure(
        name="drain_voltage_peak",
        part="switch",
        unit="V",
        words=Words(
            title="drain-source voltage, peak",
            what="The highest voltage a switch sees: the link voltage, plus what the stray "
            "inductance of the loop adds when its current is cut.",
            why="Beyond the rating the chip avalanches; its energy rating is soon used up.",
            how="Largest voltage between drain and source at the chip, inside the leads.",
            formula="max over a cycle of v_DS at the chip; overshoot about L_loop x di/dt",
            scope="Probe across drain and source with the shortest ground spring; the leads "
            "hide a little.",
            change="Shorter loop to the film capacitor, a snubber, a larger gate resistor, a "
            "higher rating.",
            moved_by=("bridge.loop_inductance", "drive.gate_resistor", "supply.voltage"),
        ),
        place="simkit/measure/switch.py",
        limit=lambda m: rated(
            m.switch.ratings.drain_voltage,
            m.limits.derating.drain_voltage,
            "switch.ratings.drain_voltage",
        ),
        fast=Fast(
            course=broken,
            above=lambda e: e.link,
            flat=0.025,
            driver=lambda e: float(np.max(e.source)),
        ),
        sudden=True,
        swing=lambda m: m.supply.voltage,
    ),
    Figure(
        name="channel_current_peak",
        part="switch",
        unit="A",
        words=Words(
            title="channel current, peak",
            what="The highest current through the silicon channel of a switch, body diode left"
            " out.",
            why="Beyond the pulsed rating bond wires and metal melt before any fuse notices.",
            how="Largest current through the channel, without body diode and output capacitance.",
            formula="max over a cycle of i_channel",
            scope="Current transformer in the primary lead; spikes at the edges need a probe in"
            " the drain.",
            change="More turns on the primary, more distance from resonance, a faster current "
            "trip.",
            moved_by=("transformer.primary_turns", "drive.working_margin", "supply.voltage"),
        ),
        offset=1.0,
        place="simkit/measure/switch.py",
        limit=lambda m: rated(
            m.switch.ratings.pulsed_current,
            m.limits.derating.current,
            "switch.ratings.pulsed_current",
        ),
        fast=Fast(
            course=lambda e: e.cycles.switch_current_peak, point=lambda _, p: p.primary_current_peak
        ),
        sudden=True,
    ),
    Figure(
        name="drain_current_rms",
        part="switch",
        unit="A",
        averaged=True,
        words=Words(
            title="drain current, rms",
            what="The heating value of the current through the drain lead.",
            why="Heats chip and bond wires steadily.",
            how="Root mean square of the drain lead's current over a cycle, largest cycle.",
            formula="sqrt(mean over a cycle of i_D^2)",
            scope="Current transformer in the primary lead; each switch carries half of its "
            "square.",
            change="More turns on the primary, more distance from resonance, a larger part.",
            moved_by=("transformer.primary_turns", "drive.working_margin"),
        ),
        offset=0.5,
        place="simkit/measure/switch.py",
        limit=lambda m: rated(
            m.switch.ratings.drain_current,
            m.limits.derating.current,
            "switch.ratings.drain_current",
        ),
        fast=Fast(
            course=lambda e: e.cycles.primary_current_rms / sqrt(2.0),
            point=lambda _, p: p.primary_current_rms / sqrt(2.0),
        ),
    ),
)
