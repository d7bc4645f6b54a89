"""Body diodes that are forced off."""

import numpy as np

from simkit.figures.record import Fast, FastEvent, Figure, Words, rated


def forced(event: FastEvent) -> float:
    """Largest current forced out of a body diode [A]; 0 where none is."""
    return max(float(-np.min(event.cycles.turn_on_current)), 0.0)


SLOPE = Fast(course=lambda e: e.cycles.recovery_slope, driver=forced, only_forced=True)


FIGURES = (
    Figure(
        name="recovery_di_dt",
        part="switch",
        unit="A/s",
        words=Words(
            title="body-diode recovery di/dt",
            what="How fast the current of a conducting body diode is driven to zero by the "
            "other switch.",
            why="A diode forced off faster than rated can turn the parasitic transistor on: "
            "it latches.",
            how="Slope of the diode current from half its forward value to zero, worst recovery.",
            formula="slope of i_diode from half its forward value to zero (as IEC 60747-8 has it)",
            scope="Needs a drain current probe; the step in the primary current betrays it.",
            change="Stay above resonance; larger turn-on gate resistor; a part with a faster "
            "body diode.",
            moved_by=("drive.gate_resistor", "bridge.loop_inductance", "drive.dead_time"),
        ),
        place="simkit/measure/recovery.py",
        limit=lambda m: rated(
            m.switch.ratings.recovery_di_dt,
            m.limits.derating.recovery,
            "switch.ratings.recovery_di_dt",
        ),
        fast=SLOPE,
        sudden=True,
        gain="recovery",
    ),
    Figure(
        name="recovery_dv_dt",
        part="switch",
        unit="V/s",
        words=Words(
            title="body-diode recovery dv/dt",
            what="How fast the voltage climbs across a body diode that is still clearing its "
            "charge.",
            why="A fast climb while charge is stored turns the parasitic transistor on: it "
            "latches.",
            how="Steepest climb over a fifth of the link voltage while the diode recovers.",
            formula="steepest mean slope of v_DS over a fifth of the link voltage, between 10 and"
            " 90 % of it",
            scope="Bridge node at 20 ns per division: a near-vertical edge with a spike on top.",
            change="Stay above resonance; larger turn-on gate resistor; a snubber; a faster body"
            " diode.",
            moved_by=("drive.gate_resistor", "drive.working_margin", "drive.dead_time"),
        ),
        place="simkit/measure/recovery.py",
        limit=lambda m: rated(
            m.switch.ratings.recovery_dv_dt,
            m.limits.derating.recovery,
            "switch.ratings.recovery_dv_dt",
        ),
        fast=SLOPE,
        sudden=True,
        gain="recovery",
    ),
)
