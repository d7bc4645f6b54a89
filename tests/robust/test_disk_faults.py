"""Disks that are full or cannot be written, caches that are damaged: no report is lost."""

import json
import subprocess
from pathlib import Path

import pytest

from simkit.run.cache import Store
from tests.robust.faults import (
    contents,
    environment,
    fault,
    half_folders,
    older_report,
    run,
    short_scenario,
    small_disk,
)

KEY = "ab" * 32


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the short scenario was run once, so that its answer is kept."""
    folder = tmp_path_factory.mktemp("whole")
    done = run(["run", str(short_scenario(folder)), "--quiet"], folder)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.mark.slow
@fault(
    "disk",
    "the report's disk is full",
    "exit 3: the verdict is printed, the report is not written, and the message says why",
    "the older report, whole; nothing half written",
)
@pytest.mark.parametrize("cached", [False, True])
def test_full_disk(cached: bool, tmp_path: Path, whole: Path) -> None:
    with small_disk(tmp_path / "disk", "64k") as disk:
        before = older_report(disk / "out")
        env = {"SIMKIT_CACHE_DIR": str(whole / "cache")} if cached else {}
        done = run(
            ["run", str(whole / "short.toml"), "--out", str(disk / "out"), "--quiet"],
            tmp_path,
            env=env,
        )
        assert done.returncode == 3, done.stderr
        assert "No space left on device" in done.stderr
        assert cached or "within_limits" in done.stderr, "the verdict is not lost with the report"
        assert contents(disk / "out") == before
        assert half_folders(disk) == []


@fault(
    "disk",
    "the report's disk is read-only",
    "exit 2 before anything is run",
    "the older report, whole",
)
def test_read_only_disk(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    with small_disk(tmp_path / "disk", "1m", read_only=True) as disk:
        before = older_report(disk / "out")
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        done = run(["run", str(scenario), "--out", str(disk / "out"), "--quiet"], tmp_path)
        assert done.returncode == 2, done.stderr
        assert "Read-only file system" in done.stderr
        assert contents(disk / "out") == before


@fault(
    "disk",
    "the cache's disk is full",
    "the run goes on and gives its verdict; nothing is kept",
    "the report",
)
@pytest.mark.slow
def test_full_cache_disk(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    with small_disk(tmp_path / "disk", "64k") as disk:
        env = {"SIMKIT_CACHE_DIR": str(disk / "cache")}
        done = run(["run", str(scenario), "--quiet"], tmp_path, env=env)
        assert done.returncode == 0, done.stderr
        assert (tmp_path / "reports" / "short" / "index.html").is_file()
        assert list((disk / "cache" / "results").rglob("*.zip")) == [], "no report fits there"


@pytest.mark.slow
@fault(
    "disk",
    "the cache's folder is a file",
    "the run goes on and gives its verdict",
    "the file and the report",
)
def test_cache_folder_is_a_file(tmp_path: Path, whole: Path) -> None:
    (tmp_path / "cache").write_text("mine")
    store = Store(tmp_path / "cache" / "results")
    assert not store.put(KEY, {"a": 1})
    assert store.get(KEY) is None
    assert store.usage().entries == 0
    assert (tmp_path / "cache").read_text() == "mine"


@pytest.mark.slow
@fault(
    "disk",
    "there is no room for the engine's own files (TMPDIR full)",
    "exit 3, no verdict, with the reason",
    "the older report, whole",
)
def test_full_temporary_folder(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    before = older_report(tmp_path / "out")
    with small_disk(tmp_path / "disk", "64k") as disk:
        done = run(
            ["run", str(scenario), "--out", str(tmp_path / "out"), "--no-cache", "--quiet"],
            tmp_path,
            env={"TMPDIR": str(disk)},
        )
    assert done.returncode == 3, done.stderr
    assert "TMPDIR" in done.stdout + done.stderr
    assert contents(tmp_path / "out") == before


@pytest.mark.slow
@fault(
    "disk",
    "the folder named by --out holds something else than a report",
    "exit 2 before anything is run",
    "what is in it",
)
def test_out_names_somebodys_folder(tmp_path: Path) -> None:
    scenario = short_scenario(tmp_path / "input")
    before = contents(tmp_path / "input")
    for out in (tmp_path / "input", tmp_path / "input" / "machine.toml"):
        done = run(["run", str(scenario), "--out", str(out), "--quiet"], tmp_path)
        assert done.returncode == 2, done.stderr
        assert "--out" in done.stderr
    assert contents(tmp_path / "input") == before


def kept(folder: Path) -> tuple[Store, Path]:
    store = Store(folder)
    store.put(KEY, {"answer": 42}, files={"result.json": b"{}"})
    return store, next(folder.rglob("*.zip"))


DAMAGE = {
    "cut short": lambda b: b[: len(b) // 2],
    "empty": lambda b: b"",
    "one bit turned in its directory": lambda b: b[:-30] + bytes([b[-30] ^ 1]) + b[-29:],
    "one bit turned in its data": lambda b: b[:60] + bytes([b[60] ^ 1]) + b[61:],
    "zeros in place of its first block": lambda b: b"\0" * 64 + b[64:],
    "longer than it was": lambda b: b + b"\0",
    "another kind of file": lambda b: b"<html>not found</html>",
}


@fault(
    "cache",
    f"an entry is damaged ({'; '.join(DAMAGE)})",
    "it is noticed by its digest, removed, and worked out again",
    "everything else",
)
@pytest.mark.parametrize("damage", DAMAGE)
def test_damaged_entry(damage: str, tmp_path: Path) -> None:
    store, path = kept(tmp_path)
    path.write_bytes(DAMAGE[damage](path.read_bytes()))
    assert store.get(KEY) is None
    assert not path.exists()
    assert store.put(KEY, {"answer": 42})
    entry = store.get(KEY)
    assert entry is not None
    assert entry.facts == {"answer": 42}


@fault(
    "cache",
    "every single byte of an entry is changed, one at a time",
    "each time noticed, none is ever taken",
    "everything else",
)
def test_every_byte(tmp_path: Path) -> None:
    store, path = kept(tmp_path)
    whole = path.read_bytes()
    for at in range(len(whole)):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x20]) + whole[at + 1 :])
        assert store.get(KEY) is None, at
    path.write_bytes(whole)
    assert store.get(KEY) is not None, "the whole one is taken"


@fault("cache", "an entry's place is taken by a folder", "worked out again", "everything else")
def test_entry_is_a_folder(tmp_path: Path) -> None:
    store, path = kept(tmp_path)
    path.unlink()
    path.mkdir()
    assert store.get(KEY) is None


@fault(
    "cache",
    "a process died while it wrote an entry",
    "the half written file is never taken and goes when it is old",
    "everything else",
)
def test_half_written_entry(tmp_path: Path) -> None:
    store, path = kept(tmp_path)
    half = path.with_name(".x.part")
    half.write_bytes(path.read_bytes()[:40])
    import os

    os.utime(half, (0, 0))
    assert store.get(KEY) is not None
    store.sweep()
    assert not half.exists()
    assert store.get(KEY) is not None


@pytest.mark.slow
@fault(
    "cache",
    "the kept answer of a scenario is damaged",
    "the scenario is run anew",
    "the same result, less the note that it came from the cache",
)
def test_damaged_answer(tmp_path: Path, whole: Path) -> None:
    import shutil

    shutil.copytree(whole / "cache", tmp_path / "cache")
    arguments = ["run", str(whole / "short.toml"), "--json"]
    assert json.loads(run(arguments, tmp_path).stdout).get("cache"), "found while it is whole"
    for path in (tmp_path / "cache" / "results").rglob("*.zip"):
        path.write_bytes(path.read_bytes()[:-1] + b"x")
    fresh = json.loads(run(arguments, tmp_path).stdout)
    assert not fresh.get("cache")
    assert fresh["verdict"] == "within_limits"
    assert environment(tmp_path)["SIMKIT_CACHE_DIR"] == str(tmp_path / "cache")
