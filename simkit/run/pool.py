"""Many cases over some workers: submit, collect, carry on where a killed run stopped.

`collect` wants of an executor what `concurrent.futures` executors and `dask.distributed` clients
both have: `submit(function, *arguments)` giving a future with `add_done_callback`, `result` and
`cancel`. The work is a top-level function of plain data that returns plain data, so that it can
travel to another process or another machine. Results come in the order they are ready; what is
in the store is not run again.
"""

import json
import queue
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, CancelledError
from itertools import islice
from typing import Any, Protocol

from simkit.run.cache import Store

TRIES = 3
"""How often a case is given out whose worker is lost [1]."""
AHEAD = 256
"""Most cases given out and not back [1]: each costs a few kB, and a map may have a million."""

Work = Callable[[Any], Any]
"""One case, plain data, in; its result, plain data as JSON knows it, out."""
Shown = Callable[[float], None]


class Future(Protocol):
    """What a submitted case will be."""

    def result(self) -> Any:
        """The result, or the error that came instead."""
        ...

    def cancel(self) -> Any:
        """Do not begin, if not begun."""
        ...

    def add_done_callback(self, fn: Callable[[Any], Any]) -> Any:
        """Call when done, with the future."""
        ...


class Executor(Protocol):
    """Whatever takes cases: an executor of `concurrent.futures`, a dask client, `Workers`."""

    def submit(self, fn: Callable[..., Any], /, *args: Any) -> Any:
        """Begin a call somewhere; a `Future`."""
        ...


class CaseLost(BrokenExecutor):
    """A case whose worker was lost every time it was tried."""


def collect(
    cases: Mapping[str, Any],
    work: Work,
    store: Store | None,
    executor: Executor | None,
    progress: Shown | None = None,
    keep: Callable[[Any], bool] | None = None,
) -> Iterator[tuple[str, Any]]:
    """Key and result of every case, each once, as they are ready.

    The key must determine the result (see `cache.digest_of`): a case whose key the store knows is
    not run again. `keep` says which results are worth keeping; those of a time limit are not.
    Without an executor the cases run here, one after the other.

    Errors: whatever the work raises, the rest then being cancelled and all that was finished
    kept; CaseLost, when everything else is done, for a case that lost its worker every time.
    """
    found = _results(cases, work, store, executor, keep)
    for done, (key, result) in enumerate(found, start=1):
        if progress:
            progress(done / len(cases))
        yield key, result


def collected(
    cases: Mapping[str, Any],
    work: Work,
    store: Store | None,
    executor: Executor | None,
    progress: Shown | None = None,
    keep: Callable[[Any], bool] | None = None,
) -> dict[str, Any]:
    """All results as `collect` gives them, in the order of the cases."""
    found = dict(collect(cases, work, store, executor, progress, keep))
    return {key: found[key] for key in cases}


def _results(
    cases: Mapping[str, Any],
    work: Work,
    store: Store | None,
    executor: Executor | None,
    keep: Callable[[Any], bool] | None,
) -> Iterator[tuple[str, Any]]:
    left = {}
    for key, case in cases.items():
        entry = store.get(key) if store else None
        if entry is None:
            left[key] = case
        else:
            yield key, entry.facts
    fresh = _here(left, work) if executor is None else _there(left, work, executor)
    for key, result in fresh:
        # Through JSON once, so that a fresh result is exactly what a kept one will be.
        plain = json.loads(json.dumps(result))
        if store and (keep is None or keep(plain)):
            store.put(key, plain)
        yield key, plain


def _here(cases: Mapping[str, Any], work: Work) -> Iterator[tuple[str, Any]]:
    for key, case in cases.items():
        yield key, work(case)


def _there(cases: Mapping[str, Any], work: Work, executor: Executor) -> Iterator[tuple[str, Any]]:
    ready: queue.SimpleQueue[tuple[str, Future]] = queue.SimpleQueue()
    open_: dict[str, Future] = {}
    tries = dict.fromkeys(cases, 0)
    lost: list[str] = []

    def submit(key: str) -> None:
        tries[key] += 1
        future = executor.submit(work, cases[key])
        open_[key] = future
        future.add_done_callback(lambda done: ready.put((key, done)))

    waiting = iter(cases)

    def submit_some() -> None:
        for key in islice(waiting, max(0, AHEAD - len(open_))):
            submit(key)

    try:
        submit_some()
        while open_:
            key, future = ready.get()
            if open_.get(key) is not future:
                continue  # an earlier try of a case that was given out again
            del open_[key]
            submit_some()
            try:
                result = future.result()
            except Exception as error:
                if not is_lost(error):
                    raise
                if tries[key] < TRIES:
                    submit(key)
                else:
                    lost.append(key)
                continue
            yield key, result
    finally:
        for future in open_.values():
            future.cancel()
    if lost:
        raise CaseLost(f"{len(lost)} of {len(cases)} cases lost their worker {TRIES} times each")


def is_lost(error: Exception) -> bool:
    """Whether an error says that a worker went away, not that the work failed."""
    # dask's error is known by name: its package need not be there.
    names = {kind.__name__ for kind in type(error).__mro__}
    return isinstance(error, BrokenExecutor | CancelledError) or "KilledWorker" in names
