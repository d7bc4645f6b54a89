"""`python -m benchmarks.soak [--cases 2000] [--write]`: many engine runs in one map; what leaks.

Each case is a real engine run in a process of its own, of a deck that is soon done, given out by
`simkit.run.pool.collect` to two workers and kept in a store. Memory of this process is read as the
map goes on; descriptors, threads, processes and temporary files are counted before it and after
it, with the workers idle. `--write` renews docs/soak.md.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from simkit.run.pool import AHEAD

ROOT = Path(__file__).resolve().parents[1]
TARGET = ROOT / "docs" / "soak.md"
FLAT = 0.05
"""How far memory may lie from what it was after the warm-up [1]."""
WARM = AHEAD + 44
"""Cases before the first count: as many as are given out at a time have then been, and imports,
pools and the allocator's own stock are there."""
WORKERS = 2
DECK = (
    "* charging\nv1 in 0 1\nr1 in out {ohm}\nc1 out 0 1e-9 ic=0\n.save v(out)\n"
    ".tran 1e-7 1e-5 0 1e-7 uic\n.end\n"
)


def tiny(ohm: float) -> float:
    """The last voltage [V] on 1 nF that 1 V charges through so many ohms for 10 us."""
    from simkit.run.process import NgspiceEngine

    run = NgspiceEngine().run(DECK.format(ohm=ohm), ("v(out)",), 1e-5)
    return float(run.vectors["v(out)"][-1])


@dataclass(frozen=True)
class Counts:
    """What a quiet process holds."""

    descriptors: int
    """Open in this process and in its workers."""
    threads: int
    """Of this process."""
    processes: int
    """Below this one, at any depth."""
    files: int
    """Below the folder for temporary files."""


@dataclass(frozen=True)
class Soak:
    """What a soak found."""

    cases: int
    seconds: float
    before: Counts
    after: Counts
    memory: tuple[float, ...]
    """Resident memory of this process, through the map [byte]."""
    workers: tuple[float, float]
    """Resident memory of all processes below this one, before and after [byte]."""
    wrong: int
    """Cases with another answer than the closed solution's."""

    @property
    def swing(self) -> tuple[float, float]:
        """Lowest and highest memory against that after the warm-up [1]."""
        first = self.memory[0]
        return min(self.memory) / first - 1, max(self.memory) / first - 1

    def leaks(self) -> list[str]:
        """What grew, in words; empty when nothing did."""
        after = asdict(self.after)
        found = [
            f"{name}: {value} before, {after[name]} after"
            for name, value in asdict(self.before).items()
            if after[name] > value
        ]
        if max(map(abs, self.swing)) > FLAT:
            found.append(f"memory: {self.swing[0]:+.1%} to {self.swing[1]:+.1%}")
        if self.workers[1] > (1 + FLAT) * self.workers[0]:
            grown = self.workers[1] / self.workers[0] - 1
            found.append(f"memory of the processes below: {grown:+.1%}")
        if self.wrong:
            found.append(f"{self.wrong} wrong answers")
        return found


def resident(pid: int | str = "self") -> float:
    """Memory of a process that is in use [byte]."""
    pages = Path(f"/proc/{pid}/statm").read_text().split()[1]
    return int(pages) * float(os.sysconf("SC_PAGE_SIZE"))


def below(pid: int) -> list[int]:
    """Processes below one, at any depth."""
    parents = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                after_name = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            parents[int(entry.name)] = int(after_name[1])
    found, fresh = [], [pid]
    while fresh:
        fresh = [child for child, parent in parents.items() if parent in fresh]
        found += fresh
    return found


def count() -> Counts:
    """What this process and those below it hold now."""
    family = [os.getpid(), *below(os.getpid())]
    descriptors = sum(len(os.listdir(f"/proc/{pid}/fd")) for pid in family)
    files = sum(len(names) for _, _, names in os.walk(tempfile.gettempdir()))
    return Counts(descriptors, threading.active_count(), len(family) - 1, files)


def quiet_count() -> Counts:
    """The same when what is ending has ended: the lowest of some looks, a moment apart."""
    looks = []
    for _ in range(10):
        try:
            looks.append(asdict(count()))
        except OSError:  # a process went while it was looked at
            continue
        time.sleep(0.2)
    return Counts(**{name: min(look[name] for look in looks) for name in looks[0]})


def _wrong(found: dict[str, Any], cases: dict[str, float]) -> int:
    """Answers off by more than 1e-3, the engine's own relative tolerance."""
    from math import exp

    return sum(abs(found[k] - (1 - exp(-1e-5 / (ohm * 1e-9)))) > 1e-3 for k, ohm in cases.items())


def soak(
    cases: int, work: Callable[[Any], Any] = tiny, each: Callable[[], None] | None = None
) -> Soak:
    """Run so many cases in one map after a warm-up; `each` is called after every case of it."""
    from simkit.run.cache import Store, digest_of
    from simkit.run.pool import collect
    from simkit.run.workers import Workers

    store = Store(Path(os.environ["SIMKIT_CACHE_DIR"]))
    many = {digest_of("soak", k): 1000.0 + k for k in range(WARM + cases)}
    warm, cold = dict(list(many.items())[:WARM]), dict(list(many.items())[WARM:])
    started, memory, found = time.monotonic(), [], {}
    with Workers(WORKERS) as workers:
        found.update(collect(warm, work, store, workers))
        before, mine = quiet_count(), _workers_memory()
        memory.append(resident())
        for done, (key, result) in enumerate(collect(cold, work, store, workers), start=1):
            found[key] = result
            if each:
                each()
            if done % max(1, cases // 50) == 0:
                memory.append(resident())
        after, theirs = quiet_count(), _workers_memory()
    seconds = time.monotonic() - started
    return Soak(cases, seconds, before, after, tuple(memory), (mine, theirs), _wrong(found, many))


def _workers_memory() -> float:
    return float(statistics.median(_total(below(os.getpid())) for _ in range(3)))


def _total(family: list[int]) -> float:
    return sum(resident(pid) for pid in family if Path(f"/proc/{pid}").exists())


def apart(module: str, *arguments: str) -> tuple[dict[str, Any], list[str]]:
    """A module's document, run with temporary folder and cache of its own; what it left behind."""
    with tempfile.TemporaryDirectory(prefix="simkit-soak-") as name:
        tmp, cache = Path(name) / "tmp", Path(name) / "cache"
        tmp.mkdir()
        own = {"TMPDIR": str(tmp), "SIMKIT_CACHE_DIR": str(cache), "PYTHONPATH": str(ROOT)}
        environment = {**os.environ, **own, "OPENBLAS_NUM_THREADS": "1"}
        command = [sys.executable, "-m", module, *arguments]
        done = subprocess.run(command, text=True, cwd=ROOT, stdout=subprocess.PIPE, env=environment)
        if done.returncode:
            raise RuntimeError(f"the soak ended with {done.returncode}")
        time.sleep(1.0)  # what ends with its parent has then ended
        left = [f"file {p.relative_to(tmp)}" for p in tmp.rglob("*")]
        left += [f"process {pid}" for pid in _of_environment(f"TMPDIR={tmp}")]
    return json.loads(done.stdout), left


def _of_environment(words: str) -> list[int]:
    found = []
    for entry in Path("/proc").iterdir():
        try:
            if entry.name.isdigit() and words.encode() in (entry / "environ").read_bytes():
                found.append(int(entry.name))
        except OSError:
            continue
    return found


def document(found: Soak) -> dict[str, Any]:
    """As plain data."""
    return {**asdict(found), "swing": found.swing, "leaks": found.leaks()}


def note(found: dict[str, Any], left: list[str]) -> str:
    """docs/soak.md."""
    before, after, low = found["before"], found["after"], found["memory"][0]
    rows = "".join(f"| {name} | {before[name]} | {after[name]} |\n" for name in before)
    mine, theirs = found["workers"]
    grown = ", ".join([*found["leaks"], *left]) or "nothing"
    return f"""# Soak: many runs in one process

`python -m benchmarks.soak --write` makes this page. {found["cases"]} engine runs in one map, each
in a process of its own, {WORKERS} workers, after {WARM} runs to warm up; counted with the workers
idle. Every run's answer is held against the closed solution of its circuit.

| | before | after |
| --- | --- | --- |
{rows}| memory of the process that leads [MB] | {low / 1e6:.1f} | {found["memory"][-1] / 1e6:.1f} |
| memory of all processes below it [MB] | {mine / 1e6:.0f} | {theirs / 1e6:.0f} |

Memory through the map: {found["swing"][0]:+.1%} to {found["swing"][1]:+.1%} of that after the
warm-up (allowed: {FLAT:.0%} either way). Wrong answers: {found["wrong"]}. What grew or was left
behind after the end: {grown}.

{found["seconds"]:.0f} s in all, {1e3 * found["seconds"] / (found["cases"] + WARM):.0f} ms a run;
{platform.system()} {platform.machine()}, Python {platform.python_version()}, {os.cpu_count()}
cores, load {os.getloadavg()[0]:.1f} at the end.

`tests/robust/test_soak.py` repeats it with fewer runs, and shows that a leaked descriptor, thread,
process, file or piece of memory is noticed.
"""


def main(arguments: list[str] | None = None) -> int:
    """Print figures; exit 1 when something leaks."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.soak", description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--write", action="store_true", help="renew docs/soak.md")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args(arguments)
    if asked.inside:
        print(json.dumps(document(soak(asked.cases))))
        return 0
    found, left = apart("benchmarks.soak", "--inside", f"--cases={asked.cases}")
    text = note(found, left)
    print(text)
    if asked.write:
        TARGET.write_text(text, encoding="utf-8")
    return 1 if found["leaks"] or left else 0


if __name__ == "__main__":
    # Workers look their work up by the module's name, which here is another one.
    from benchmarks import soak as module

    sys.exit(module.main())
