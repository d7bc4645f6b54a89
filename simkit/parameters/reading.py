"""The one way in which a file that somebody wrote is opened.

Plain files only, for a device or a pipe may have no end, and never more of one than was agreed.
Whoever keeps what files amount to asks `noting` which files were opened meanwhile, in what order
and with what in them.
"""

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from stat import S_ISREG

MAX_BYTES = 1_000_000
"""Most that a file a person writes may hold [byte]."""


@dataclass(frozen=True)
class Opened:
    """A file that was read, and what was in it."""

    path: str
    size: int
    """[byte]"""
    digest: str
    """SHA-256 of its bytes."""


_NOTES: ContextVar[tuple[list[Opened], ...]] = ContextVar("files opened", default=())


class Unreadable(ValueError):
    """What is wrong with a file, as a rule; `line` where it lies in one [1]."""

    def __init__(self, rule: str, line: int | None = None) -> None:
        """Keep the rule and the line."""
        self.line = line
        super().__init__(rule)


class Missing(Unreadable):
    """Nothing is there."""


@contextmanager
def noting() -> Iterator[list[Opened]]:
    """A list that fills with the files opened in this block, in order."""
    mine: list[Opened] = []
    token = _NOTES.set((*_NOTES.get(), mine))
    try:
        yield mine
    finally:
        _NOTES.reset(token)


def file_bytes(path: Path, most: int = MAX_BYTES) -> bytes:
    """Content of a plain file of at most so many bytes.

    Errors: Unreadable with the rule that it breaks.
    """
    try:
        if "\0" in str(path) or not str(path).encode():
            raise Missing("there is no such file")
    except UnicodeEncodeError:
        raise Unreadable("its name is not UTF-8 text: rename it") from None
    try:
        if not S_ISREG(path.stat().st_mode):
            raise Unreadable("is not a file")
        with path.open("rb") as file:
            content = file.read(most + 1)
    except (FileNotFoundError, NotADirectoryError):
        raise Missing("there is no such file") from None
    except OSError as error:
        raise Unreadable(f"cannot be read: {error.strerror}") from None
    if len(content) > most:
        size = f"{most // 1_000_000} MB" if most > 1_000_000 else f"{most // 1000} kB"
        raise Unreadable(f"is larger than the {size} a file may have")
    for notes in _NOTES.get():
        notes.append(Opened(str(path), len(content), hashlib.sha256(content).hexdigest()))
    return content


def file_text(path: Path, most: int = MAX_BYTES) -> str:
    """Content of a plain file as text. Errors: Unreadable, for what is not UTF-8 too."""
    content = file_bytes(path, most)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise Unreadable("is not UTF-8 text", line) from None


def unchanged(opened: Sequence[Opened]) -> bool:
    """Whether files that were once read still hold what they did."""
    try:
        return all(_digest(Path(o.path), o.size) == o.digest for o in opened)
    except Unreadable:
        return False


def _digest(path: Path, most: int) -> str:
    return hashlib.sha256(file_bytes(path, most)).hexdigest()
