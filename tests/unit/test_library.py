"""The finder of the engine's library: order, refusals, and the one line to run.

The package names in the hints are common practice of each system; `libngspice0` was checked on
Debian 12 and 13, the others were recalled from memory.
"""

from __future__ import annotations

import ctypes.util
import sys
from pathlib import Path

import pytest

from simkit.errors import EngineMissing
from simkit.run import library


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> dict[str, str | None]:
    """A machine on which only what the dict names opens, with no variable set.

    Keys are paths that exist for the loader; the value is None, or the loader's complaint.
    """
    there: dict[str, str | None] = {}
    monkeypatch.delenv(library.VARIABLE, raising=False)
    monkeypatch.delenv("CONDA_PREFIX", raising=False)
    monkeypatch.setattr(library, "opens", lambda path: there.get(path, "no such file"))
    monkeypatch.setattr(ctypes.util, "find_library", lambda name: None)
    monkeypatch.setattr(library, "_wheel_folder", lambda: None)
    monkeypatch.setattr(library, "common_folders", lambda environment: ())
    return there


def test_nothing_there_says_one_line_to_run(
    bare: dict[str, str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(library, "_distribution", lambda: ("debian",))
    with pytest.raises(EngineMissing) as caught:
        library.find_library()
    assert str(caught.value) == (
        "ngspice's shared library was not found. Run: sudo apt-get install libngspice0"
    )
    assert caught.value.exit_code == 3


def test_the_loader_comes_before_folders(
    bare: dict[str, str | None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    own = tmp_path / library.SONAME
    own.touch()
    monkeypatch.setattr(library, "common_folders", lambda environment: (tmp_path,))
    bare.update({library.SONAME: None, str(own): None})
    assert library.find_library().path == library.SONAME
    del bare[library.SONAME]
    assert library.find_library().path == str(own)


def test_the_system_search_is_asked_too(
    bare: dict[str, str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ctypes.util, "find_library", lambda name: f"lib{name}.so.7")
    bare["libngspice.so.7"] = None
    assert library.find_library().path == "libngspice.so.7"


def test_a_file_that_does_not_open_is_passed_over_and_named(
    bare: dict[str, str | None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    wheel = tmp_path / library.SONAME
    wheel.touch()
    monkeypatch.setattr(library, "_wheel_folder", lambda: tmp_path)
    bare[str(wheel)] = "version `GLIBC_2.38' not found"
    with pytest.raises(EngineMissing, match=r"does not open \(version `GLIBC_2\.38' not found\)"):
        library.find_library()


def test_the_variable_wins(bare: dict[str, str | None], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(library.VARIABLE, "/own/libngspice.so")
    bare.update({library.SONAME: None, "/own/libngspice.so": None})
    assert library.find_library().path == "/own/libngspice.so"


def test_a_variable_that_does_not_open_is_an_error_not_a_wish(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # The real loader, and a library that is surely there to fall back on were it allowed to.
    broken = tmp_path / library.SONAME
    broken.write_bytes(b"not a library")
    monkeypatch.setenv(library.VARIABLE, str(broken))
    with pytest.raises(EngineMissing, match=library.VARIABLE):
        library.find_library()


@pytest.mark.parametrize(
    ("system", "distribution", "command"),
    [
        ("linux", ("debian",), "sudo apt-get install libngspice0"),
        ("linux", ("mint", "ubuntu", "debian"), "sudo apt-get install libngspice0"),
        ("linux", ("fedora",), "sudo dnf install libngspice"),
        ("linux", ("arch",), "sudo pacman -S ngspice"),
        ("linux", ("unheard-of",), None),
        ("linux", (), None),
        ("darwin", (), "brew install libngspice"),
        ("win32", (), "pip install sedes"),
    ],
)
def test_the_line_fits_the_system(
    system: str, distribution: tuple[str, ...], command: str | None
) -> None:
    assert library._install_command(system, distribution) == command


def test_conda_s_folder_is_looked_in() -> None:
    assert Path("/env/lib") in library.common_folders({"CONDA_PREFIX": "/env"})
    assert Path("/opt/homebrew/lib") in library.common_folders({})
