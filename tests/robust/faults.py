"""The table of faults: each row stands on the test that shows it.

`@fault(...)` on a test enters its row; `python -m tests.robust.table` writes them all into
docs/robustness.md, and a test holds the document against them.
"""

import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "chisel-brazing"
F = TypeVar("F", bound=Callable[..., Any])


@dataclass(frozen=True)
class Row:
    """One fault."""

    group: str
    fault: str
    happens: str
    kept: str
    test: str


ROWS: list[Row] = []


def fault(group: str, fault: str, happens: str, kept: str) -> Callable[[F], F]:
    """Enter a test's row in the table."""

    def enter(test: F) -> F:
        where = f"{Path(test.__code__.co_filename).name}::{test.__name__}"
        ROWS.append(Row(group, fault, happens, kept, where))
        return test

    return enter


SHORT = """name = "short"
title = "Settled for a moment"
machine = "machine.toml"
tail = "0.05 ms"

[start]
load = "cold-steel-weak-field"
margin = "12 %"
settled = "0.1 ms"
"""
"""The shortest scenario there is: two seconds of engine time."""


def short_scenario(folder: Path) -> Path:
    """A scenario that is soon done, with its machine beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(DEMO / "machine.toml", folder)
    path = folder / "short.toml"
    path.write_text(SHORT)
    return path


def environment(folder: Path, **more: str) -> dict[str, str]:
    """Environment of a child: this checkout's package, a cache and a TMPDIR of its own.

    What a run of the engine sets for its own workers in this process is left out: a shell has not.
    """
    (folder / "tmp").mkdir(parents=True, exist_ok=True)
    own = {"PYTHONPATH": str(ROOT), "SIMKIT_CACHE_DIR": str(folder / "cache"),
           "TMPDIR": str(folder / "tmp")}  # fmt: skip
    outer = {k: v for k, v in os.environ.items() if k != "PYTHONSAFEPATH"}
    return {**outer, **own, **more}


def start(arguments: list[str], folder: Path, **more: Any) -> subprocess.Popen[str]:
    """The command as a process of its own, in a process group of its own."""
    options: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    env = environment(folder, **more.pop("env", {}))
    return subprocess.Popen([sys.executable, "-m", "simkit", *arguments], cwd=folder, env=env,
                            start_new_session=True, preexec_fn=as_in_a_terminal,
                            **{**options, **more})  # fmt: skip


def as_in_a_terminal() -> None:
    """A shell starts background jobs, the tests among them, deaf to Ctrl-C, and `nohup` to the end
    of the terminal."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


def run(arguments: list[str], folder: Path, **more: Any) -> subprocess.CompletedProcess[str]:
    """The command, to its end."""
    with start(arguments, folder, **more) as process:
        out, err = process.communicate(timeout=240)
    assert "Traceback" not in (err or ""), err[-2000:]
    return subprocess.CompletedProcess(arguments, process.returncode, out or "", err or "")


def running_in(folder: Path) -> list[int]:
    """Processes whose working folder or command line lies below a folder."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            try:
                where = os.readlink(entry / "cwd")
                said = (entry / "environ").read_bytes().decode(errors="replace")
            except OSError:
                continue
            if where.startswith(str(folder)) or f"TMPDIR={folder}" in said:
                found.append(int(entry.name))
    return found


def contents(folder: Path) -> dict[str, str]:
    """Every file below a folder by the digest of its bytes, so that a failed comparison says which
    file differs and prints no page; a folder counts as nothing but its name."""
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()[:16]
            if p.is_file() else "folder" for p in folder.rglob("*")}  # fmt: skip


def older_report(out: Path) -> dict[str, str]:
    """A report as an earlier run left it, with bytes no run would write."""
    (out / "figures").mkdir(parents=True)
    (out / "index.html").write_bytes(b"older report \x00\xff")
    (out / "result.json").write_bytes(b"{}")
    (out / "figures" / "a.svg").write_bytes(b"<svg/>")
    return contents(out)


@contextmanager
def small_disk(place: Path, size: str, *, read_only: bool = False) -> Iterator[Path]:
    """A file system of its own, of so many bytes; the test is skipped where none can be made."""
    import pytest

    place.mkdir(parents=True, exist_ok=True)
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)]
    if not shutil.which("mount") or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("a small file system cannot be mounted here")
    try:
        yield place
    finally:
        if read_only:
            subprocess.run(["mount", "-o", "remount,rw", str(place)], check=True)
        subprocess.run(["umount", "-l", str(place)], check=True)


def half_folders(folder: Path) -> list[str]:
    """Names of folders that were begun and not finished."""
    return [p.name for p in folder.iterdir() if re.match(r"\.\w+-", p.name)]
