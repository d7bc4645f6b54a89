"""Engines by name."""

from collections.abc import Callable

from simkit.run.backend import Engine
from simkit.run.cache import default_store
from simkit.run.cached import CachedEngine


def _ngspice() -> Engine:
    from simkit.run.process import NgspiceEngine

    return NgspiceEngine()


def _neospice() -> Engine:
    from simkit.run.neospice import NeospiceEngine

    return NeospiceEngine()


ENGINES: dict[str, Callable[[], Engine]] = {"ngspice": _ngspice, "neospice": _neospice}
"""Maker of each engine; an engine is started, and its packages imported, with its first run."""


def other(name: str) -> str:
    """The engine to ask for a second opinion on another's figures."""
    return next(known for known in ENGINES if known != name)


def engine(name: str = "ngspice", cache: bool = False) -> Engine:
    """An engine by its name, with or without the user's cache of engine runs in front of it.

    The waveforms of one rehearsal are some 150 MB, and keeping them costs 0.8 s of CPU: for studies
    that run the same decks again, not for a single rehearsal, whose report is kept instead.
    """
    chosen = ENGINES[name]()
    return CachedEngine(chosen, default_store("runs")) if cache else chosen
