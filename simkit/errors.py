"""Small named errors; each knows the exit code it leads to."""

from collections.abc import Iterable
from dataclasses import dataclass


class SimkitError(Exception):
    """A fault of our own unless a subclass says otherwise."""

    exit_code = 4


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong in a file a person wrote."""

    file: str
    line: int | None
    field: str
    value: str
    rule: str
    hint: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line is not None else self.file
        text = f"{place}: {self.field}: {self.rule}" if self.field else f"{place}: {self.rule}"
        if self.value:
            text += f"; written: {self.value}"
        return visible(f"{text}; {self.hint}" if self.hint else text)


def visible(text: str) -> str:
    """A text with control and invisible characters as escapes: they would act on a terminal."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


class InputError(SimkitError):
    """The input is wrong: nothing was run, nothing was written."""

    exit_code = 2

    def __init__(self, problems: Iterable[Problem]) -> None:
        """Keep all problems."""
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))

    def __reduce__(self) -> tuple[type["InputError"], tuple[tuple[Problem, ...]]]:
        """Survive the way between processes with all problems."""
        return type(self), (self.problems,)


class Unworkable(SimkitError, ValueError):
    """The input's values, each possible alone, leave nothing that could be worked out."""

    exit_code = 2


class NotWritten(SimkitError, OSError):
    """What was worked out could not be written down: the disk is full, or went away."""

    exit_code = 3


class EngineError(SimkitError):
    """The engine gave no whole answer: no verdict."""

    exit_code = 3
    retry = False
    """Whether other options may get further."""

    def __init__(self, reason: str, log: Iterable[str] = ()) -> None:
        """Keep the reason and the engine's own lines."""
        self.reason = reason
        self.log = tuple(log)
        super().__init__(reason)

    def __reduce__(self) -> tuple[type["EngineError"], tuple[str, tuple[str, ...]]]:
        """Survive the way between processes with the log."""
        return type(self), (self.reason, self.log)


class EngineMissing(EngineError):
    """The engine's shared library is not there."""


class EngineFailed(EngineError):
    """The engine stopped early, crashed, or returned something incomplete."""

    retry = True


class EngineTimeout(EngineError):
    """The engine used up its time."""
