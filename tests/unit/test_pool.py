"""The pool's promises: every case once, resumable, workers lost and replaced, none left behind.

No physics here: expected values are squares. Times allowed are generous against a busy machine.
"""

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from simkit.run.cache import Store, digest_of
from simkit.run.pool import CaseLost, collect, collected
from simkit.run.workers import Workers
from tests.unit import pool_work

ROOT = Path(__file__).resolve().parents[2]


def cases(count: int, **more: Any) -> dict[str, dict[str, Any]]:
    return {digest_of("square", x): {"x": x, **more} for x in range(count)}


def squares(count: int) -> dict[str, Any]:
    # A tuple comes back as the list that JSON makes of it, fresh or kept.
    return {digest_of("square", x): {"square": x * x, "pair": [x, 0.1]} for x in range(count)}


@pytest.fixture(scope="module")
def workers() -> Iterator[Workers]:
    with Workers(2) as pool:
        yield pool


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "cache")


def test_results_do_not_depend_on_who_works(store: Store, workers: Workers) -> None:
    expected = squares(12)
    assert collected(cases(12), pool_work.square, None, None) == expected
    assert collected(cases(12), pool_work.square, store, workers) == expected
    with ThreadPoolExecutor(3) as threads:
        assert collected(cases(12), pool_work.square, None, threads) == expected


def test_results_do_not_depend_on_the_order(workers: Workers) -> None:
    shuffled = list(cases(20).items())
    random.Random(4).shuffle(shuffled)
    assert collected(dict(shuffled), pool_work.square, None, workers) == squares(20)


def test_finished_cases_are_not_run_again(tmp_path: Path, store: Store, workers: Workers) -> None:
    log = tmp_path / "log"
    first = cases(5, log=str(log))
    assert len(collected(first, pool_work.square, store, workers)) == 5
    more = cases(8, log=str(log))
    assert collected(more, pool_work.square, store, workers) == squares(8)
    assert sorted(map(int, log.read_text().split())) == list(range(8))


def test_what_is_not_worth_keeping_is_run_again(tmp_path: Path, store: Store) -> None:
    log = tmp_path / "log"
    for _ in range(2):
        list(
            collect(
                cases(4, log=str(log)),
                pool_work.square,
                store,
                None,
                keep=lambda result: result["square"] != 9,
            )
        )
    assert sorted(map(int, log.read_text().split())) == [0, 1, 2, 3, 3]


def test_progress_ends_at_one_and_never_goes_back(store: Store, workers: Workers) -> None:
    shown: list[float] = []
    collected(cases(6), pool_work.square, store, workers, shown.append)
    assert shown == sorted(shown)
    assert len(shown) == 6
    assert shown[-1] == 1.0


def test_a_lost_worker_costs_one_try_of_one_case(tmp_path: Path, workers: Workers) -> None:
    many = {str(x): {"x": x, "fatal": 7, "mark": str(tmp_path / "mark")} for x in range(12)}
    assert collected(many, pool_work.falls_once, None, workers) == {
        str(x): x + 1 for x in range(12)
    }
    assert (tmp_path / "mark").exists(), "the case did kill its worker"


def test_a_case_that_always_kills_its_worker_leaves_the_others_done(
    store: Store, workers: Workers
) -> None:
    many = {digest_of("falls", x): {"x": x, "fatal": 2} for x in range(6)}
    with pytest.raises(CaseLost, match="1 of 6 cases lost their worker 3 times each"):
        collected(many, pool_work.falls_always, store, workers)
    kept = [x for x in range(6) if store.get(digest_of("falls", x))]
    assert kept == [0, 1, 3, 4, 5]


def test_an_error_of_the_work_arrives_as_it_was(workers: Workers) -> None:
    with pytest.raises(ValueError, match="three is not a case"):
        collected({str(x): x for x in range(5)}, pool_work.raises, None, workers)
    assert collected({"1": 1}, pool_work.raises, None, workers) == {"1": 1}


def test_workers_are_used_again(workers: Workers) -> None:
    found = collected({str(x): x for x in range(10)}, pool_work.own_process, None, workers)
    assert len(set(found.values())) <= 2
    assert os.getpid() not in found.values()


class Late:
    """An executor that answers in the reverse order and, like a cluster, loses a case first."""

    class KilledWorker(Exception):
        pass

    def __init__(self) -> None:
        self.seen: set[str] = set()

    def submit(self, fn: Any, /, *args: Any) -> Future[Any]:
        future: Future[Any] = Future()
        key = repr(args)
        delay = 0.05 - 0.004 * args[0]["x"]

        def answer() -> None:
            if key not in self.seen:
                self.seen.add(key)
                future.set_exception(self.KilledWorker())
            else:
                future.set_result(fn(*args))

        threading.Timer(max(delay, 0.0), answer).start()
        return future


def test_a_foreign_executor_that_loses_and_shuffles_gives_the_same() -> None:
    assert collected(cases(9), pool_work.square, None, Late()) == squares(9)


def test_dask_clients_fit() -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.Client(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
    ) as client:
        assert collected(cases(6), pool_work.square, None, client) == squares(6)


MAP = """
import json, signal, sys
from pathlib import Path
# A shell starts what it puts into the background with Ctrl-C ignored, and that is inherited.
signal.signal(signal.SIGINT, signal.default_int_handler)
from simkit.run.cache import Store
from simkit.run.pool import collected
from simkit.run.workers import Workers
from tests.unit.test_pool import cases
from tests.unit import pool_work
with Workers(2) as pool:
    found = collected(cases({count}, log={log!r}, seconds={seconds}), pool_work.square,
                      Store(Path({store!r})), pool)
Path({out!r}).write_text(json.dumps(found))
"""


def start_map(folder: Path, count: int, seconds: float) -> subprocess.Popen[bytes]:
    code = MAP.format(
        count=count,
        log=str(folder / "log"),
        seconds=seconds,
        store=str(folder / "cache"),
        out=str(folder / "out"),
    )
    # `tests` is found by path: that a current folder counts is not to be relied on.
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, env=env, start_new_session=True)


def wait_for(condition: Any, seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.02)


def in_session(session: int) -> list[int]:
    """Processes of a session, read from the system's table."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[3]) == session and fields[0] not in "ZX":
            found.append(int(place.parent.name))
    return found


def lines(path: Path) -> int:
    return path.read_text().count("\n") if path.exists() else 0


@pytest.mark.slow
def test_a_killed_map_carries_on_and_leaves_no_worker(tmp_path: Path) -> None:
    log = tmp_path / "log"
    killed = start_map(tmp_path, 200, 0.02)
    wait_for(lambda: lines(log) > 40)
    assert len(in_session(killed.pid)) > 2, "the workers can be seen"
    os.kill(killed.pid, signal.SIGKILL)
    killed.wait()
    wait_for(lambda: not in_session(killed.pid), 20.0)
    begun = lines(log)
    assert begun < 200, "it was killed while at work"
    kept = Store(tmp_path / "cache").usage().entries
    assert kept >= 38
    again = start_map(tmp_path, 200, 0.0)
    assert again.wait(60) == 0
    # Only what was under way when the parent died is run twice.
    assert lines(log) == begun + 200 - kept
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    assert start_map(fresh, 200, 0.0).wait(60) == 0
    assert (tmp_path / "out").read_bytes() == (fresh / "out").read_bytes()


def test_a_worker_in_the_middle_of_a_long_case_ends_with_its_parent(tmp_path: Path) -> None:
    killed = start_map(tmp_path, 2, 600.0)
    wait_for(lambda: lines(tmp_path / "log") == 2)
    os.kill(killed.pid, signal.SIGKILL)
    killed.wait()
    wait_for(lambda: not in_session(killed.pid), 20.0)


def test_ctrl_c_ends_the_workers_and_keeps_what_is_finished(tmp_path: Path) -> None:
    log = tmp_path / "log"
    running = start_map(tmp_path, 200, 0.05)
    wait_for(lambda: lines(log) > 10)
    os.killpg(running.pid, signal.SIGINT)  # as a terminal does: to every process of the group
    assert running.wait(20) != 0
    wait_for(lambda: not in_session(running.pid), 20.0)
    assert 8 <= Store(tmp_path / "cache").usage().entries < 200
