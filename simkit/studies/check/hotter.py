"""Rows of `simkit check` on what a piece's own heating does to a drive that stays where it is."""

from collections.abc import Iterator

from simkit.parameters.machine import Machine
from simkit.parts.heated import at_temperature, resonance_doubt
from simkit.parts.working import load_at
from simkit.studies.check.row import CheckRow, Rows


def hotter_rows(rows: Rows, machine: Machine, frequency: float) -> Iterator[CheckRow]:
    """The working frequency [Hz] over the resonance of the same piece where the file has it hotter.

    What the method's doubt on both L's makes of the resonance is asked for as margin. A loop that
    holds the drive makes it follow: then there are no such rows.
    """
    piece = machine.workpieces[rows.load]
    loop = machine.drive.loop
    if piece.geometry is None or (loop is not None and loop.holds != "none"):
        return
    shape = at_temperature(piece.geometry, 20.0)
    for name, other in machine.workpieces.items():
        hot = other.geometry
        if hot is None or hot.temperature <= piece.geometry.temperature:
            continue
        if at_temperature(hot, 20.0) != shape:
            continue
        load = load_at(machine, name, frequency, machine.supply.voltage)
        doubts = [resonance_doubt(one.doubt) for one in (piece, other) if one.doubt is not None]
        yield rows.least(
            f"this frequency over the resonance of {name}", "1",
            frequency / machine.resonance(load.inductance), 1.0 + sum(doubts),
            f"the same piece at {hot.temperature:.0f} degC, if the drive stays where it is; on the "
            "way there, [aftermath.charge] of a scenario",
        )  # fmt: skip
