"""Junction temperatures, in the event, held and minutes later."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simkit.figures.record import Bound, Fast, FastEvent, Figure, Words
from simkit.parameters.machine import Machine
from simkit.parts.heat_path import heat_path, settled_junctions

if TYPE_CHECKING:
    from simkit.scout.operating import OperatingPoint


def capacity_note(machine: Machine, sink_known: bool = False) -> str:
    """Which heat capacities nobody gave, and what is taken for them; empty with both."""
    cooling = machine.cooling
    missing = [
        f"cooling.{name}_heat_capacity"
        for name, known in (
            ("case", cooling.case_heat_capacity is not None),
            ("heatsink", sink_known or cooling.heatsink_heat_capacity is not None),
        )
        if not known
    ]
    if not missing:
        return ""
    return f"; no {' and no '.join(missing)} given: the hotter of none and endless is taken"


def _hottest_allowed(machine: Machine) -> float:
    ambient = machine.cooling.ambient
    rise = machine.switch.ratings.junction_temperature - ambient
    return ambient + machine.limits.derating.junction_rise * rise


def _in_the_event(machine: Machine) -> Bound:
    return Bound(
        _hottest_allowed(machine),
        f"cooling.ambient plus {machine.limits.derating.junction_rise:.0%} of the rise to "
        f"switch.ratings.junction_temperature{capacity_note(machine)}",
    )


def _held(machine: Machine) -> Bound:
    return Bound(
        _hottest_allowed(machine),
        f"as junction_peak, last state held for {machine.limits.hold_time:g} s"
        f"{capacity_note(machine)}",
    )


def settled(machine: Machine, loss: float) -> float:
    """Hottest junction after a long time at a loss of all switches together [W]: [degC]."""
    path = heat_path(machine)
    each = np.full(path.switches, loss / path.switches)
    return float(settled_junctions(path, each).max())


def _at_the_ends(event: FastEvent) -> float:
    """Settled junction at the loss of the event's first cycle or its last, the larger [degC]."""
    return settled(event.machine, float(max(event.cycles.bridge_loss[[0, -1]])))


def _steady(machine: Machine, point: OperatingPoint) -> float:
    return settled(machine, point.bridge_loss)


FROM_LOSS = "follows from the switches' loss, which has a course of its own"

FIGURES = (
    Figure(
        name="junction_peak",
        part="switch",
        unit="degC",
        words=Words(
            title="junction temperature in the event",
            what="The hottest the chip gets while the event lasts.",
            why="Beyond the rating the chip fails at once or ages fast.",
            how="Loss per cycle through the data sheet's transient impedance, case, pad and "
            "heatsink.",
            formula="T_J(t) = T_J(0) + sum of dP_k x Z_th(t - t_k), dP_k the change of loss at "
            "cycle k; Z_th the data sheet's curve, case, pad and heatsink",
            scope="Not visible; the case lags by seconds.",
            change="Whatever lowers the loss: see the recovery and current figures.",
            moved_by=("cooling.heatsink_resistance", "cooling.pad_resistance", "cooling.ambient"),
        ),
        place="simkit/rehearsal/heat.py",
        limit=_in_the_event,
        fast=Fast(none=FROM_LOSS, driver=_at_the_ends, point=_steady),
        of_loss=True,
    ),
    Figure(
        name="junction_held",
        part="switch",
        unit="degC",
        words=Words(
            title="junction temperature if the last state is held",
            what="How hot the chip gets when nobody reacts and the last state goes on.",
            why="The state after the event goes on until somebody notices.",
            how="Loss of the last cycles kept up for the hold time, through chip, case, pad "
            "and heatsink.",
            formula="the course of the event going on with P_last: the hottest within the hold "
            "time",
            scope="A case thermometer that climbs by degrees a second says stop.",
            change="Whatever lowers the loss; a trip on phase or current.",
            moved_by=("limits.hold_time", "cooling.heatsink_resistance", "cooling.pad_resistance"),
        ),
        place="simkit/rehearsal/heat.py",
        limit=_held,
        fast=Fast(none=FROM_LOSS, driver=_at_the_ends),
        of_loss=True,
    ),
    Figure(
        name="junction_later",
        part="switch",
        unit="degC",
        words=Words(
            title="junction temperature after minutes",
            what="How warm the hottest chip gets when the last state goes on for minutes.",
            why="Heatsinks take minutes to show that they are too small, or that their fan stands.",
            how="As if held: losses of the circuit run standing still, into chip, case, pad "
            "and heatsink.",
            formula="as junction_held, to the aftermath's time; in the end T_a + (sum of P) R_sa "
            "+ P (R_jc + R_pad)",
            scope="A thermometer on the heatsink near the hottest switch.",
            change="A larger heatsink, a fan that is watched, less loss; a thermal switch on the"
            " heatsink.",
            moved_by=("cooling.heatsink_resistance", "cooling.pad_resistance", "cooling.ambient"),
        ),
        place="simkit/rehearsal/heat.py",
        limit=None,
        of_loss=True,
    ),
)
