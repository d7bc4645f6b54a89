"""Searches that wait for their own cases side by side, so that no worker waits for the slowest."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import TypeVar

Found = TypeVar("Found")


def at_once(tasks: Sequence[Callable[[], Found]], threaded: bool = True) -> list[Found]:
    """Results of some tasks, in their order; each in a thread, or one after the other.

    Threads only ask and wait; the work is done by other processes. Errors: the first that any
    task raises. An interrupt leaves the threads to what ends their workers.
    """
    if not threaded:
        return [task() for task in tasks]
    results: dict[int, Found] = {}
    errors: list[BaseException] = []

    def run(number: int, task: Callable[[], Found]) -> None:
        try:
            results[number] = task()
        except BaseException as error:  # noqa: BLE001 - raised again by whoever waits
            errors.append(error)

    threads = [threading.Thread(target=run, args=pair, daemon=True) for pair in enumerate(tasks)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if errors:
        raise errors[0]
    return [results[k] for k in range(len(tasks))]
