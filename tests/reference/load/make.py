"""Make `table.csv`: every case by finite elements, the piece refined until nothing moves by 0.5 %.

    python -m tests.reference.load.make

Rows that are there already are kept; remove one to have it made anew. A case takes 5 to
20 s, on one thread (`OMP_NUM_THREADS=1`: the small solves gain nothing from more).
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

from tests.reference.fem import Region, impedance
from tests.reference.load.cases import CASES, COILS, COPPER, FREQUENCY, Case

TABLE = Path(__file__).with_name("table.csv")
COLUMNS = ("case", "resistance", "inductance", "piece", "change", "moved", "unknowns")
COIL_MESH = 1.5  # elements per skin depth of the copper: twice that moves R by 0.02 %
FACTOR, MOST, ENOUGH = 1.6, 4, 0.005
FAR = 0.3


def coil_regions(name: str) -> list[Region]:
    """The turns of a coil."""
    wound = COILS[name]
    return [
        Region(("disk", r, z, wound.tube_radius), 1 / COPPER, turn=True) for r, z in wound.turns
    ]


@cache
def empty(coil: str, per_depth: float = COIL_MESH) -> complex:
    """R + j L of the coil alone [ohm, H]."""
    answer = impedance(coil_regions(coil), FREQUENCY, FAR, per_depth)
    return complex(answer.resistance, answer.inductance)


def piece_region(case: Case, finer: float) -> Region:
    """The piece."""
    wall = case.wall or case.diameter / 2
    inner = case.diameter / 2 - wall
    shape = ("box", inner, case.at - case.length / 2, wall, case.length)
    return Region(shape, 1 / case.resistivity, case.mu_r, finer=finer)


def solved(case: Case, finer: float) -> tuple[float, float, float, float, int]:
    """R [ohm] and L [H] at the ends, R of the piece's loss, change of L, unknowns."""
    regions = [*coil_regions(case.coil), piece_region(case, finer)]
    answer = impedance(regions, FREQUENCY, FAR, COIL_MESH)
    change = answer.inductance - empty(case.coil).imag
    return (
        answer.resistance, answer.inductance, 2 * answer.loss[-1], change, answer.unknowns
    )  # fmt: skip


def refined(case: Case) -> list[str]:
    """A row of the table; the last mesh counts, `moved` says by how much it moved."""
    fine, old = 0.8, solved(case, 0.8)
    for _ in range(MOST):
        fine *= FACTOR
        new = solved(case, fine)
        parts = [abs(new[k] / old[k] - 1.0) for k in (0, 1, 2)]
        # A change of L near zero is held against one per cent of L.
        parts.append(abs(new[3] - old[3]) / max(abs(new[3]), 0.01 * new[1]))
        moved, old = max(parts), new
        if moved < ENOUGH:
            break
    return [case.name, *(f"{x:.6g}" for x in new[:4]), f"{moved:.2g}", str(new[4])]


def rows() -> dict[str, dict[str, str]]:
    """The table as it stands, by case."""
    if not TABLE.exists():
        return {}
    with TABLE.open(newline="", encoding="utf-8") as file:
        return {row["case"]: row for row in csv.DictReader(file)}


def main() -> None:
    """Add the cases that are missing."""
    done = rows()
    if not TABLE.exists():
        TABLE.write_text(",".join(COLUMNS) + "\n", encoding="utf-8")
    for coil in COILS:
        if f"{coil}: empty" not in done:
            pair = [empty(coil, COIL_MESH / FACTOR), empty(coil)]
            moved = max(abs(pair[1].real / pair[0].real - 1), abs(pair[1].imag / pair[0].imag - 1))
            numbers = f"{pair[1].real:.6g},{pair[1].imag:.6g},0,0,{moved:.2g},0"
            _append(f"{coil}: empty,{numbers}")
    for case in CASES:
        if case.name not in done:
            _append(",".join(f'"{x}"' if "," in x else x for x in refined(case)))


def _append(line: str) -> None:
    with TABLE.open("a", encoding="utf-8") as file:
        file.write(line + "\n")
    print(line, flush=True)


if __name__ == "__main__":
    main()
