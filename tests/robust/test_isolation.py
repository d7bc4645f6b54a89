"""What a run writes, starts and reads, traced by the kernel; what a shared folder cannot do.

No standard to compare with: the rules are the project's own. The run stands in a folder full of
traps: start-up files of the engine and of the figures' library, and modules named like those that
Python and the tool import. The last tests show that the tracer sees what it is there to see, and
that a trap works on a program that walks into it.
"""

import html
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from simkit.run.library import find_library
from tests.report.browser import PROGRAM, Page
from tests.robust.faults import ROOT, short_scenario
from tests.robust.hostile import HARMLESS_LINES
from tests.robust.traced import Call, trace
from tests.robust.traps import STARTUP, set_traps

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not shutil.which("strace"), reason="no strace here to watch with"),
]
LAUNCHER = "from simkit.cli import main\nmain()\n"
"""As the installed command starts: the current folder is not among those that modules come from."""
PARENT_STARTS = {"uname", "fc-list"}
"""Programs the parent asks: Python for the platform's name that a result states, the figures'
library for the fonts there are, once."""


def hostile_texts(folder: Path) -> None:
    """Text that would do harm in a page, in every field that a page shows."""
    texts = list(HARMLESS_LINES.values())
    lines, count = [], 0
    for line in (folder / "machine.toml").read_text().splitlines():
        found = re.match(r"((?:title|description|note) = )\"", line)
        if found:
            line = f"{found[1]}'''{texts[count % len(texts)]}'''"
            count += 1
        lines.append(line)
    assert count >= 3
    (folder / "machine.toml").write_text("\n".join(lines) + "\n")
    title = f"title = '''{' '.join(texts)[:400]}'''"
    scenario = (folder / "short.toml").read_text()
    fresh = re.sub(r"^title = .*$", lambda _: title, scenario, flags=re.MULTILINE)
    (folder / "short.toml").write_text(fresh)


@dataclass(frozen=True)
class Traced:
    """One run of the command."""

    root: Path
    work: Path
    calls: list[Call]
    said: str
    code: int

    def engines(self) -> dict[int, Path]:
        """Processes that went to a private folder, and that folder."""
        return {
            call.pid: Path(call.paths[0])
            for call in self.calls
            if call.name == "chdir" and "simkit-run-" in call.rest
        }

    def of_engine(self) -> Iterator[tuple[Call, Path]]:
        """What each of them did after it went there."""
        inside: dict[int, Path] = {}
        engines = self.engines()
        for call in self.calls:
            if call.name == "chdir" and call.pid in engines:
                inside[call.pid] = engines[call.pid]
            elif call.pid in inside:
                yield call, inside[call.pid]


@pytest.fixture(scope="module")
def traced(tmp_path_factory: pytest.TempPathFactory) -> Traced:
    root = tmp_path_factory.mktemp("isolation")
    work, home, tmp = root / "work", root / "home", root / "tmp"
    for folder in (work, home, tmp, root / "bin"):
        folder.mkdir()
    short_scenario(work)
    hostile_texts(work)
    set_traps(work)
    set_traps(home)
    (root / "bin" / "start.py").write_text(LAUNCHER)
    env = {
        "HOME": str(home), "TMPDIR": str(tmp), "SIMKIT_CACHE_DIR": str(root / "cache"),
        "PYTHONPATH": str(ROOT), "PATH": os.environ["PATH"], "SPICE_SCRIPTS": str(work),
        # The interpreter's own store of compiled modules is not what is asked about here.
        "PYTHONDONTWRITEBYTECODE": "1", "LD_LIBRARY_PATH": os.environ.get("LD_LIBRARY_PATH", ""),
        "NGSPICE_LIBRARY_PATH": str(find_library().path), "SPICE_LIB_DIR": str(work),
    }  # fmt: skip
    command = [sys.executable, str(root / "bin" / "start.py"), "run", "short.toml", "--quiet"]
    return Traced(root, work, *trace(command, work, env))


def _below(path: str, *folders: Path) -> bool:
    resolved = os.path.normpath(path)
    return any(resolved == str(f) or resolved.startswith(f"{f}/") for f in folders)


def test_the_run_came_to_its_verdict_and_no_trap_was_stepped_into(traced: Traced) -> None:
    assert traced.code in (0, 1), traced.said
    assert not list(traced.root.rglob("*was-here*"))
    assert len(traced.engines()) >= 2


def test_engine_writes_only_in_its_private_folder(traced: Traced) -> None:
    found = [(c, folder) for c, folder in traced.of_engine() if c.changes]
    assert any("vectors.npy" in c.rest for c, _ in found)
    outside = [(c.name, p) for c, folder in found for p in c.paths
               if p != "/dev/null" and not _below(p, folder)]  # fmt: skip
    assert outside == []


def test_engine_starts_nothing_and_opens_no_connection(traced: Traced) -> None:
    names = {c.name for c, _ in traced.of_engine()}
    assert names & {"execve", "execveat", "socket", "connect", "bind"} == set()


def test_engine_reads_no_start_up_file_but_its_own_empty_one(traced: Traced) -> None:
    wanted = {Path(name).name for name in STARTUP}
    opened = [(c, folder) for c, folder in traced.of_engine() if c.name.startswith("open")]
    assert any(Path(p).name == ".spiceinit" for c, _ in opened for p in c.paths)
    foreign = [p for c, folder in opened for p in c.paths
               if Path(p).name in wanted and not _below(p, folder)]  # fmt: skip
    assert foreign == []


def test_engine_reads_nothing_of_the_shared_folder_or_of_home(traced: Traced) -> None:
    read = [p for c, _ in traced.of_engine() if c.name.startswith("open") for p in c.paths]
    assert [p for p in read if _below(p, traced.work, traced.root / "home")] == []


def test_private_folders_are_gone(traced: Traced) -> None:
    assert list((traced.root / "tmp").iterdir()) == []


def test_whole_command_writes_only_in_report_cache_and_temporary_folder(traced: Traced) -> None:
    # The figures' library keeps a list of the fonts there are in a cache folder of its own.
    fonts = [traced.root / "home" / name for name in (".cache", ".config")]
    allowed = (traced.work / "reports", traced.root / "cache", traced.root / "tmp", *fonts)
    engine = set(traced.engines())
    changed = {p for c in traced.calls if c.changes and c.pid not in engine for p in c.paths}
    assert any(_below(p, traced.work / "reports") for p in changed)
    # A path without a folder to start from is that of a removal inside an opened folder.
    whole = {p for p in changed if Path(p).is_absolute() and not p.startswith("/dev/")}
    assert {p for p in whole if not _below(p, *allowed)} == set()


def test_whole_command_starts_only_python_and_asks_two_programs(traced: Traced) -> None:
    started = [c for c in traced.calls if c.name.startswith("execve")]
    programs = {Path(c.paths[0]).name for c in started}
    python = {p for p in programs if p.startswith("python")}
    assert python
    assert programs - python <= PARENT_STARTS
    helpers = [c.rest for c in started if '"-c"' in c.rest]
    assert helpers
    server = re.compile(r"from multiprocessing\.(forkserver|resource_tracker) import main")
    assert all(server.search(rest) for rest in helpers)


def test_no_network(traced: Traced) -> None:
    families = {
        m for c in traced.calls if c.name == "socket" for m in re.findall(r"AF_\w+", c.rest)
    }
    assert families <= {"AF_UNIX"}


# --- what the page makes of such texts


@pytest.fixture(scope="module")
def shown(traced: Traced) -> list[Path]:
    """Index and report of the traced run, and the page of one that came to no verdict."""
    failed = traced.root / "failed"
    env = {**os.environ, "PYTHONPATH": str(ROOT), "SIMKIT_CACHE_DIR": str(traced.root / "other")}
    command = ["run", "short.toml", "--out", str(failed), "--no-cache", "--quiet",
               "--time-limit", "0.01"]  # fmt: skip
    done = subprocess.run([sys.executable, "-P", "-m", "simkit", *command], cwd=traced.work,
                          env=env, capture_output=True, text=True, timeout=240)  # fmt: skip
    assert done.returncode == 3, done.stderr
    reports = traced.work / "reports"
    return [reports / "index.html", reports / "short" / "index.html",
            failed.with_name("failed-no-verdict") / "index.html"]  # fmt: skip


@pytest.mark.parametrize("which", range(3), ids=["index", "report", "failure"])
def test_page_shows_hostile_text_as_text(which: int, shown: list[Path]) -> None:
    text = shown[which].read_text("utf-8")
    # The index shows names and reasons only; the others show the texts, no template filled.
    assert ("&lt;script&gt;" in text) == (which > 0)
    assert ("{{ 7 * 7 }}" in text) == (which > 0)
    assert "<img" not in text
    assert "<script>fetch" not in text
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    rules = dict(r.strip().partition(" ")[::2] for r in html.unescape(policy).split(";"))
    for name in ("default-src", "base-uri", "form-action"):
        assert rules[name] == "'none'"
    assert "unsafe" not in rules.get("script-src", "")
    assert not re.search(r"""(?:src|href|action)\s*=\s*["']?\s*(?:https?:|//|javascript:)""", text)


@pytest.mark.skipif(PROGRAM is None, reason="no Chromium here to look at the page")
def test_no_script_of_theirs_runs_in_a_browser(shown: list[Path]) -> None:
    with Page() as page:
        for file in shown:
            page.events.clear()
            page.open(file)
            page.ask("new Promise((done) => setTimeout(done, 300))")
            methods = [e.get("method") for e in page.events]
            asked = [e["params"]["request"]["url"] for e in page.events
                     if e.get("method") == "Network.requestWillBeSent"]  # fmt: skip
            assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
            assert "Page.javascriptDialogOpening" not in methods
            assert "Runtime.exceptionThrown" not in methods
            assert page.ask("document.images.length") == 0
            words = page.ask("document.body.innerText + document.title")
            assert ("<script>fetch" in words) == (file != shown[0])


# --- the controls


def test_the_tracer_sees(tmp_path: Path) -> None:
    script = (
        "import os, socket, subprocess\nopen('w', 'w').close()\nos.mkdir('d')\n"
        "os.rename('w', 'x')\nos.unlink('x')\nsubprocess.run(['true'])\n"
        "socket.socket(socket.AF_INET)\nopen('/etc/hostname')\n"
    )
    work = tmp_path / "work"
    work.mkdir()
    found, said, code = trace([sys.executable, "-c", script], work, dict(os.environ))
    assert code == 0, said
    changed = [c for c in found if c.changes]
    assert str(work / "w") in {p for c in changed for p in c.paths}
    assert {"mkdir", "rename", "unlink"} <= {re.sub(r"at2?$", "", c.name) for c in changed}
    assert any(c.name == "execve" and c.paths[0].endswith("/true") for c in found)
    assert any(c.name == "socket" and "AF_INET" in c.rest for c in found)
    assert any("/etc/hostname" in c.rest and not c.changes for c in found)


@pytest.mark.skipif(not shutil.which("ngspice"), reason="no ngspice program here")
def test_start_up_trap_works_on_the_bare_engine(tmp_path: Path) -> None:
    set_traps(tmp_path)
    deck = tmp_path / "a.cir"
    deck.write_text("* t\nr1 a 0 1\nv1 a 0 1\n.op\n.end\n")
    subprocess.run(["ngspice", "-b", str(deck)], cwd=tmp_path, capture_output=True, timeout=60,
                   env={**os.environ, "HOME": str(tmp_path)})  # fmt: skip
    assert list(tmp_path.glob("was-here-.spice*"))


def test_module_trap_works_on_a_python_that_looks_there(tmp_path: Path) -> None:
    set_traps(tmp_path)
    env = {k: v for k, v in os.environ.items() if k != "PYTHONSAFEPATH"}
    subprocess.run([sys.executable, "-c", "import multiprocessing"], cwd=tmp_path, env=env,
                   timeout=60)  # fmt: skip
    assert (tmp_path / "was-here-multiprocessing").exists()
