"""The index of reports: newest first, verdicts at a glance, two held against each other.

It is made anew from every `result.json` beneath a folder, so it cannot drift from them. A file
that cannot be read is listed as such; it never keeps the others from being shown.
"""

import contextlib
import json
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from pathlib import Path
from typing import Any

from simkit.parameters.reading import file_text
from simkit.report import text
from simkit.report.html import POINT_ROWS, embedded, rendered

MAX_BYTES = 20_000_000
"""A larger result file is not one of ours."""


@dataclass(frozen=True)
class Entry:
    """One report of the index."""

    folder: str
    written: float
    """When its result was written [s since 1970]."""
    result: Mapping[str, Any] | None
    """None when it could not be read."""

    @property
    def date(self) -> str:
        """Day and time, UTC."""
        return datetime.fromtimestamp(self.written, UTC).strftime("%Y-%m-%d %H:%M UTC")


def entries(reports: Path) -> list[Entry]:
    """Every report beneath a folder, newest first."""
    found = []
    for file in reports.glob("*/result.json"):
        if not file.parent.name.startswith("."):
            with contextlib.suppress(OSError):  # a link to nothing
                found.append(Entry(file.parent.name, file.stat().st_mtime, _read(file)))
    return sorted(found, key=lambda e: (-e.written, e.folder))


def _read(file: Path) -> Mapping[str, Any] | None:
    try:
        result = json.loads(file_text(file, MAX_BYTES))
    except (ValueError, RecursionError):
        return None
    fits = (
        isinstance(result, dict)
        and str(result.get("schema", "")).startswith("simkit.result/")
        and result.get("verdict") in text.OUTCOME_WORDS
        and isinstance(result.get("limits"), list)
        and all(isinstance(row, dict) for row in result["limits"])
    )
    return result if fits else None


def write_index(reports: Path, titles: Mapping[str, str] | None = None) -> Path:
    """Write `index.html` into a folder of reports; its path.

    `titles`: words for each judged quantity.
    """
    page = index_page(entries(reports), titles or {})
    target = reports / "index.html"
    handle, name = tempfile.mkstemp(dir=reports, prefix=".index-")
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        out.write(page)
    Path(name).chmod(0o644)
    os.replace(name, target)
    return target


def index_page(found: list[Entry], titles: Mapping[str, str]) -> str:
    """The index as HTML text."""
    return rendered(
        "index.html.j2",
        "index.js",
        rows=[_row(entry, titles) for entry in found],
        data=embedded([_comparable(e, titles) for e in found if e.result is not None]),
    )


def _row(entry: Entry, titles: Mapping[str, str]) -> dict[str, Any]:
    result = entry.result
    if result is None:
        return {"entry": entry, "readable": False}
    rated = [r for r in result["limits"] if _number(r.get("ratio")) is not None]
    worst = max(rated, key=lambda r: r["ratio"], default=None)
    return {
        "entry": entry,
        "readable": True,
        "verdict": result["verdict"],
        "reason": str(result.get("reason", "")),
        "machine": str(_inner(result, "machine", "name")),
        "scenario": str(_inner(result, "scenario", "name")),
        "worst": None if worst is None else (_name(worst, titles), worst["ratio"],
                                             str(worst.get("status", ""))),
    }  # fmt: skip


def _inner(result: Mapping[str, Any], table: str, key: str) -> Any:
    inner = result.get(table)
    return inner.get(key, "") if isinstance(inner, dict) else ""


def _name(row: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    quantity = str(row.get("quantity", ""))
    return f"{row.get('part', '')}: {titles.get(quantity, quantity.replace('_', ' '))}"


def _comparable(entry: Entry, titles: Mapping[str, str]) -> dict[str, Any]:
    """What the comparison of two reports needs, as texts and shares."""
    result = entry.result
    assert result is not None
    return {
        "folder": entry.folder,
        "verdict": text.OUTCOME_WORDS[result["verdict"]],
        "reason": text.typeset(str(result.get("reason", ""))),
        "limits": [_limit(row, titles) for row in result["limits"]],
        "points": _points(result),
    }


def _limit(row: Mapping[str, Any], titles: Mapping[str, str]) -> dict[str, Any]:
    quantity, unit = str(row.get("quantity", "")), str(row.get("unit", "1"))
    error, limit = _number(row.get("error")), _number(row.get("limit"))
    return {
        "key": quantity,
        "name": titles.get(quantity, quantity.replace("_", " ")),
        "part": str(row.get("part", "")),
        "value": text.quantity(_number(row.get("value")), unit),
        "ratio": _number(row.get("ratio")),
        "error": error / limit if error is not None and limit else None,
        "status": str(row.get("status", "")),
    }


def _number(value: Any) -> float | None:
    """A finite number, or nothing: the file may hold anything."""
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if plain and isfinite(value) else None


def _points(result: Mapping[str, Any]) -> list[dict[str, str]]:
    """Readings of the operating point after the event."""
    after = _inner(result, "operating_point", "after")
    if not isinstance(after, dict):
        return []
    return [
        {"name": name, "value": text.quantity(_number(after.get(key)), unit, 4)}
        for name, key, unit in POINT_ROWS
    ]
