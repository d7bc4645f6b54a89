"""The table of all situations, cut short twice with the engine at work: it carries on.

Compared with a run that nobody disturbed: nothing finished is run again, and every figure of the
table is the same to the last digit.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from simkit.run.cache import Store
from tests.engine.table_part import NAMES
from tests.machines import ROOT
from tests.unit.test_pool import in_session


def start(folder: Path) -> subprocess.Popen[bytes]:
    """The table begun, or carried on, with its cache, its log and its report in a folder."""
    env = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "SIMKIT_CACHE_DIR": str(folder / "cache"),
        "TABLE_LOG": str(folder / "log"),
    }
    folder.mkdir(exist_ok=True)
    with (folder / "told").open("ab") as told:
        return subprocess.Popen(
            [sys.executable, "-m", "tests.engine.table_part", str(folder / "out")],
            cwd=ROOT, env=env, start_new_session=True, stdout=told, stderr=told,
        )  # fmt: skip


def until(condition: Callable[[], bool], seconds: float = 240.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.02)


def begun(folder: Path) -> list[str]:
    log = folder / "log"
    return log.read_text().split() if log.exists() else []


def kept(folder: Path) -> int:
    return Store(folder / "cache" / "cases").usage().entries


def table(folder: Path) -> dict[str, Any]:
    """The table as data, without what a run takes."""
    found: dict[str, Any] = json.loads((folder / "out" / "all-faults.json").read_text())
    del found["total_seconds"]
    for row in found["situations"]:
        if row["verdict"] != "not_here":
            assert row.pop("engine_cpu_seconds") > 0.0
    return found


def cut(folder: Path, least: int, end: Callable[[int], object]) -> int:
    """A run ended once it has kept at least so many, with another under way; what it exits with."""
    process = start(folder)
    until(lambda: kept(folder) >= least and len(begun(folder)) > least)
    end(process.pid)
    code = process.wait(30)
    until(lambda: not in_session(process.pid), 20.0)
    assert not (folder / "out").exists(), "a folder appears whole or not at all"
    return code


@pytest.mark.slow
def test_cut_short_twice_it_carries_on_to_the_same_table(tmp_path: Path) -> None:
    calm, cut_short = tmp_path / "calm", tmp_path / "cut"
    assert start(calm).wait(480) in (0, 1)
    assert sorted(begun(calm)) == sorted(NAMES)

    assert cut(cut_short, 1, lambda pid: os.kill(pid, signal.SIGKILL)) == -signal.SIGKILL
    first, had = begun(cut_short), kept(cut_short)
    assert 1 <= had < len(NAMES)

    code = cut(cut_short, had + 1, lambda pid: os.killpg(pid, signal.SIGINT))
    assert code == 130
    second, more = begun(cut_short)[len(first) :], kept(cut_short)
    assert had < more < len(NAMES)
    # With one worker those kept are the first in the log; only the one cut off begins again.
    assert set(second).isdisjoint(first[:had])

    assert start(cut_short).wait(480) in (0, 1)
    third = begun(cut_short)[len(first) + len(second) :]
    assert len(third) == len(NAMES) - more
    assert set(third).isdisjoint(first[:had])
    assert table(cut_short) == table(calm)
    told = (cut_short / "told").read_text()
    assert told.count("100%") == 1, "progress to the end, once"
