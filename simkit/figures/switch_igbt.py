"""What an IGBT is rated for beside a MOSFET's ratings: turning off under voltage, short circuits.

Under voltage: while more than half of the link lies between collector and emitter. A soft turn-off
leaves only the tail there; a short circuit has the link, or a leg's share of it, and whatever the
channel carries.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from simkit.figures.record import Bound, Fast, Figure, Measured, Words, rated
from simkit.measure.periodic import Cycle, cycle_peaks
from simkit.measure.waveforms import Array, SwitchWaves, Waves
from simkit.parameters.machine import Machine

HALF = 0.5
"""Share of the link from which on a switch counts as under voltage [1]."""
SHORTED = 0.1
"""Share of the link above which a switch that carries more than its pulsed current is shorted, not
on [1]: far above any saturation voltage, far below its share of a shorted leg."""


def _igbt(machine: Machine) -> bool:
    return machine.switch.bipolar is not None


def under_voltage(waves: Waves, switch: SwitchWaves) -> NDArray[np.bool_]:
    """Whether a switch is under voltage, by sample."""
    return switch.drain_source > HALF * waves.link_voltage


def _switched(waves: Waves, cycles: tuple[Cycle, ...]) -> Mapping[str, Array]:
    return {
        f"Q{s.number}": cycle_peaks(
            waves,
            np.where(under_voltage(waves, s), np.maximum(s.channel_current, 0.0), 0.0),
            cycles,
        )
        for s in waves.switches
    }


def _shorted(waves: Waves, cycles: tuple[Cycle, ...]) -> Mapping[str, Array]:
    return {f"Q{s.number}": cycle_peaks(waves, longest(waves, s), cycles) for s in waves.switches}


def longest(waves: Waves, switch: SwitchWaves) -> Array:
    """For how long, up to each sample, a switch has been in a short circuit [s].

    A short circuit: more than the rated pulsed current in the channel with more than SHORTED of the
    link across it. Two switches of a shorted leg share the link, neither under half of it.
    """
    pulsed = waves.machine.switch.ratings.pulsed_current
    held = switch.drain_source > SHORTED * waves.link_voltage
    short = held & (switch.channel_current > pulsed)
    begins = np.maximum.accumulate(np.where(~short, waves.time, -np.inf))
    return np.where(short, waves.time - np.maximum(begins, waves.time[0]), 0.0)


def _time(machine: Machine) -> Bound | None:
    ratings = machine.switch.ratings
    return rated(ratings.short_circuit_time, 1.0, "switch.ratings.short_circuit_time")


FIGURES = (
    Figure(
        name="switched_current_peak",
        part="switch",
        unit="A",
        words=Words(
            title="collector current under voltage, peak",
            what="The highest current in the chip while more than half of the link lies across it.",
            why="Beyond the turn-off rating (RBSOA) the current gathers in a few cells, which "
            "latch and burn.",
            how="Largest collector current, diode and capacitances left out, where the voltage "
            "is above half of the link's.",
            formula="max over a cycle of i_C where v_CE > V_link/2",
            scope="Collector current and voltage together: both must not be high at once.",
            change="A capacitor across each switch, a soft turn-off of the over-current trip, a "
            "smaller current.",
            moved_by=("bridge.snubber.capacitance", "drive.gate_resistor", "supply.voltage"),
        ),
        offset=1.0,
        place="simkit/figures/switch_igbt.py",
        limit=lambda m: rated(
            m.switch.ratings.turn_off_current,
            m.limits.derating.current,
            "switch.ratings.turn_off_current",
        ),
        measured=Measured(_switched, is_peak=True),
        fast=Fast(course=lambda e: np.maximum(e.cycles.turn_off_current, 0.0), flat=0.05),
        sudden=True,
        there=_igbt,
    ),
    Figure(
        name="short_circuit_time",
        part="switch",
        unit="s",
        words=Words(
            title="short circuit, longest",
            what="How long a switch has to bear the whole link with more than its pulsed current.",
            why="A chip holds a short circuit for some microseconds; then it melts, or fails while "
            "it turns off.",
            how="Longest stretch with more than a tenth of the link across the switch and more "
            "than the rated pulsed current in it.",
            formula="longest t with v_CE > V_link/10 and i_C > I_CM",
            scope="Desaturation: collector voltage high while the gate is on.",
            change="A trip on desaturation or over-current that is quicker than this, with its "
            "blanking.",
            moved_by=("drive.voltage_on", "drive.dead_time"),
        ),
        place="simkit/figures/switch_igbt.py",
        limit=_time,
        measured=Measured(_shorted, is_peak=True),
        fast=Fast(none="a short circuit is run whole"),
        sudden=True,
        there=_igbt,
    ),
)
