"""Modules that lie in the current folder, beside somebody's machine file, are not imported.

No standard to compare with: the rule is the project's own. `python -m` puts the current folder
before all others that modules come from, the installed command does not; both stand here, with
every module that matters lying in wait.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from simkit.run import library
from simkit.run.library import find_library
from tests.robust.faults import ROOT, environment, short_scenario
from tests.robust.traps import MODULES, set_traps

OTHERS = ("click", "rich", "jinja2", "tomllib", "json", "ctypes", "sedes", "logging", "platform")
INSTALLED = "from simkit.cli import main\nmain()\n"
"""What the installed command consists of."""


@pytest.fixture
def shared(tmp_path: Path) -> Path:
    """A folder of somebody else's: a machine, a scenario and traps."""
    folder = tmp_path / "shared"
    short_scenario(folder)
    set_traps(folder, (*MODULES, *OTHERS))
    # A folder named simkit is what `python -m simkit` itself would start: Python's doing.
    (folder / "simkit.py").unlink()
    carrier = folder / "sedes" / "_libs"
    carrier.mkdir(parents=True)
    (carrier / library.SONAME).write_bytes(b"not a library")
    (folder / "sedes.py").rename(folder / "sedes" / "__init__.py")
    return folder


def _start(way: str, folder: Path) -> list[str]:
    if way == "installed command":
        script = folder.parent / "bin" / "simkit"
        script.parent.mkdir()
        script.write_text(INSTALLED)
        return [sys.executable, str(script)]
    return [sys.executable, "-m", "simkit"]


@pytest.mark.slow
@pytest.mark.parametrize("verb", ["check machine.toml", "doctor"])
@pytest.mark.parametrize("way", ["installed command", "python -m"])
def test_no_module_of_the_current_folder_is_imported(way: str, verb: str, shared: Path) -> None:
    # `doctor` runs the engine too, in a process forked from a server started for that.
    done = subprocess.run([*_start(way, shared), *verb.split()], cwd=shared, capture_output=True,
                          text=True, env=environment(shared.parent), timeout=120)  # fmt: skip
    assert sorted(p.name for p in shared.glob("was-here*")) == []
    assert done.returncode in (0, 1), done.stderr


def test_the_finder_alone_imports_none_either(shared: Path) -> None:
    done = subprocess.run([sys.executable, "-m", "simkit.run.library"], cwd=shared, text=True,
                          capture_output=True, env=environment(shared.parent))  # fmt: skip
    assert sorted(p.name for p in shared.glob("was-here*")) == []
    assert done.stdout.startswith(find_library().path)


def test_the_traps_work(shared: Path) -> None:
    done = subprocess.run([sys.executable, "-c", "import sedes"], cwd=shared,
                          env=environment(shared.parent))  # fmt: skip
    assert done.returncode == 0
    assert (shared / "was-here-sedes").exists()


@pytest.mark.parametrize("entry", ["", ".", "absolute", "linked"])
def test_the_engine_s_library_is_not_taken_from_the_current_folder(
    entry: str, shared: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = shared.parent / "link"
    link.symlink_to(shared)
    entry = {"absolute": str(shared), "linked": str(link)}.get(entry, entry)
    monkeypatch.chdir(shared)
    monkeypatch.setattr(sys, "path", [entry, *sys.path])
    found = library._wheel_folder()
    assert found is None or not os.path.samefile(found, shared / "sedes" / "_libs")
    # The control: from elsewhere the same entry, where it is absolute, is an installed package's.
    monkeypatch.chdir(ROOT)
    if entry.startswith("/"):
        found = library._wheel_folder()
        assert found is not None
        assert os.path.samefile(found, shared / "sedes" / "_libs")
