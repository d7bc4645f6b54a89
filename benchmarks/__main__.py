"""`./run bench [--json] [--write] [NUMBER ...]`: the figures, each with its goal."""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from collections.abc import Callable, Sequence

from benchmarks import cases, cold_shell, door, fast_map, pull_out, steady_point, verbs
from benchmarks.figure import Figure
from benchmarks.plain import NoProgram, find_program

FIGURES: dict[int, Callable[[], list[Figure]]] = {
    1: pull_out.measure,
    2: steady_point.measure,
    3: door.measure,
    4: cases.measure,
    5: fast_map.measure,
    6: cold_shell.memory,
    7: cold_shell.measure,
    8: verbs.verbs,
    9: verbs.lift,
}


def machine_notes() -> dict[str, object]:
    """What the figures were measured on."""
    return {
        "platform": platform.platform(),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "load_at_start": round(os.getloadavg()[0], 2),
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print; 0 whatever the figures are, 3 when they could not be had."""
    parser = argparse.ArgumentParser(prog="./run bench", description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON document, nothing else")
    parser.add_argument("--write", action="store_true",
                        help="put the points of figure 5 into docs/numerics.md")  # fmt: skip
    # No `choices` here: with nargs="*" argparse holds the empty list itself against them.
    parser.add_argument("numbers", nargs="*", type=int, help="of the figures, all when left out")
    asked = parser.parse_args(arguments)
    for number in asked.numbers:
        if number not in FIGURES:
            parser.error(f"figure {number}: there are {', '.join(map(str, FIGURES))}")
    if asked.write and 5 not in (asked.numbers or FIGURES):
        parser.error("--write is for figure 5, which is not asked for")
    try:
        find_program()
    except NoProgram as error:
        print(error, file=sys.stderr)
        return 3
    notes, found = machine_notes(), []
    for number in asked.numbers or FIGURES:
        print(f"figure {number} ...", file=sys.stderr)
        for figure in FIGURES[number]():
            found.append(figure)
            if not asked.json:
                print(told(figure), flush=True)
    if asked.write:
        write(found)
    if asked.json:
        print(json.dumps({"machine": notes, "figures": [f.as_json() for f in found]}, indent=1))
    else:
        print(", ".join(f"{key} {value}" for key, value in notes.items()))
    return 0


def write(found: Sequence[Figure]) -> None:
    """Put the points that were compared one by one into docs/numerics.md."""
    from benchmarks.numerics import load, save

    points = [point for figure in found for point in figure.points]
    if points:
        save(load() | {"map": points})


def told(figure: Figure) -> str:
    """One line of the table, and what is behind it."""
    value = "none" if figure.value is None else f"{figure.value:.3g}"
    unit = "" if figure.unit == "1" else f" {figure.unit}"
    sign = ">=" if figure.at_least else "<="
    met = "met" if figure.met else "NOT met"
    head = f"{figure.number}  {figure.name:30} {value + unit:>10}  {sign} {figure.goal:.3g}{unit}"
    return f"{head:64} {met}\n     {figure.note}"


if __name__ == "__main__":
    sys.exit(main())
