"""Golden rehearsals on newer releases of the engine, where a folder with their libraries is named.

`python -m benchmarks.newer_engines make FOLDER` makes one; nothing is fetched here.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from benchmarks.newer_engines import engines, rehearsed, shifts, why_not

VARIABLE = "SIMKIT_ENGINE_ROOT"
NAMES = ("chisel, 3 % above", "chisel, 3 % below", "crucible, lifted out")
"""Above and below resonance, and an event on the other machine."""


def folder() -> Path:
    """The named folder; skips with the reason where its engines cannot run."""
    named = os.environ.get(VARIABLE)
    if not named:
        pytest.skip(f"{VARIABLE} names no folder with newer libraries")
    reason = why_not(Path(named))
    if reason:
        pytest.skip(reason)
    return Path(named)


@pytest.mark.slow
@pytest.mark.parametrize("source", ["packages", "wheel"])
def test_a_newer_engine_comes_to_the_same_verdicts(source: str) -> None:
    place = folder()
    library = engines(place).get(source)
    if library is None:
        pytest.skip(f"{place} has no engine from {source}")
    other = rehearsed(place, library, NAMES)
    found = shifts(rehearsed(None, None, NAMES), other)
    assert int(other["engine"].split()[-1].split(".")[0]) >= 44
    assert found["changed"] == []
    # 2.8 % of a limit was the largest shift when releases were first compared; figures are judged
    # with errors of this size.
    assert found["of_limit"] < 0.03
