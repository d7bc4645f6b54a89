"""No process outlives the one that started it, however that one ended.

A parent that is killed outright runs no clean-up. What its children still see is that the pipe
between them closes: each watches for that in a thread, which gets its turn while the engine works
because calls into the engine's library let go of the interpreter.
"""

import multiprocessing
import os
import shutil
import threading
from multiprocessing.connection import wait

TRIES = 20
"""Times a private folder is removed while something may still be put into it [1]."""
ORPHANED = 70
"""Exit code of a worker whose parent has gone."""


def end_with_parent(folder: str | None = None) -> None:
    """From now on this process ends when its parent does, and takes its private folder along.

    Nothing happens in a process that was not started as a worker.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    sentinel = parent.sentinel  # an integer on every system

    def watch() -> None:
        wait([sentinel])
        if folder is not None:
            for _ in range(TRIES):  # the engine may still be writing there
                shutil.rmtree(folder, ignore_errors=True)
                if not os.path.exists(folder):
                    break
        os._exit(ORPHANED)

    threading.Thread(target=watch, name="parent watch", daemon=True).start()
