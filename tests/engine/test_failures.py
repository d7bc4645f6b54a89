"""A run that does not come to its end is no verdict, with the reason, and harms nothing."""

import html
import json
import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest

from simkit import cli
from simkit.errors import EngineFailed, EngineMissing, EngineTimeout
from simkit.run import ngspice
from simkit.run.backend import Budget
from simkit.run.process import NgspiceEngine
from tests.machines import DEMO

SCENARIO = str(DEMO / "pull-out-wide.toml")
LONG = (
    "* long\nv1 in 0 pulse(0 1 0 1e-9 1e-9 1e-6 2e-6)\nr1 in out 1e3\nc1 out 0 1e-9 ic=0\n"
    ".save v(out)\n.tran 1e-9 5e-2 0 1e-9 uic\n.end\n"
)
# From 50 us on the node is to be high when it is low and low when it is high: no solution exists.
STUCK = (
    "* stuck\nv1 in 0 1\nr1 in x 1e3\nc1 in 0 1e-9\n"
    "b1 x 0 v=(time>5e-5 ? (v(x)>0.5 ? 0 : 1) : 0)\n"
    ".save v(x)\n.tran 1e-6 1e-4 0 1e-6 uic\n.end\n"
)


def parent(pid: int) -> int:
    """Parent of a process; 0 when it is gone."""
    try:
        return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
    except OSError:
        return 0


def is_mine(pid: int) -> bool:
    while pid > 1:
        pid = parent(pid)
        if pid == os.getpid():
            return True
    return False


def workers() -> list[int]:
    """Workers started by this very test run, known by the private folder they work in."""
    out = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                folder = os.readlink(entry / "cwd")
            except OSError:
                continue
            if "simkit-run-" in folder and is_mine(int(entry.name)):
                out.append(int(entry.name))
    return out


@contextmanager
def killer(most: int) -> Iterator[list[int]]:
    """Kills workers as they appear, up to a number; gives the list of those it killed."""
    killed: list[int] = []
    done = threading.Event()

    def hunt() -> None:
        while not done.wait(0.02) and len(killed) < most:
            for pid in workers():
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)

    thread = threading.Thread(target=hunt)
    thread.start()
    try:
        yield killed
    finally:
        done.set()
        thread.join()


def test_killed_worker_is_a_failure_with_its_signal() -> None:
    with killer(1) as killed, pytest.raises(EngineFailed, match="ended by signal 9"):
        NgspiceEngine().run(LONG, ("v(out)",), 1.0, Budget(wall=60))
    assert len(killed) == 1
    assert workers() == []


def test_time_limit_ends_the_worker() -> None:
    started = time.monotonic()
    with pytest.raises(EngineTimeout, match="after 1 s"):
        NgspiceEngine().run(LONG, ("v(out)",), 1.0, Budget(wall=1.0))
    assert time.monotonic() - started < 10.0
    assert workers() == []


def test_early_stop_names_the_engines_reason() -> None:
    with pytest.raises(EngineFailed, match=r"stopped at.*too small"):
        NgspiceEngine().run(STUCK, ("v(x)",), 1e-4, Budget(wall=60))


def test_missing_library_says_what_to_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so.0")
    with pytest.raises(EngineMissing, match="/nowhere"):
        NgspiceEngine().test()


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda v: v | {"v(a)": np.array([0.0, np.nan, 1.0])}, "not numbers"),
        (lambda v: {"time": v["time"]}, "left out"),
        (lambda v: v | {"v(a)": np.zeros(2)}, "different lengths"),
        (lambda v: v | {"time": np.array([0.0, 0.1, 0.2])}, "stopped at 0.2"),
        (lambda v: {}, "no waveform"),
    ],
)
def test_incomplete_vectors_are_never_taken(change, reason: str) -> None:  # type: ignore[no-untyped-def]
    good = {"time": np.array([0.0, 0.5, 1.0]), "v(a)": np.zeros(3)}
    ngspice.check_complete(good, ("v(a)",), 1.0, ())
    with pytest.raises(EngineFailed, match=reason):
        ngspice.check_complete(change(good), ("v(a)",), 1.0, ())


def killed(monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> int:
    with killer(1000) as dead:
        code = cli.run([*arguments, "--jobs", "1"])
    assert dead
    return code


def out_of_time(monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> int:
    return cli.run([*arguments, "--time-limit", "0.01"])


def aborted(monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> int:
    """The engine really gives up: it gets a deck without a solution in place of the machine's."""
    whole = NgspiceEngine.run

    def run(self, text, saved, stop, budget, progress=None):  # type: ignore[no-untyped-def]
        return whole(self, STUCK, ("v(x)",), 1e-4, budget, progress)

    monkeypatch.setattr(NgspiceEngine, "run", run)
    return cli.run(arguments)


def no_library(monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> int:
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so.0")
    return cli.run(arguments)


@pytest.mark.parametrize(
    ("way", "reason"),
    [(killed, "ended by signal 9"), (out_of_time, "time limit"), (aborted, "too small"),
     (no_library, "/nowhere/libngspice.so.0")],
)  # fmt: skip
def test_command_line_gives_no_verdict_and_keeps_the_older_report(
    way, reason: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # type: ignore[no-untyped-def]  # fmt: skip
    out = tmp_path / "out"
    (out / "figures").mkdir(parents=True)
    (out / "index.html").write_bytes(b"older report \x00\xff")
    (out / "result.json").write_bytes(b"{}")
    (out / "figures" / "a.svg").write_bytes(b"<svg/>")
    before = contents(tmp_path)
    code = way(monkeypatch, ["run", SCENARIO, "--out", str(out), "--json"])
    said = json.loads(capsys.readouterr().out)
    assert code == 3
    assert said["verdict"] == "no_verdict"
    assert reason in said["reason"]
    assert {row["status"] for row in said["limits"]} == {"not_evaluated"}
    assert all(row["value"] is None for row in said["limits"])
    after = contents(tmp_path)
    assert {name: after[name] for name in before} == before
    # What happened is told beside it, and the index can list it.
    told = tmp_path / "out-no-verdict"
    assert {p.name for p in told.iterdir()} == {"index.html", "result.json", "engine.log",
                                                "provenance.json"}  # fmt: skip
    page = html.unescape((told / "index.html").read_text(encoding="utf-8"))
    assert reason in page
    assert 'href="../out/index.html"' in page
    assert "<script" not in page
    assert json.loads((told / "result.json").read_text())["verdict"] == "no_verdict"
    assert set(contents(tmp_path)) - set(before) == {
        "out-no-verdict", *(f"out-no-verdict/{p.name}" for p in told.iterdir())
    }  # fmt: skip


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, byte for byte; a folder counts as nothing but its name."""
    return {
        str(p.relative_to(folder)): p.read_bytes() if p.is_file() else b"folder"
        for p in folder.rglob("*")
    }


@pytest.mark.slow
def test_one_killed_worker_is_replaced(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A single mishap costs a retry, which the result records, and not the verdict."""
    out = tmp_path / "out"
    with killer(1) as dead:
        code = cli.run(["run", SCENARIO, "--out", str(out), "--json", "--jobs", "1"])
    said = json.loads(capsys.readouterr().out)
    assert code in (0, 1)
    assert len(dead) == 1
    assert any("signal 9" in line for line in said["numerics"]["retries"])
    assert (out / "index.html").is_file()


def test_command_line_answers_wrong_input_with_2_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code = cli.run(["run", SCENARIO, "--set", "tank.cnas=3"])
    assert code == 2
    assert "cans" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
