"""Readings from TOML, or from a table with one reading a line."""

import csv
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from simkit.errors import InputError, Problem
from simkit.parameters.explain import explain
from simkit.parameters.load import Loaded, digest, load_text, read_text
from simkit.parameters.origins import Split, hidden_characters
from simkit.parameters.place import Place, nearest
from simkit.parameters.readings import NEEDS_FREQUENCY, READINGS, Readings
from simkit.parameters.scope_csv import Trace, read_trace

COLUMNS = ("load", "supply_voltage", "frequency", "reading", "value", "uncertainty")
MOST_LINES = 1000


def load_readings(path: Path) -> Loaded[Readings]:
    """Readings of a .toml or .csv file.

    Errors: InputError with every problem found, file and line with each; a file in which nothing
    was read is one.
    """
    text = read_text(path, Readings)
    loaded = _from_csv(text, path) if path.suffix.lower() == ".csv" else load_text(
        text, str(path), Readings)  # fmt: skip
    problems = list(_gaps(loaded))
    if problems:
        raise InputError(problems)
    return loaded


def load_traces(loaded: Loaded[Readings]) -> tuple[Trace, ...]:
    """The scope traces that the readings name, from their own folder."""
    return tuple(read_trace(loaded.file.parent / t.file) for t in loaded.model.traces)


def _gaps(loaded: Loaded[Readings]) -> Any:
    """Readings that say too little."""
    model = loaded.model
    if not model.traces and not model.captures and not any(list(p.read()) for p in model.points):
        yield Problem(str(loaded.file), None, "points", "", "nothing was read",
                      "fill in at least one reading")  # fmt: skip
    for number, point in enumerate(model.points):
        for name, _, _ in point.read():
            if point.frequency is None and name in NEEDS_FREQUENCY:
                key = f"points.{number}.{name}"
                yield Problem(str(loaded.file), loaded.line_of(key), key, "",
                              "needs the drive frequency it was read at",
                              f"add frequency to points.{number}")  # fmt: skip


def _from_csv(text: str, path: Path) -> Loaded[Readings]:
    """A table with the columns `COLUMNS`, a reading a line; lines that begin with # are skipped."""
    raw, lines, problems = _table(text, path)
    place = Place(str(path), lines)
    problems += hidden_characters(raw, place)
    split = Split(place)
    plain = split.document(raw, Readings)
    problems += split.problems
    built: BaseModel | None = None
    try:
        built = Readings.model_validate(plain)
    except ValidationError as error:
        problems += explain(error, plain, Readings, place)
    if problems or not isinstance(built, Readings):
        raise InputError(problems)
    return Loaded(built, split.origins, path, digest(built), tuple(split.warnings), lines)


def _columns(found: list[str]) -> str:
    """What is wrong with a line that should name the columns."""
    if any(";" in cell or "\t" in cell for cell in found):
        return "columns are separated by commas, and a number has a decimal point"
    lacking = [name for name in COLUMNS if name not in found]
    return f"it lacks {', '.join(lacking)}" if found and lacking != list(COLUMNS) else ""


def _table(text: str, path: Path) -> tuple[dict[str, Any], dict[str, int], list[Problem]]:
    rows = [_row(line, number, path) for number, line in enumerate(text.split("\n"), 1)]
    kept = [(n, [cell.strip() for cell in row]) for n, row in enumerate(rows, 1)
            if any(row) and not row[0].lstrip().startswith("#")]  # fmt: skip
    if not kept or tuple(kept[0][1]) != COLUMNS:
        line, found = kept[0] if kept else (1, [])
        rule = f"the first line must name the columns: {','.join(COLUMNS)}"
        raise InputError(
            [Problem(str(path), line, "", ",".join(found)[:80], rule, _columns(found))]
        )
    if len(kept) > MOST_LINES:
        raise InputError([Problem(str(path), None, "", "", f"more than {MOST_LINES} lines")])
    points: list[dict[str, Any]] = []
    lines: dict[str, int] = {}
    problems: list[Problem] = []
    for line, row in kept[1:]:
        cells = dict(zip(COLUMNS, row, strict=False))
        problem = _misfit(row, cells, line, path)
        if problem:
            problems.append(problem)
        elif cells["value"]:  # a line without a value was not read
            lines[f"points.{len(points)}"] = line
            points.append(_point(cells))
    return {"points": points}, lines, problems


def _row(line: str, number: int, path: Path) -> list[str]:
    # Line by line: no cell runs over several lines, so that a message's line number is right.
    try:
        return next(csv.reader([line.removesuffix("\r")]), [])
    except csv.Error:
        rule = "is not a line of comma-separated values"
        raise InputError([Problem(str(path), number, "", line[:80], rule)]) from None


def _misfit(row: list[str], cells: dict[str, str], line: int, path: Path) -> Problem | None:
    if len(row) != len(COLUMNS):
        rule = f"has {len(row)} columns; {len(COLUMNS)} are needed"
        return Problem(str(path), line, "", ",".join(row)[:80], rule)
    if cells["reading"] not in READINGS:
        hint = nearest(cells["reading"], READINGS, "one of")
        return Problem(str(path), line, "reading", cells["reading"][:80], "is not a reading", hint)
    return None


def _point(cells: dict[str, str]) -> dict[str, Any]:
    frequency = {"frequency": cells["frequency"]} if cells["frequency"] else {}
    return {
        "load": cells["load"],
        "supply_voltage": cells["supply_voltage"],
        **frequency,
        cells["reading"]: {"value": cells["value"], "uncertainty": cells["uncertainty"]},
    }
