"""The narrow door: a deck goes in, vectors come out, or an EngineError says why not."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
Progress = Callable[[float], None]


@dataclass(frozen=True)
class Budget:
    """What one run may use before it is ended."""

    wall: float = 600.0
    """[s]"""
    cpu: float = 900.0
    """[s]"""
    file_size: int = 4_000_000_000
    """[byte]"""
    memory: int = 12_000_000_000
    """Address space [byte], where the system knows such a limit."""


@dataclass(frozen=True)
class EngineRun:
    """What one engine run left: complete, or it would not exist."""

    vectors: Mapping[str, Vector]
    """By saved name, "time" [s] among them; volts and amperes."""
    engine: str
    """Name and version."""
    log: tuple[str, ...]
    """The engine's own lines."""
    seconds: float
    """Wall time in the engine [s]."""
    cpu_seconds: float
    """CPU time of the worker process [s]."""
    warnings: tuple[str, ...] = field(default=())

    def facts(self) -> dict[str, Any]:
        """All but the vectors, as plain data to be kept beside them."""
        return {
            "engine": self.engine,
            "log": list(self.log),
            "seconds": self.seconds,
            "cpu_seconds": self.cpu_seconds,
            "warnings": list(self.warnings),
        }

    @classmethod
    def kept(cls, vectors: Mapping[str, Vector], facts: Mapping[str, Any]) -> "EngineRun":
        """A run from its vectors and `facts`; KeyError when one of these is missing."""
        return cls(
            vectors,
            facts["engine"],
            tuple(facts["log"]),
            facts["seconds"],
            facts["cpu_seconds"],
            tuple(facts["warnings"]),
        )


class Engine(Protocol):
    """Anything that runs a deck."""

    @property
    def name(self) -> str:
        """Short name of the kind of engine."""
        ...

    def run(
        self,
        text: str,
        saved: tuple[str, ...],
        stop: float,
        budget: Budget,
        progress: Progress | None = None,
    ) -> EngineRun:
        """Run a deck to its end time; EngineError when it does not get there whole."""
        ...

    def version(self) -> str:
        """Name and version of the engine; EngineMissing when it is not there."""
        ...
