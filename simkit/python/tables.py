"""Results as pandas frames; `frame.attrs["units"]` says what each column is in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import pandas

from simkit.measure.waveforms import Array

if TYPE_CHECKING:
    from simkit.rehearsal.findings import ModeSpan
    from simkit.studies.check.row import CheckRow

LIMIT_COLUMNS = ("part", "quantity", "value", "error", "unit", "limit", "ratio", "time_s",
                 "status", "source")  # fmt: skip
CHECK_COLUMNS = ("load", "quantity", "value", "unit", "limit", "status", "source")
BY_ROW = "in the row's own unit"
ENDINGS = {"_s": "s", "_v": "V", "_a": "A"}
"""How the name of a waveform tells its unit."""


def limit_table(rows: Sequence[Mapping[str, Any]]) -> pandas.DataFrame:
    """Every judged figure beside its limit, worst share first; what was not evaluated last."""
    frame = pandas.DataFrame(list(rows), columns=list(LIMIT_COLUMNS))
    frame = frame.sort_values("ratio", ascending=False, na_position="last", ignore_index=True)
    frame.attrs["units"] = {"value": BY_ROW, "error": BY_ROW, "limit": BY_ROW, "ratio": "1",
                            "time_s": "s"}  # fmt: skip
    return frame


def mode_table(modes: Iterable[ModeSpan]) -> pandas.DataFrame:
    """Which side of resonance the drive was on, and when."""
    rows = [(m.start, m.end, m.mode) for m in modes]
    frame = pandas.DataFrame(rows, columns=["from_s", "to_s", "mode"])
    frame.attrs["units"] = {"from_s": "s", "to_s": "s"}
    return frame


def waveform_table(probes: Mapping[str, Array]) -> pandas.DataFrame:
    """Waveforms as a bench would show them, over the time in seconds."""
    columns = {name: values for name, values in probes.items() if name != "time_s"}
    frame = pandas.DataFrame(columns, index=pandas.Index(probes["time_s"], name="time_s"))
    frame.attrs["units"] = {"time_s": "s"} | {n: ENDINGS[n[-2:]] for n in columns}
    return frame


def check_table(rows: Iterable[CheckRow]) -> pandas.DataFrame:
    """First-order figures beside their limits."""
    values = [{**asdict(row), "status": row.status} for row in rows]
    frame = pandas.DataFrame(values, columns=list(CHECK_COLUMNS))
    frame.attrs["units"] = {"value": BY_ROW, "limit": BY_ROW}
    return frame
