"""`python -m tests.robust.leaks KIND`: the soak with a leak of some kind, as a document."""

import json
import os
import subprocess
import sys
import tempfile
import threading
from math import exp
from typing import Any

from benchmarks.soak import document, soak

CASES = 60
_kept: list[Any] = []


def _file() -> None:
    handle, _ = tempfile.mkstemp()
    os.close(handle)


def _process() -> None:
    if not _kept:  # one is enough to be noticed
        _kept.append(subprocess.Popen(["sleep", "20"]))


def _thread() -> None:
    threading.Thread(target=threading.Event().wait, args=(20,), daemon=True).start()


LEAKS = {
    "descriptor": lambda: _kept.append(os.open("/dev/null", os.O_RDONLY)),
    "thread": _thread,
    "process": _process,
    "file": _file,
    "memory": lambda: _kept.append(os.urandom(500_000)),
}


def answer(ohm: float) -> float:
    """What the engine would answer, without it: leaks of this process need no engine."""
    return 1 - exp(-1e-5 / (ohm * 1e-9))


def leaky(ohm: float) -> float:
    """Leaks in the worker."""
    _kept.append(os.open("/dev/null", os.O_RDONLY))
    return answer(ohm)


def fat(ohm: float) -> float:
    """Leaks memory in the worker."""
    _kept.append(os.urandom(500_000))
    return answer(ohm)


def wrong(ohm: float) -> float:
    """Answers wrongly."""
    return answer(ohm) + 0.01


WORK = {"worker's descriptor": leaky, "worker's memory": fat, "wrong": wrong}


def main(kind: str) -> None:
    """Run with the leak named."""
    print(json.dumps(document(soak(CASES, WORK.get(kind, answer), LEAKS.get(kind)))))
    for kept in _kept:
        if isinstance(kept, subprocess.Popen):
            kept.kill()
            kept.wait()


if __name__ == "__main__":
    # Workers look their work up by the module's name, which here is another one.
    from tests.robust import leaks

    leaks.main(sys.argv[1])
