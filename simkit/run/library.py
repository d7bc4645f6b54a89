"""Find ngspice's shared library on this machine, or say how to get it. Imports no engine code.

The engine's own binding looks for `libngspice.so`, a link that only development packages carry;
the library itself is `libngspice.so.0`. So the library is found here, tried, and named to it.
"""

import ctypes
import ctypes.util
import functools
import hashlib
import importlib.machinery
import os
import platform
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from simkit.errors import EngineMissing

VARIABLE = "NGSPICE_LIBRARY_PATH"
SONAME = "libngspice.so.0"
FILE_NAMES = (SONAME, "libngspice.so", "libngspice.0.dylib", "libngspice.dylib", "ngspice.dll")


@dataclass(frozen=True)
class Library:
    """A shared library of the engine that this process could open."""

    path: str
    """A file's path, or a bare name that the system's loader knows."""
    how: str
    """How it was found, in words."""


def find_library() -> Library:
    """The first library of the engine that opens; EngineMissing, with one line to run, if none.

    Order: the environment variable, the system's loader, common folders, an installed wheel
    that carries the library. A variable that names something unusable is an error and not
    passed over: whoever set it wants that library and no other.
    """
    named = os.environ.get(VARIABLE)
    if named:
        return _named_library(named)
    refused = []
    for library in _candidates():
        why_not = opens(library.path)
        if why_not is None:
            return library
        if "/" in library.path:
            refused.append(f"{library.path} does not open ({why_not})")
    lines = ["ngspice's shared library was not found.", *refused, install_hint()]
    raise EngineMissing(" ".join(lines))


@functools.lru_cache(maxsize=1)
def library_digest() -> str:
    """SHA-256 of the library that is found, or its name where its file is not to be seen.

    Errors: EngineMissing.
    """
    library = find_library()
    path = Path(library.path)
    if not path.is_file():
        path = _opened_file(path.name) or path
    if not path.is_file():
        return library.path
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _opened_file(name: str) -> Path | None:
    """The file behind a library that this process opened by a bare name, from the system's map."""
    try:
        rows = Path("/proc/self/maps").read_text().splitlines()
    except OSError:
        return None
    stem = name.partition(".")[0]
    files = (row.split(maxsplit=5)[5] for row in rows if stem in row and "/" in row)
    return next((Path(file) for file in files if Path(file).name.startswith(stem)), None)


def opens(path: str) -> str | None:
    """None when the loader opens the library, else the loader's reason in words."""
    try:
        ctypes.CDLL(path)
    except OSError as error:
        return str(error)
    return None


def install_hint() -> str:
    """One line to run on this system to get the library."""
    command = _install_command(sys.platform, _distribution())
    if command is None:
        return (
            "Install the package of your system that holds libngspice, or set "
            f"{VARIABLE} to the library's file."
        )
    return f"Run: {command}"


def _named_library(path: str) -> Library:
    why_not = opens(path)
    if why_not is not None:
        raise EngineMissing(
            f"{VARIABLE} is {path!r}, which does not open ({why_not}). "
            f"Unset it, or set it to the file of ngspice's shared library."
        )
    return Library(path, f"environment variable {VARIABLE}")


def _candidates() -> Iterator[Library]:
    # The bare name comes first although the search below would find the same file: the search
    # starts other programs, and what it takes is paid at every start.
    yield Library(SONAME, "the system's loader")
    searched = ctypes.util.find_library("ngspice")
    if searched:
        yield Library(searched, "the system's library search")
    for folder in common_folders(os.environ):
        yield from _files(folder, "a common folder")
    wheel = _wheel_folder()
    if wheel is not None:
        yield from _files(wheel, "the installed wheel sedes")


def common_folders(environment: Mapping[str, str]) -> tuple[Path, ...]:
    """Folders that package managers use and the system's loader may not look in."""
    folders = [Path("/opt/homebrew/lib"), Path("/usr/local/lib"), Path("/opt/local/lib")]
    prefix = environment.get("CONDA_PREFIX")
    if prefix:
        folders.append(Path(prefix) / "lib")
    return tuple(folders)


def _files(folder: Path, how: str) -> Iterator[Library]:
    for name in FILE_NAMES:
        if (folder / name).is_file():
            yield Library(str(folder / name), f"{how}, {folder}")


def _wheel_folder() -> Path | None:
    # Looked for only; importing the package would load its library at once. Not in the current
    # folder: what lies there came with somebody's machine file, and its library would be opened.
    places = [place for place in sys.path if not _is_current(place)]
    spec = importlib.machinery.PathFinder.find_spec("sedes", places)
    if spec is None or not spec.submodule_search_locations:
        return None
    return Path(next(iter(spec.submodule_search_locations))) / "_libs"


def _is_current(place: str) -> bool:
    try:
        return os.path.samefile(place or ".", ".")
    except OSError:
        return False


def _distribution() -> tuple[str, ...]:
    """Names of this Linux distribution and of those it is like, nearest first; else empty."""
    try:
        release = platform.freedesktop_os_release()
    except OSError:
        return ()
    return (release.get("ID", ""), *release.get("ID_LIKE", "").split())


def _install_command(system: str, distribution: tuple[str, ...]) -> str | None:
    if system == "darwin":
        return "brew install libngspice"
    if system == "win32":
        return "pip install sedes"
    commands = {
        "debian": "sudo apt-get install libngspice0",
        "ubuntu": "sudo apt-get install libngspice0",
        "fedora": "sudo dnf install libngspice",
        "arch": "sudo pacman -S ngspice",
    }
    return next((commands[name] for name in distribution if name in commands), None)


def _main() -> int:
    """`python -m simkit.run.library`: the quick question the script `run` asks at each start."""
    try:
        library = find_library()
    except EngineMissing as error:
        print(error, file=sys.stderr)
        return 3
    print(f"{library.path} ({library.how})")
    return 0


if __name__ == "__main__":
    sys.exit(_main())
