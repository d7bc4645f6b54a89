"""A scenario's whole report folder, kept under everything that determined it.

Restored, result, provenance and page say that they come from the cache; all else is as it was
when the circuit was run, the original provenance too.
"""

from __future__ import annotations

import html
import importlib.metadata
import json
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simkit.run.cache import Store, code_digest, digest_of
from simkit.run.cached import identity_of
from simkit.studies.output.folder import dumped, whole_folder

if TYPE_CHECKING:
    from simkit.parameters.load import Loaded
    from simkit.rehearsal.settings import Settings
    from simkit.run.backend import Engine

LIBRARIES = ("PySpice", "jinja2", "matplotlib", "numpy", "pandas", "pydantic", "schemdraw", "scipy")
"""Packages whose version may show in a figure or on the page."""
PAGE_MARK = "<!-- from the cache? -->"
"""Where the page says so."""


def result_key(
    inputs: Sequence[Any], engines: Sequence[Engine], settings: Settings, extras: Mapping[str, Any]
) -> str:
    """Digest of all that determines a report folder; the number of jobs is not among it.

    `inputs`: as `inputs_of` gives them. Errors: EngineMissing.
    """
    how = {k: v for k, v in asdict(settings).items() if k != "jobs"}
    return digest_of(
        "result", list(inputs), [identity_of(e) for e in engines], how,
        dict(extras), code_digest(), platform.python_version(), platform.platform(),
        [importlib.metadata.version(name) for name in LIBRARIES],
    )  # fmt: skip


def inputs_of(scenario: Loaded[Any], machine: Loaded[Any]) -> list[Any]:
    """All that a scenario and its machine put into a report, as plain data."""
    return [_input(scenario), _input(machine)]


def _input(loaded: Loaded[Any]) -> list[Any]:
    # Where values come from and how they were written is on the page as well.
    origins = sorted([key, repr(origin)] for key, origin in loaded.origins.items())
    return [str(loaded.file), loaded.digest, origins, list(loaded.warnings)]


def asked_key(path: Path, overrides: Mapping[str, str]) -> str:
    """Digest of what was asked for: which scenario, and which values in place of the files'."""
    return digest_of("asked", str(path), dict(overrides), code_digest())


def keep(store: Store, key: str, folder: Path) -> bool:
    """Keep a report folder; False when the cache cannot be written."""
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    return store.put(key, {"made": datetime.now(UTC).isoformat(timespec="seconds")}, files=files)


def restore(store: Store, key: str, folder: Path) -> dict[str, Any] | None:
    """Restore a report folder whole and return its result; None when it was not kept."""
    entry = store.get(key)
    if entry is None or "result.json" not in entry.files:
        return None
    source = {"key": key, "made": entry.facts["made"]}
    files = dict(entry.files)
    result: dict[str, Any] = {**json.loads(files["result.json"]), "cache": source}
    files["result.json"] = dumped(result).encode()
    provenance = {**json.loads(files["provenance.json"]), "cache": source}
    files["provenance.json"] = dumped(provenance).encode()
    made = html.escape(source["made"])
    said = (
        f"<p>Taken from the cache, where the same inputs, code and engine had put it on "
        f"{made}; <code>--no-cache</code> simulates anew.</p>"
    )
    files["index.html"] = files["index.html"].replace(PAGE_MARK.encode(), said.encode())

    def fill(fresh: Path) -> None:
        for name, content in files.items():
            path = fresh / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)

    whole_folder(folder, fill)
    return result
