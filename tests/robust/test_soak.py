"""Many runs in one map leave nothing behind; what would be left is noticed.

Every answer is held against the closed solution of the circuit (RC charging, derived by hand:
1 - exp(-t/RC)). Memory may move by 5 %, the project's own figure; counts may not grow at all.
"""

import sys

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


@pytest.mark.parametrize("kind", [*LEAKS, *WORK])
def test_a_leak_is_noticed(kind: str) -> None:
    found, left = apart("tests.robust.leaks", kind)
    assert any(SAYS[kind] in leak for leak in found["leaks"]), found["leaks"]
    assert bool(left) == (kind == "file")


def test_nothing_is_noticed_where_nothing_leaks() -> None:
    assert apart("tests.robust.leaks", "none")[1] == []
    assert apart("tests.robust.leaks", "none")[0]["leaks"] == []
