"""`simkit run` as a child of the live page: it ends when the one who started it is gone.

The parent holds the other end of standard input. When that closes, for whatever reason, the
child interrupts itself, so that its engine processes end and their folders are cleaned; what is
still there after a moment is killed with the whole process group.
"""

import os
import signal
import sys
import threading
import time

GRACE = 3.0
"""Time to clean up before the group is killed [s]."""


def main() -> int:
    """Run the command line given, watched; its exit code."""
    threading.Thread(target=_watch, daemon=True).start()
    from simkit.cli import run

    return run(sys.argv[1:])


def _watch() -> None:
    while os.read(0, 1024):
        pass
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(GRACE)
    if os.getpgid(0) == os.getpid():  # only a group of our own
        os.killpg(0, signal.SIGKILL)
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
