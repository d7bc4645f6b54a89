"""The boundary between verdicts on a map of two parameters, refined only where it runs.

A cell of the grid whose corners have one verdict is taken as of that verdict throughout; one with
two is split in four, its new corners run in full, level by level. An island of another verdict
smaller than a cell of the first grid is not seen.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from simkit.studies.maps.space import Array
from simkit.studies.maps.study import Mapped, Mapper, Point, full_point

Corner = tuple[float, float]


@dataclass(frozen=True)
class Cell:
    """A rectangle of the unit square; outcome "boundary" where its corners differ."""

    left: float
    right: float
    low: float
    high: float
    outcome: str

    @property
    def corners(self) -> tuple[Corner, Corner, Corner, Corner]:
        """Its four corners."""
        return ((self.left, self.low), (self.right, self.low),
                (self.left, self.high), (self.right, self.high))  # fmt: skip


def refined(mapper: Mapper, found: Mapped, levels: int) -> tuple[tuple[Cell, ...], Mapped]:
    """Cells of a full factorial map of two parameters, and the map with the cases added."""
    known = {_corner(p): p for p in found.points}
    cells = [_judged(cell, known) for cell in first_cells(known)]
    for _ in range(levels):
        mixed = [cell for cell in cells if cell.outcome == "boundary"]
        if not mixed:
            break
        smaller = [part for cell in mixed for part in quarters(cell)]
        wanted = sorted({c for cell in smaller for c in cell.corners} - known.keys())
        units: Array = np.array(wanted)
        rows = mapper.work(units, range(len(units)), "full", 1.0, 1.0)
        known |= {c: full_point(mapper.space, units[k], rows[k]) for k, c in enumerate(wanted)}
        cells = [c for c in cells if c.outcome != "boundary"]
        cells += [_judged(cell, known) for cell in smaller]
    points = tuple(known.values())
    return tuple(cells), Mapped(found.space, found.sample, points, found.checked)


def _corner(point: Point) -> Corner:
    return point.units[0], point.units[1]


def first_cells(known: dict[Corner, Point]) -> list[Cell]:
    """The cells of the first grid."""
    xs, ys = (sorted({c[k] for c in known}) for k in (0, 1))
    return [Cell(a, b, c, d, "") for a, b in pairwise(xs) for c, d in pairwise(ys)]


def quarters(cell: Cell) -> list[Cell]:
    """A cell split in four."""
    x, y = 0.5 * (cell.left + cell.right), 0.5 * (cell.low + cell.high)
    return [
        Cell(a, b, c, d, "")
        for a, b in ((cell.left, x), (x, cell.right))
        for c, d in ((cell.low, y), (y, cell.high))
    ]


def _judged(cell: Cell, known: dict[Corner, Point]) -> Cell:
    found = {known[c].outcome for c in cell.corners}
    outcome = found.pop() if len(found) == 1 else "boundary"
    return Cell(cell.left, cell.right, cell.low, cell.high, outcome)


def share(cells: Sequence[Cell], outcome: str) -> float:
    """Area of the cells of an outcome, as a share of the whole [1]."""
    return sum((c.right - c.left) * (c.high - c.low) for c in cells if c.outcome == outcome)
