"""Work for the tests of the pool: what a worker process can import by name."""

import os
import signal
import time
from pathlib import Path
from typing import Any


def square(case: dict[str, Any]) -> dict[str, Any]:
    """A number squared, with a line in a log to show that it was worked out."""
    if case.get("log"):
        with Path(case["log"]).open("a") as log:
            log.write(f"{case['x']}\n")
    time.sleep(case.get("seconds", 0.0))
    return {"square": case["x"] ** 2, "pair": (case["x"], 0.1)}


def falls_once(case: dict[str, Any]) -> int:
    """Kills its own process the first time a case is seen."""
    mark = Path(case["mark"])
    if case["x"] == case["fatal"] and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return int(case["x"]) + 1


def falls_always(case: dict[str, Any]) -> int:
    """Kills its own process for one case."""
    if case["x"] == case["fatal"]:
        os.kill(os.getpid(), signal.SIGKILL)
    return int(case["x"])


def raises(case: int) -> int:
    """Fails for one case."""
    if case == 3:
        raise ValueError("three is not a case")
    return case


def own_process(case: int) -> int:
    """The number of the process it ran in."""
    return os.getpid()
