"""The coil and its water."""

from simkit.figures.record import Figure, Words

FIGURES = (
    Figure(
        name="water_temperature",
        part="coil",
        unit="degC",
        words=Words(
            title="temperature of the cooling water",
            what="How warm the water in the coil gets when the last state goes on.",
            why="Boiling water no longer cools: the tube softens, the hose comes off.",
            how="Loss in the coil's copper into water and tube, evenly warm, less what the "
            "flow takes out.",
            formula="C dT/dt = P_coil - rho c q (T - T_in)",
            scope="A thermometer at the outlet; a flow switch says it sooner.",
            change="A flow switch that stops the drive, a larger pump, a wider tube.",
            moved_by=("coil.resistance", "tank.cans", "drive.working_margin"),
        ),
        place="simkit/rehearsal/aftermath.py",
        limit=None,
    ),
)
