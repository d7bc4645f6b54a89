"""The only module that touches PySpice: a shared ngspice session inside a worker process.

PySpice takes every line on the error stream for a failure and drops the text; here all lines are
kept, and a run counts as done only when the end time is reached, every saved vector is there and
every value is finite.
"""

import locale
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from simkit.errors import EngineFailed
from simkit.run.backend import Progress, Vector
from simkit.run.messages import first_failure

Lines = list[str]


CALLBACKS = (
    "int (char *, int, void *)", "int (int, bool, bool, int, void *)",
    "int (pvecinfoall, int, void *)", "int (bool, int, void *)",
    "int (double *, double, char *, int, void *)",
)  # fmt: skip
"""Types of function that the binding hands to the engine; read again where one is missing here."""
_declared: list[bool] = []


def declare() -> None:
    """Read the binding's C declarations, once in a process and in all that are forked from it.

    That takes longer than all else it does to open a session.
    """
    from PySpice.Spice.NgSpice import Shared

    if not _declared:
        Shared.ffi.cdef((Path(Shared.__file__).parent / "api.h").read_text(encoding="utf-8"))
        for kind in CALLBACKS:
            Shared.ffi.callback(kind)  # reads the type and keeps it
        _declared.append(True)


def open_session(library: str, progress: Progress | None = None) -> tuple[Any, Lines]:
    """A session on the given shared library and the list its lines are added to."""
    os.environ["NGSPICE_LIBRARY_PATH"] = library
    import logging

    logging.getLogger("PySpice").setLevel(logging.CRITICAL + 1)
    logging.getLogger("PySpice").addHandler(logging.NullHandler())
    from PySpice.Spice.NgSpice.Shared import NgSpiceShared, ffi, ffi_string_utf8

    lines: Lines = []

    class Session(NgSpiceShared):  # type: ignore[misc]  # untyped base class
        """Keeps every line and judges none."""

        def _load_library(self, verbose: bool) -> None:
            # As the binding's own, which reads its declarations anew for every session.
            declare()
            if os.name == "posix":
                locale.setlocale(locale.LC_NUMERIC, "C")
            self._ngspice_shared = ffi.dlopen(self.library_path)

        @staticmethod
        def _send_char(message_c: Any, ngspice_id: int, user_data: Any) -> int:
            message = ffi_string_utf8(message_c)
            lines.append(message)
            self = ffi.from_handle(user_data)
            if message.startswith("stdout "):
                self._stdout.append(message[7:])
            return 0

        def send_stat(self, message: str, ngspice_id: int) -> int:
            if progress and (found := re.search(r"([\d.]+)%", message)):
                progress(float(found.group(1)) / 100.0)
            return 0

    # The binding reads the variable when it is imported, which may be long past.
    Session.LIBRARY_PATH = library
    return Session.new_instance(), lines


def engine_version(session: Any) -> str:
    """Name and version of the engine behind a session."""
    return f"ngspice {session.ngspice_version}"


def plain_name(vector: str) -> str:
    """Saved name of an engine vector: `vsup#branch` is i(vsup), `a` is v(a), lower case."""
    name = vector.lower()
    if name == "time" or name.startswith("@"):
        return name
    if name.startswith("i(@") and name.endswith(")"):
        return name[2:-1]
    if name.endswith("#branch"):
        return f"i({name.removesuffix('#branch')})"
    if re.match(r"[vi]\(", name):
        return name
    return f"v({name})"


def run_deck(
    session: Any, lines: Lines, text: str, saved: tuple[str, ...], stop: float
) -> dict[str, Vector]:
    """Vectors of a deck run to its end, or EngineFailed with the engine's first real complaint."""
    _guarded(lambda: session.load_circuit(text), lines)
    _guarded(session.run, lines)
    plot = session.plot(None, session.last_plot)
    vectors = {plain_name(name): np.asarray(vector._data) for name, vector in plot.items()}
    check_complete(vectors, saved, stop, tuple(lines))
    return {name: vectors[name] for name in ("time", *saved)}


def _guarded(action: Callable[[], object], lines: Lines) -> None:
    try:
        action()
    except Exception as error:  # the engine's door raises many kinds; the lines say more
        reason = first_failure(tuple(lines)) or f"{type(error).__name__}: {error}"
        raise EngineFailed(f"the engine refused the deck: {reason}", tuple(lines)) from error


def check_complete(
    vectors: dict[str, Vector], saved: tuple[str, ...], stop: float, lines: tuple[str, ...]
) -> None:
    """Raise EngineFailed unless end time, vectors and values are all there."""
    said = first_failure(lines)
    because = f"; the engine said: {said}" if said else ""
    time_axis = vectors.get("time")
    if time_axis is None or len(time_axis) < 2:
        raise EngineFailed(f"the engine returned no waveform{because}", lines)
    if time_axis[-1] < stop * (1.0 - 1e-6):
        raise EngineFailed(
            f"the engine stopped at {time_axis[-1]:.4g} s of {stop:.4g} s{because}", lines
        )
    missing = [name for name in saved if name not in vectors]
    if missing:
        raise EngineFailed(f"the engine left out {', '.join(missing[:5])}{because}", lines)
    lengths = {len(vectors[name]) for name in saved} | {len(time_axis)}
    if len(lengths) != 1:
        raise EngineFailed("the engine returned vectors of different lengths", lines)
    for name in ("time", *saved):
        if not np.isfinite(vectors[name]).all():
            raise EngineFailed(f"{name} holds values that are not numbers{because}", lines)


def self_test(session: Any, lines: Lines) -> float:
    """Relative error of a 1 ms RC step against 1 - exp(-t/RC) [1]."""
    deck = (
        "* rc step\nv1 in 0 1\nr1 in out 1e3\nc1 out 0 1e-7 ic=0\n"
        ".options reltol=1e-5\n.save v(out)\n.tran 1e-6 1e-3 0 1e-6 uic\n.end\n"
    )
    vectors = run_deck(session, lines, deck, ("v(out)",), 1e-3)
    exact = 1.0 - np.exp(-vectors["time"] / 1e-4)
    return float(np.abs(vectors["v(out)"] - exact).max())
