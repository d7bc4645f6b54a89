"""The change file: what one might solder in instead, written the way a machine file is written.

Each change has a name and a `machine` table that is laid over the machine file: what it holds
replaces what stands there, everything else stays. `machine.switch` may name a part file, relative
to the change file.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, StringConstraints, model_validator

from simkit.parameters.load import Loaded, load_file
from simkit.parameters.section import Name, Section, Text, titled

ScenarioPath = Annotated[
    str, StringConstraints(pattern=r"^[A-Za-z0-9_./-]+\.toml$", max_length=200)
]
MOST = 400
"""Letters of a title put together, at most [1]."""
TOGETHER = "all-together"
"""Name of the variant with several changes at once; no change may take it."""


class Change(Section):
    """One change to a machine."""

    title: Text = ""
    """Its name, where none is given."""
    note: Text = ""
    machine: dict[str, Any] = Field(description="Laid over the machine file, in its own words.")


class ChangeFile(Section):
    """Changes to hold against the machine as it is."""

    title: Text = ""
    """Those of its changes, where none is given."""
    scenarios: tuple[ScenarioPath, ...] = ()
    """Relative to the change file; all beside the machine when none are named."""
    together: tuple[Name, ...] | None = None
    """Changes of the last variant, all at once; every one when not given, none when empty."""
    changes: Annotated[dict[Name, Change], Field(min_length=1)]

    @model_validator(mode="before")
    @classmethod
    def _have_titles(cls, raw: Any) -> Any:
        changes = raw.get("changes") if isinstance(raw, dict) else None
        if not isinstance(changes, dict):
            return raw
        named = {name: titled(change, name) for name, change in changes.items()}
        told = [c["title"] for c in named.values() if isinstance(c, dict) and c.get("title")]
        title = raw.get("title") or "; ".join(map(str, told))[:MOST]
        return raw | {"changes": named} | ({"title": title} if title else {})


@dataclass(frozen=True)
class Overlay:
    """Values to lay over a machine file, by dotted key, each as TOML text."""

    name: str
    title: str
    values: Mapping[str, str]
    places: Mapping[str, str]
    """Where each value stands in the change file, by the same key."""


def load_changes(path: Path) -> Loaded[ChangeFile]:
    """A change file; InputError with every problem found. What `machine` holds is checked when it
    is laid over a machine."""
    return load_file(path, ChangeFile)


def overlays(file: ChangeFile) -> tuple[Overlay, ...]:
    """Every change of a file as an overlay."""
    return tuple(overlay(name, change) for name, change in file.changes.items())


def overlay(name: str, change: Change) -> Overlay:
    """One change as an overlay."""
    leaves = list(_leaves(change.machine))
    places = {key: f"changes.{name}.machine.{key}" for key, _ in leaves}
    return Overlay(name, change.title, {key: toml(value) for key, value in leaves}, places)


def joined(parts: tuple[Overlay, ...]) -> Overlay:
    """Several changes at once; a later one wins where two touch the same value."""
    values: dict[str, str] = {}
    places: dict[str, str] = {}
    for part in parts:
        values |= part.values
        places |= part.places
    titles = "; ".join(part.title for part in parts)
    return Overlay(TOGETHER, f"All together: {titles}", values, places)


def quarrels(parts: tuple[Overlay, ...]) -> list[tuple[str, str, str]]:
    """Pairs of changes that touch the same value, with its key: they exclude each other."""
    found = []
    for k, first in enumerate(parts):
        for second in parts[k + 1 :]:
            shared = next((key for key in first.values if _touches(key, second.values)), None)
            if shared is not None:
                found.append((first.name, second.name, shared))
    return found


def _touches(key: str, others: Mapping[str, str]) -> bool:
    return any(
        key == other or key.startswith(f"{other}.") or other.startswith(f"{key}.")
        for other in others
    )


def _leaves(table: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    """Values with their dotted keys; a quantity written as a table is one value."""
    for name, value in table.items():
        key = f"{above}.{name}" if above else name
        if isinstance(value, dict) and "value" not in value:
            yield from _leaves(value, key)
        else:
            yield key, value


def toml(value: Any) -> str:
    """A plain value as TOML text on one line."""
    if isinstance(value, Mapping):
        inner = ", ".join(f"{json.dumps(str(k))} = {toml(v)}" for k, v in value.items())
        return f"{{ {inner} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml(v) for v in value)}]"
    if isinstance(value, str | bool):
        return json.dumps(value, ensure_ascii=True)
    return repr(value)
