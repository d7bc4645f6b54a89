"""Many runs in one map leave nothing behind; what would be left is noticed.

Every answer is held against the closed solution of the circuit (RC charging, derived by hand:
1 - exp(-t/RC)). Memory may move by 5 %, the project's own figure; counts may not grow at all.
"""

import sys
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest

from benchmarks.soak import apart
from tests.robust.leaks import LEAKS, WORK

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="counted in /proc"),
]
RUNS = 60
SAYS = {
    "descriptor": "descriptors", "thread": "threads", "process": "processes", "file": "files",
    "memory": "memory:", "worker's descriptor": "descriptors",
    "worker's memory": "memory of the processes below", "wrong": "wrong answers",
}  # fmt: skip


def test_engine_runs_leak_nothing() -> None:
    found, left = apart("benchmarks.soak", "--inside", f"--cases={RUNS}")
    assert found["cases"] == RUNS
    assert found["leaks"] == []
    assert left == []


def test_each_leak_is_noticed_and_nothing_where_nothing_leaks() -> None:
    """Side by side: most of each is waiting for what ends."""
    kinds = ["none", *LEAKS, *WORK]
    with ThreadPoolExecutor(len(kinds)) as pool:
        every = dict(zip(kinds, pool.map(partial(apart, "tests.robust.leaks"), kinds), strict=True))
    found, left = every.pop("none")
    assert (found["leaks"], left) == ([], [])
    for kind, (found, left) in every.items():
        assert any(SAYS[kind] in leak for leak in found["leaks"]), (kind, found["leaks"])
        assert bool(left) == (kind == "file"), kind
