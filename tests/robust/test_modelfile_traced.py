"""No hostile model file reaches the engine, as the kernel saw it: opened, started, written.

The corpus is that of test_modelfile_hostile.py, with the path it wants read pointed at a file that
is there. A part stands around each as for a diode alone, so that every file that declares two pins
goes as far as it can. The rules are the project's own; the last test shows that the tracer would
see a step into the trap.
"""

import json
import os
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from simkit.run.library import find_library
from tests.robust.faults import ROOT
from tests.robust.test_modelfile_hostile import HOSTILE
from tests.robust.traced import Call, trace

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not shutil.which("strace"), reason="no strace here to watch with"),
]
PART = (ROOT / "scenarios/parts/class-600v-planar.toml").read_text("utf-8")
MODEL = '\n[model]\nfile = "evil.lib"\nsubcircuit = "part"\nanode = "a"\ncathode = "b"\n'
SECRET = "canary-of-the-corpus"
"""Name of the file that the corpus wants read."""


@dataclass(frozen=True)
class Traced:
    """The whole corpus in one command."""

    work: Path
    calls: list[Call]
    done: dict[str, dict[str, str]]
    said: str

    def opened(self) -> Iterator[str]:
        """Paths opened, made or removed, in full."""
        for call in self.calls:
            if call.name.startswith("open") or call.changes:
                yield from (os.path.normpath(p) for p in call.paths)


def laid_out(work: Path, canary: Path) -> None:
    for number, (name, content) in enumerate(HOSTILE.items()):
        folder = work / f"{number:03d}-{name}"
        folder.mkdir()
        (folder / "part.toml").write_text(PART + MODEL, "utf-8")
        raw = content.encode() if isinstance(content, str) else content
        (folder / "evil.lib").write_bytes(raw.replace(b"/etc/passwd", str(canary).encode()))


@pytest.fixture(scope="module")
def traced(tmp_path_factory: pytest.TempPathFactory) -> Traced:
    root = tmp_path_factory.mktemp("corpus")
    work, home, tmp = root / "work", root / "home", root / "tmp"
    for folder in (work, home, tmp):
        folder.mkdir()
    canary = root / SECRET
    canary.write_text(".subckt canary a b\nr1 a b 1\n.ends\n")
    laid_out(work, canary)
    env = {
        "HOME": str(home), "TMPDIR": str(tmp), "SIMKIT_CACHE_DIR": str(root / "cache"),
        "PYTHONPATH": str(ROOT), "PATH": os.environ["PATH"], "PYTHONDONTWRITEBYTECODE": "1",
        "LD_LIBRARY_PATH": os.environ.get("LD_LIBRARY_PATH", ""),
        "NGSPICE_LIBRARY_PATH": str(find_library().path),
    }  # fmt: skip
    command = [sys.executable, "-P", "-m", "tests.robust.modelfiles_run"]
    calls, said, code = trace(command, work, env)
    assert code == 0, said[-2000:]
    done = json.loads(said[said.index('{"') : said.rindex("}") + 1])
    return Traced(work, calls, done, said)


def test_all_were_tried_most_refused_and_some_ran(traced: Traced) -> None:
    """Some hold nothing but a harmless part after all: they ran, in our own words."""
    assert len(traced.done) == len(HOSTILE) >= 60
    ran = {name: d["deck"] for name, d in traced.done.items() if "deck" in d}
    assert 3 <= len(ran) <= 25
    for name, deck in ran.items():
        assert not re.search(r"owned|shell|include|system|canary|control", deck), name


def test_nothing_was_read_that_a_file_named(traced: Traced) -> None:
    kinds = ("part.toml", "evil.lib")
    own = {f"{traced.work}/{name}/{kind}" for name in traced.done for kind in kinds}
    below = [p for p in traced.opened() if p.startswith(f"{traced.work}/")]
    assert own <= set(below)  # the tracer sees what it is there to see
    assert set(below) - own - {f"{traced.work}/{name}" for name in traced.done} == set()
    assert not [
        p for p in traced.opened() if SECRET in p or Path(p).name in {"secret", "x", "evil"}
    ]


def test_nothing_was_made_and_nothing_started(traced: Traced) -> None:
    assert not list(traced.work.parent.rglob("*owned*"))
    started = {Path(c.paths[0]).name for c in traced.calls if c.name.startswith("execve")}
    assert started <= {Path(sys.executable).name, Path(os.path.realpath(sys.executable)).name}
    engines = {c.pid for c in traced.calls if c.name == "chdir" and "simkit-run-" in c.rest}
    assert len(engines) == sum("deck" in d for d in traced.done.values())
    assert not [c for c in traced.calls if c.name in ("socket", "connect") and c.pid in engines]


def test_the_tracer_would_see_the_trap_being_read(tmp_path: Path) -> None:
    work = tmp_path / "work"
    work.mkdir()
    (tmp_path / SECRET).write_text("x")
    read = f"open({str(tmp_path / SECRET)!r}).read(); import os; os.system('true')"
    calls, _, code = trace([sys.executable, "-c", read], work, dict(os.environ))
    assert code == 0
    assert any(SECRET in p for c in calls if c.name.startswith("open") for p in c.paths)
    assert sum(c.name.startswith("execve") for c in calls) >= 2
