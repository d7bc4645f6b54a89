"""What is drawn from the supply, in operation and while the link charges."""

import numpy as np

from simkit.figures.record import Bound, Fast, FastEvent, Figure, Words
from simkit.measure.waveforms import Array


def _through_the_source(event: FastEvent) -> Array:
    """Current behind the drop across the source's resistance [A]."""
    drop = np.maximum(event.source - event.link, 0.0)
    return np.asarray(drop / event.machine.supply.source_resistance)


FIGURES = (
    Figure(
        name="supply_current",
        part="supply",
        unit="A",
        averaged=True,
        words=Words(
            title="current",
            what="The current drawn from the rectifier or bench supply, averaged over a cycle.",
            why="Trips the fuse, overheats rectifier and wiring.",
            how="Average over a cycle out of the source, largest cycle.",
            formula="mean over a cycle of i_supply",
            scope="Meter in the supply lead.",
            change="More primary turns, more distance from resonance.",
            moved_by=("limits.supply_current", "transformer.primary_turns", "drive.working_margin"),
        ),
        place="simkit/measure/tank.py",
        limit=lambda m: Bound(m.limits.supply_current, "limits.supply_current"),
        fast=Fast(
            course=_through_the_source,
            driver=lambda e: float(np.max(e.cycles.supply_current)),
            point=lambda _, p: p.supply_current,
        ),
        gain="square",
        remembers="link",
    ),
    Figure(
        name="charging_current",
        part="supply",
        unit="A",
        words=Words(
            title="charging current, mean of a half period",
            what="What the mains supplies in a half period while the link charges.",
            why="Trips the fuse and wears rectifier and relay contacts.",
            how="Link charging through its limiter from the rectified mains, worst half period.",
            formula="mean over half a mains period of (|V sin wt| - 2 V_d - v)/(R_line + R)",
            scope="Current clamp around the mains lead at switch-on.",
            change="A larger charging resistor, a smaller lamp, a smaller link capacitor.",
            moved_by=(
                "supply.link.capacitance",
                "supply.source_resistance",
                "limits.supply_current",
            ),
        ),
        place="simkit/rehearsal/aftermath.py",
        limit=None,
    ),
    Figure(
        name="charging_peak",
        part="supply",
        unit="A",
        words=Words(
            title="charging current, peak",
            what="The largest current of the first surge into the empty link.",
            why="A single surge beyond the rating breaks the rectifier's diodes.",
            how="Link charging through its limiter, switched on at the peak of the mains.",
            formula="max of (|V sin wt| - 2 V_d - v)/(R_line + R)",
            scope="Current clamp around the mains lead at switch-on.",
            change="A charging resistor or lamp; a rectifier for a larger surge.",
            moved_by=("supply.link.capacitance", "supply.source_resistance", "supply.voltage"),
        ),
        place="simkit/rehearsal/aftermath.py",
        limit=None,
    ),
)
