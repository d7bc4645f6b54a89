"""Standard output and error as a person may leave them: closed, full, or with nobody reading."""

import contextlib
import io
import os
import signal
import sys
from types import FrameType
from typing import Any, TextIO

SILENT = os.devnull


class Interrupted:
    """Whether somebody pressed Ctrl-C, in whatever way a library took it."""

    def __init__(self) -> None:
        """Nobody has so far."""
        self.asked = False

    def watch(self) -> None:
        """Note it from now on; not where the program is told to ignore it, or in a thread."""
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            with contextlib.suppress(ValueError):
                signal.signal(signal.SIGINT, self._note)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.asked = True
        raise KeyboardInterrupt


def prepare() -> None:
    """Standard streams as the command needs them, closed ones replaced.

    Else the next file opened would take the number, and what a library says be written into it. A
    closed output stays one that cannot be written to (`OutputLost`).
    """
    for number, mode in ((0, os.O_RDONLY), (1, os.O_RDONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            opened = os.open(SILENT, mode)
            if opened != number:
                os.dup2(opened, number)
                os.close(opened)
    sys.stdout = _text(_Output(1, "w", closefd=False), sys.stdout)
    if sys.stderr is None:
        sys.stderr = _text(io.FileIO(2, "w", closefd=False), None)
    elif isinstance(sys.stderr, io.TextIOWrapper):
        sys.stderr.reconfigure(errors="backslashreplace")


class OutputLost(OSError):
    """Standard output takes nothing: it is closed, or its disk is full."""


class _Output(io.FileIO):
    """Standard output, whose faults are told from those of other files."""

    def write(self, content: Any) -> int:
        """As usual, but what is not written is OutputLost; a closed pipe stays what it is."""
        try:
            return super().write(content)
        except BrokenPipeError:
            raise
        except OSError as error:
            raise OutputLost(error.errno, error.strerror) from None


def _text(raw: io.FileIO, like: TextIO | None) -> io.TextIOWrapper:
    """A stream of text; what its encoding lacks is written as an escape, not an error."""
    encoding = like.encoding if like else "utf-8"
    return io.TextIOWrapper(
        io.BufferedWriter(raw), encoding=encoding, errors="backslashreplace",
        line_buffering=raw.isatty(),
    )  # fmt: skip


def silence(number: int) -> None:
    """Let what is still to be written to a stream vanish: Python would complain while closing."""
    with contextlib.suppress(OSError):
        sink = os.open(SILENT, os.O_WRONLY)
        os.dup2(sink, number)
        os.close(sink)


def say(*lines: str) -> None:
    """Lines for the person on the error stream; lost where that cannot be written to."""
    try:
        print(*lines, sep="\n", file=sys.stderr, flush=True)
    except (OSError, ValueError):
        silence(2)
