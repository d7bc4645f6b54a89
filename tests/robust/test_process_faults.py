"""Processes that are killed, stopped or started twice, and the terminal that goes away."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.robust.faults import (
    DEMO,
    contents,
    environment,
    fault,
    half_folders,
    older_report,
    run,
    running_in,
    short_scenario,
    start,
)


def until(
    reached: Callable[[], bool], seconds: float = 60.0, shown: Callable[[], object] = str
) -> None:
    """Wait for something; fail, showing something, when it does not come."""
    end = time.monotonic() + seconds
    while not reached():
        assert time.monotonic() < end, f"did not come about: {shown()}"
        time.sleep(0.02)


def engines(folder: Path) -> list[str]:
    """Private folders of engine runs at work."""
    return [p.name for p in (folder / "tmp").glob("simkit-run-*")]


LONG = 0.8
"""The short runs take less [s]."""


def whole_run(
    folder: Path, scenario: Path = DEMO / "pull-out-shaken.toml"
) -> subprocess.Popen[str]:
    """A run that takes long enough to be disturbed, at the moment its engine works."""
    out = folder / "out"
    process = start(
        [
            "run",
            str(scenario),
            "--out",
            str(out),
            "--whole",
            "--no-cache",
            "--no-advice",
            "--no-tolerance",
        ],
        folder,
    )
    at_work(folder)
    return process


def at_work(folder: Path) -> None:
    """Wait for an engine that works on something long: short runs, whose folders come and go, find
    the switches' temperature first."""
    seen: dict[str, float] = {}

    def long() -> bool:
        now = time.monotonic()
        names = [n for n in engines(folder) if (folder / "tmp" / n / ".spiceinit").exists()]
        for gone in set(seen) - set(names):
            del seen[gone]
        return any(now - seen.setdefault(name, now) > LONG for name in names)

    until(long)


def nothing_left(folder: Path) -> None:
    until(lambda: running_in(folder) == [], 20.0)
    until(lambda: engines(folder) == [], 5.0, lambda: contents(folder / "tmp"))
    assert half_folders(folder) == []


def disturbed(folder: Path, disturb: Callable[[subprocess.Popen[str]], object]) -> tuple[int, str]:
    """Exit code and words of a run disturbed while its engine works; the older report is whole and
    nothing is left behind."""
    before = older_report(folder / "out")
    process = whole_run(folder)
    disturb(process)
    _, err = process.communicate(timeout=20)
    nothing_left(folder)
    assert contents(folder / "out") == before
    return process.returncode, err


def interrupt(process: subprocess.Popen[str]) -> None:
    """Ctrl-C goes to every process of the terminal."""
    os.killpg(process.pid, signal.SIGINT)


@pytest.mark.slow
@fault(
    "process",
    "the command is killed outright (SIGKILL)",
    "its engine processes end by themselves and take their private folders along",
    "the older report, whole",
)
def test_parent_killed(tmp_path: Path) -> None:
    disturbed(tmp_path, subprocess.Popen.kill)


@fault(
    "process",
    "Ctrl-C",
    "exit 130, one line; no process and no half written folder is left",
    "the older report, whole",
)
def test_interrupted(tmp_path: Path) -> None:
    code, err = disturbed(tmp_path, interrupt)
    assert code == 130
    assert "Traceback" not in err


@fault(
    "process",
    "Ctrl-C twice, the second while the first is served",
    "exit 130 or by the signal; nothing is left",
    "the older report, whole",
)
@pytest.mark.slow
def test_interrupted_twice(tmp_path: Path) -> None:
    def twice(process: subprocess.Popen[str]) -> None:
        for _ in range(2):
            interrupt(process)
            time.sleep(0.05)

    code, _ = disturbed(tmp_path, twice)
    assert code in (130, -signal.SIGINT)


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@fault(
    "process",
    "asked to end (SIGTERM), or its terminal is closed (SIGHUP)",
    "it ends; no process and no half written folder is left",
    "the older report, whole",
)
def test_terminal_closed(number: signal.Signals, tmp_path: Path) -> None:
    code, _ = disturbed(tmp_path, lambda process: process.send_signal(number))
    assert code != 0


@fault(
    "process",
    "the laptop sleeps in the middle of a run (all processes stopped for a while)",
    "the run goes on afterwards and gives its verdict",
    "the result",
)
@pytest.mark.slow
def test_sleep(tmp_path: Path) -> None:
    shaken = short_scenario(tmp_path / "input").with_name("shaken.toml")
    text = (DEMO / "pull-out-shaken.toml").read_text()
    # It has to come to its end: as long as it takes to be disturbed, and not longer.
    shaken.write_text(text.replace('"2 ms"', '"0.4 ms"').replace('"0.5 ms"', '"0.1 ms"'))
    process = whole_run(tmp_path, shaken)
    everyone = {process.pid, *running_in(tmp_path)}
    for pid in everyone:
        os.kill(pid, signal.SIGSTOP)
    time.sleep(3.0)
    for pid in everyone:
        os.kill(pid, signal.SIGCONT)
    _, err = process.communicate(timeout=200)
    assert process.returncode in (0, 1), err
    assert (tmp_path / "out" / "index.html").is_file()


@pytest.mark.slow
@fault("process", "the reader of a pipe goes away", "exit 141, no complaint", "nothing is written")
def test_pipe_closed(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    with start(["deck", str(scenario), "--no-engine"], tmp_path) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        err = process.stderr.read()
        assert process.wait(60) in (0, 141)
    assert "Traceback" not in err
    assert "Exception" not in err


@fault(
    "process",
    "two runs into one folder at the same time",
    "both give their verdict; the folder is one of the two reports, whole",
    "one whole report",
)
@pytest.mark.slow
def test_two_runs_into_one_folder(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    arguments = ["run", str(scenario), "--out", str(tmp_path / "out"), "--no-cache", "--quiet",
                 "--no-tolerance"]  # fmt: skip
    both = [start(arguments, tmp_path) for _ in range(2)]
    codes = [(p.communicate(timeout=200), p.returncode)[1] for p in both]
    assert codes == [0, 0]
    assert json.loads((tmp_path / "out" / "result.json").read_text())["verdict"] == "within_limits"
    assert half_folders(tmp_path) == []


SWAPS = """
import sys
from pathlib import Path
from simkit.studies.output.folder import whole_folder
folder = Path(sys.argv[1])
def fill(fresh):
    for k in range(5):
        (fresh / f"{k}").write_text(sys.argv[2])
for _ in range(150):
    whole_folder(folder, fill)
"""


@fault(
    "process",
    "two processes put hundreds of folders into one place, at the same time",
    "each arrives; what stands there is always one of them, whole",
    "one whole folder",
)
def test_folders_put_in_one_place(tmp_path: Path) -> None:
    command = [sys.executable, "-c", SWAPS, str(tmp_path / "out")]
    both = [subprocess.Popen([*command, str(k)], env=environment(tmp_path)) for k in range(2)]
    assert [p.wait(120) for p in both] == [0, 0]
    said = {p.read_text() for p in (tmp_path / "out").iterdir()}
    assert len(said) == 1
    assert len(list((tmp_path / "out").iterdir())) == 5
    assert half_folders(tmp_path) == []


@pytest.mark.slow
@fault(
    "process",
    "the clock jumps back a day while a run goes on",
    "durations come from a clock that does not jump: none is negative",
    "the result",
)
def test_clock_jump(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from simkit import cli

    scenario = short_scenario(tmp_path / "input")
    monkeypatch.chdir(tmp_path)
    real, calls = time.time, [0]

    def jumping() -> float:
        calls[0] += 1
        return real() - 86_400.0 * (calls[0] % 2)

    monkeypatch.setattr(time, "time", jumping)
    assert cli.run(["run", str(scenario), "--quiet", "--no-cache", "--no-tolerance"]) == 0
    numerics = json.loads((tmp_path / "reports/short/result.json").read_text())["numerics"]
    assert all(v >= 0.0 for k, v in numerics.items() if k.endswith("seconds"))


@fault(
    "process",
    "the terminal knows no more than ASCII",
    "signs are replaced, nothing fails",
    "the report, in UTF-8",
)
def test_ascii_terminal(tmp_path: Path) -> None:
    env = {"PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"}
    for arguments in (["check", str(DEMO / "machine.toml")], ["explain", "junction_temperature"]):
        done = run(arguments, tmp_path, env=env)
        assert done.returncode in (0, 1, 2), done.stderr
        assert "fault of simkit" not in done.stderr


@fault(
    "process",
    "there is no home folder and none can be made",
    "the run goes on without a cache",
    "the report",
)
@pytest.mark.slow
def test_no_home(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    env = {"HOME": "/proc/nowhere", "XDG_CACHE_HOME": "/proc/nowhere", "SIMKIT_CACHE_DIR": ""}
    done = run(["run", str(scenario), "--quiet", "--no-tolerance"], tmp_path, env=env)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "reports/short/index.html").is_file()


@fault(
    "process",
    "the machine file is changed while its run goes on",
    "the result is that of the file as it was read, under its digest",
    "the result",
)
@pytest.mark.slow
def test_file_changed_in_the_run(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    machine = tmp_path / "input" / "machine.toml"
    arguments = ["run", str(scenario), "--no-cache", "--json", "--no-tolerance"]
    undisturbed = json.loads(run(arguments, tmp_path).stdout)
    process = start(arguments, tmp_path)
    until(lambda: bool(engines(tmp_path)))
    machine.write_text(machine.read_text().replace('"325 V"', '"300 V"'))
    disturbed = json.loads(process.communicate(timeout=200)[0])
    assert disturbed["machine"]["digest"] == undisturbed["machine"]["digest"]
    assert disturbed["limits"] == undisturbed["limits"]
