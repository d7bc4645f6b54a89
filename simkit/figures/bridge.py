"""What is judged of the bridge as a whole."""

from simkit.figures.record import Figure, Words

FIGURES = (
    Figure(
        name="gate_overlap",
        part="bridge",
        unit="s",
        words=Words(
            title="dead time taken by the gates",
            what="How much later a gate lets its switch go than the other takes its own: what of "
            "the commanded dead time is lost.",
            why="Where nothing is left both switches of a leg conduct at once and short the link, "
            "every half period, whatever their ratings make of the current.",
            how="Turn-off delay less turn-on delay of the gate's resistance and capacitance, and "
            "the driver's edge; shown where it is more than the dead time.",
            formula="R_off C_off ln((V_on - V_off)/(V_th - V_off)) - R_on C_on ln((V_on - V_off)/"
            "(V_on - V_th)) + t_edge against t_dead",
            scope="Both gates of a leg on one screen, bridge unpowered: no time with both below "
            "their threshold.",
            change="A longer dead time, a smaller gate resistor, a second one through a diode for "
            "turn-off.",
            moved_by=("drive.dead_time", "drive.gate_resistor", "drive.turn_off_resistor"),
        ),
        place="simkit/rehearsal/overlap.py",
        limit=None,
    ),
)
