"""What was worked out once is kept under a digest of everything that determined it.

An entry is one zip file: facts as JSON, arrays as `.npy`, files as they are. Its name carries the
key and the digest of its bytes, so that an entry is whole or is noticed not to be, whoever wrote
it; it is written aside and moved into place, so that any number of processes may share a folder.
Nothing here is ever unpickled. A cache that cannot be written is a cache without entries: it
never fails a run.
"""

import contextlib
import functools
import hashlib
import io
import json
import os
import struct
import tempfile
import time
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simkit.data import netlist_folder
from simkit.errors import InputError, Problem
from simkit.run.arrays import check_size, member_array

FOLDER_VARIABLE = "SIMKIT_CACHE_DIR"
SIZE_VARIABLE = "SIMKIT_CACHE_MB"
DEFAULT_LIMIT = 2_000_000_000
"""Most all caches together may hold unless the variable says otherwise [byte]."""
SHARES = {"cases": 0.1, "results": 0.3, "runs": 0.6}
"""Kinds of caches, each with its share of the limit, so that big entries do not push out small
ones: cases of a map, report folders, engine runs."""
SWEEP_SHARE = 0.02
"""Share of the limit one process may add before it looks at the size again [1]."""
KEPT_SHARE = 0.9
"""Share of the limit that is left when entries must go [1]."""
STALE = 3600.0
"""Age at which a file half written by a process that died goes [s]."""

Arrays = Mapping[str, NDArray[Any]]
_NONE: Mapping[str, Any] = {}
_DAMAGED = (
    OSError, ValueError, LookupError, ArithmeticError, EOFError, RuntimeError, MemoryError,
    struct.error, zipfile.BadZipFile,
)  # fmt: skip
"""What unpacking bytes that are no entry may raise, RecursionError and the library's own."""
_added: dict[Path, int] = {}
"""Bytes this process has put into each folder since it last looked at its size."""


@dataclass(frozen=True)
class Entry:
    """What was kept under a key."""

    facts: Any
    """Plain data as JSON knows it."""
    arrays: Arrays
    files: Mapping[str, bytes]
    """Contents by relative path."""


@dataclass(frozen=True)
class Usage:
    """What a cache holds."""

    folder: Path
    entries: int
    size: int
    """[byte]"""
    limit: int
    """[byte]"""


@dataclass(frozen=True)
class Store:
    """A folder of entries, least recently used out first."""

    folder: Path
    limit: int = field(default=DEFAULT_LIMIT)
    """Most it may hold [byte]; 2 % more for a moment, per process writing."""

    def get(self, key: str) -> Entry | None:
        """What is kept under a key; None when nothing is, or when it is damaged (it then goes)."""
        for path in self._paths(key):
            try:
                content = _content(path, self.limit)
                if hashlib.sha256(content).hexdigest() != path.stem.partition(".")[2]:
                    raise ValueError("the bytes are not those that were written")
                entry = _unpacked(content)
            except FileNotFoundError:
                continue
            except _DAMAGED:
                _remove(path)
                continue
            with contextlib.suppress(OSError):
                os.utime(path)
            return entry
        return None

    def put(
        self,
        key: str,
        facts: Any,
        arrays: Arrays = _NONE,
        files: Mapping[str, bytes] = _NONE,
    ) -> bool:
        """Keep something under a key; False when the folder cannot be written."""
        content = _packed(facts, arrays, files)
        name = f"{key}.{hashlib.sha256(content).hexdigest()}.zip"
        place = self.folder / key[:2]
        try:
            place.mkdir(parents=True, exist_ok=True)
            write_whole(place / name, content)
            for older in self._paths(key):
                if older.name != name:
                    _remove(older)
            # Two that write under one key at a time may each have removed the other's.
            if not self._paths(key):
                write_whole(place / name, content)
        except OSError:
            return False
        self._bound(len(content))
        return True

    def usage(self) -> Usage:
        """How many entries there are and what they weigh."""
        sizes = [size for _, size, path in self._all() if path.suffix == ".zip"]
        return Usage(self.folder, len(sizes), sum(sizes), self.limit)

    def clear(self) -> int:
        """Remove every entry; how many there were."""
        count = 0
        for _, _, path in self._all():
            count += path.suffix == ".zip"
            _remove(path)
        for place in self._places():
            with contextlib.suppress(OSError):
                place.rmdir()
        return count

    def sweep(self) -> None:
        """Remove what is half written and old, and the least recently used above the limit."""
        found = sorted(self._all())
        total = sum(size for _, size, _ in found)
        goal = KEPT_SHARE * self.limit if total > self.limit else float("inf")
        for used, size, path in found:
            entry = path.suffix == ".zip"
            if (entry and total > goal) or (not entry and time.time() - used > STALE):
                _remove(path)
                total -= size

    def _bound(self, size: int) -> None:
        # A process looks at the size with its first entry, then after every few per cent.
        _added[self.folder] = _added.get(self.folder, self.limit) + size
        if _added[self.folder] > SWEEP_SHARE * self.limit:
            _added[self.folder] = 0
            self.sweep()

    def _paths(self, key: str) -> list[Path]:
        return sorted((self.folder / key[:2]).glob(f"{key}.*.zip"))

    def _places(self) -> list[Path]:
        try:
            return [p for p in self.folder.iterdir() if p.is_dir() and len(p.name) == 2]
        except OSError:
            return []

    def _all(self) -> Iterator[tuple[float, int, Path]]:
        """Last use [s], size [byte] and path of every file in the cache's own folders."""
        for place in self._places():
            with contextlib.suppress(OSError), os.scandir(place) as rows:
                for row in rows:
                    with contextlib.suppress(OSError):
                        state = row.stat()
                        yield state.st_mtime, state.st_size, Path(row.path)


def default_store(kind: str = "cases") -> Store:
    """One of this user's caches; SIMKIT_CACHE_DIR and SIMKIT_CACHE_MB move and bound them.

    Errors: InputError when the bound is not a number of megabytes.
    """
    return Store(cache_folder() / kind, int(SHARES[kind] * _limit()))


def cache_folder() -> Path:
    """Folder of all caches."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named).absolute()
    import platformdirs

    return Path(platformdirs.user_cache_dir("simkit"))


def _limit() -> int:
    written = os.environ.get(SIZE_VARIABLE)
    if not written:
        return DEFAULT_LIMIT
    if written.isdecimal() and int(written) > 0:
        return int(written) * 1_000_000
    rule = "must be a whole number of megabytes above zero"
    raise InputError([Problem("environment", None, SIZE_VARIABLE, written, rule)])


def digest_of(*parts: Any) -> str:
    """SHA-256 of plain data, the same in every process and on every machine."""
    text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


@functools.lru_cache
def code_digest(part: str = "") -> str:
    """SHA-256 of this package's own files, or of those of one part such as "run".

    Whatever a change of the code does to a result, it makes another key.
    """
    root = Path(__file__).resolve().parents[1] / part
    folders = [root] if part else [root, netlist_folder()]
    whole = hashlib.sha256()
    for folder in folders:
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            relative = path.relative_to(folder)
            if "__pycache__" in relative.parts or relative.parts[0] == "_data":
                continue
            whole.update(f"{relative.as_posix()}\0{path.stat().st_size}\0".encode())
            whole.update(path.read_bytes())
    return whole.hexdigest()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file that appears whole or not at all."""
    handle, aside = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.replace(aside, path)
    except BaseException:
        _remove(Path(aside))
        raise


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()


def _packed(facts: Any, arrays: Arrays, files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as box:
        box.writestr("facts.json", json.dumps(facts))
        for name, values in arrays.items():
            with box.open(f"arrays/{name}.npy", "w", force_zip64=True) as member:
                np.lib.format.write_array(member, np.asarray(values), allow_pickle=False)
        for name, content in files.items():
            box.writestr(f"files/{name}", content)
    return out.getvalue()


def _content(path: Path, most: int) -> bytes:
    if not path.is_file():  # a pipe would be waited for, a device read for ever
        raise ValueError("is no file")
    with path.open("rb") as file:
        if os.fstat(file.fileno()).st_size > most:
            raise ValueError("larger than all entries together may be")
        return file.read()


def _unpacked(content: bytes) -> Entry:
    arrays: dict[str, NDArray[Any]] = {}
    files: dict[str, bytes] = {}
    with zipfile.ZipFile(io.BytesIO(content)) as box:
        check_size(box, len(content))  # nothing in it was compressed
        facts = json.loads(box.read("facts.json"))
        for member in box.namelist():
            if member.startswith("arrays/"):
                name = member.removeprefix("arrays/").removesuffix(".npy")
                arrays[name] = member_array(box.read(member))
            elif member.startswith("files/"):
                files[_inside(member.removeprefix("files/"))] = box.read(member)
    return Entry(facts, arrays, files)


def _inside(name: str) -> str:
    """The relative path of a file of a kept folder: nothing may be restored outside of it."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or path.as_posix() != name or "\\" in name:
        raise ValueError(f"{name!r} leads out of the folder")
    return name
