"""Engines that are killed, hang, crash, run out of bounds or are something else altogether."""

import os
import signal
import time
from pathlib import Path

import pytest

from simkit.errors import EngineFailed, EngineMissing, EngineTimeout
from simkit.run.backend import Budget
from simkit.run.process import NgspiceEngine
from tests.engine.test_failures import LONG, STUCK, killer, workers
from tests.robust.faults import contents, fault, older_report, run, short_scenario


@fault(
    "engine", "an engine process is killed, once", "tried again; the result says so", "the result"
)
@pytest.mark.slow
def test_killed_once(tmp_path: Path) -> None:
    from simkit import cli

    with killer(1) as dead:
        code = cli.run(
            [
                "run",
                str(short_scenario(tmp_path)),
                "--out",
                str(tmp_path / "out"),
                "--no-cache",
                "--quiet",
                "--jobs",
                "1",
            ]
        )
    assert (code, len(dead)) == (0, 1)
    assert "signal 9" in (tmp_path / "out" / "result.json").read_text()


@pytest.mark.parametrize("number", [signal.SIGSEGV, signal.SIGBUS, signal.SIGABRT])
@fault(
    "engine",
    "the engine crashes (SIGSEGV, SIGBUS, SIGABRT)",
    "no verdict, the signal named",
    "older reports; the command goes on",
)
def test_crash(number: signal.Signals) -> None:
    sent: list[int] = []

    def crash(_: float) -> None:
        # Once it is at work: while it starts, the library catches SIGSEGV itself for a moment.
        if not sent:
            sent.extend(workers())
            os.kill(sent[0], number)

    with pytest.raises(EngineFailed, match=f"ended by signal {int(number)}"):
        NgspiceEngine().run(LONG, ("v(out)",), 1.0, Budget(wall=60), crash)
    assert len(sent) == 1
    assert workers() == []


@fault(
    "engine",
    "the engine hangs without a word (stopped)",
    "ended at the time limit; no verdict",
    "older reports; no process is left",
)
def test_hang() -> None:
    import threading

    def freeze() -> None:
        while not (found := workers()):
            time.sleep(0.02)
        os.kill(found[0], signal.SIGSTOP)

    thread = threading.Thread(target=freeze)
    thread.start()
    with pytest.raises(EngineTimeout, match="after 2 s"):
        NgspiceEngine().run(LONG, ("v(out)",), 1.0, Budget(wall=2.0))
    thread.join()
    assert workers() == []


@pytest.mark.slow
@fault(
    "engine",
    "the engine works on and on",
    "ended at the limit on its CPU time; no verdict",
    "older reports",
)
def test_cpu_limit() -> None:
    with pytest.raises(EngineFailed, match=r"signal 24|CPU"):
        NgspiceEngine().run(LONG, ("v(out)",), 1.0, Budget(wall=60, cpu=1.0))
    assert workers() == []


@fault(
    "engine",
    "the engine wants more memory than it may have",
    "no verdict, with the reason",
    "older reports; the machine does not swap",
)
def test_memory_limit() -> None:
    with pytest.raises(EngineFailed, match="can't allocate"):
        NgspiceEngine().run(LONG, ("v(out)",), 1.0, Budget(wall=120, memory=300_000_000))
    assert workers() == []


@fault(
    "engine",
    "the waveforms grow over the file-size limit",
    "no verdict, with the reason",
    "older reports",
)
def test_file_limit() -> None:
    deck = LONG.replace("5e-2", "2e-5")
    with pytest.raises(EngineFailed, match=r"could not be written|signal 25"):
        NgspiceEngine().run(deck, ("v(out)",), 2e-5, Budget(wall=60, file_size=10_000))


@fault(
    "engine",
    "the engine stops before the end time",
    "down a ladder of retries, each recorded; then no verdict, with the engine's own reason",
    "older reports",
)
def test_stops_early() -> None:
    with pytest.raises(EngineFailed, match=r"stopped at.*too small") as caught:
        NgspiceEngine().run(STUCK, ("v(x)",), 1e-4, Budget(wall=60))
    assert caught.value.retry, "the ladder takes it from here"


@fault(
    "engine",
    "the library is not there",
    "exit 3; says what to install, for this system",
    "the older report",
)
def test_no_library(tmp_path: Path) -> None:
    before = older_report(tmp_path / "out")
    done = run(
        ["run", str(short_scenario(tmp_path / "in")), "--out", str(tmp_path / "out")],
        tmp_path,
        env={"NGSPICE_LIBRARY_PATH": "/nowhere/libngspice.so.0"},
    )
    assert done.returncode == 3
    assert "/nowhere/libngspice.so.0" in done.stdout + done.stderr
    assert contents(tmp_path / "out") == before


OTHERS = {"a library of something else": "libm.so.6", "no library at all": str(Path(__file__))}


@pytest.mark.slow
@pytest.mark.parametrize("kind", OTHERS)
@fault(
    "engine",
    "what is named as the library is something else",
    "exit 3, with the name and why",
    "the older report",
)
def test_wrong_library(kind: str, tmp_path: Path) -> None:
    before = older_report(tmp_path / "out")
    done = run(
        ["run", str(short_scenario(tmp_path / "in")), "--out", str(tmp_path / "out"), "--no-cache"],
        tmp_path,
        env={"NGSPICE_LIBRARY_PATH": OTHERS[kind]},
    )
    assert done.returncode == 3, done.stderr
    assert "no verdict" in done.stdout + done.stderr
    assert contents(tmp_path / "out") == before


@fault(
    "engine",
    "the library is of a version never tried",
    "`doctor` lets it solve a circuit whose "
    "answer is known and judges by that, not by the number; a wrong answer is exit 3",
    "",
)
def test_untried_version(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from simkit import cli

    monkeypatch.setattr(NgspiceEngine, "test", lambda self: ("ngspice-99", 1e-7))
    assert cli.run(["doctor"]) == 0
    assert "99" in capsys.readouterr().out
    monkeypatch.setattr(NgspiceEngine, "test", lambda self: ("ngspice-99", 0.5))
    assert cli.run(["doctor"]) == 3


def test_missing_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so.0")
    with pytest.raises(EngineMissing, match="/nowhere"):
        NgspiceEngine().version()
