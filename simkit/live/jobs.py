"""Full rehearsals started from the live page: one child process each, stopped with the server."""

import asyncio
import contextlib
import json
import os
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from simkit.errors import InputError, Problem
from simkit.studies.output.report_place import failure_folder

AT_ONCE = 2
"""Rehearsals that run at the same time; the others wait."""
MOST = 8
"""Rehearsals of one page that may be waiting or running."""
PATIENCE = 4.0
"""How long a child may take to end by itself [s]."""
_STEP = re.compile(rb"^progress (\d\.\d+)")


@dataclass
class Job:
    """One rehearsal as the page sees it."""

    number: int
    page: str
    scenario: Path
    overrides: Mapping[str, str]
    state: str = "waiting"
    """waiting, running, done, failed or stopped."""
    share: float = 0.0
    started: float | None = None
    result: Mapping[str, Any] | None = None
    said: str = ""
    """What went wrong, in words."""
    folder: str = ""
    """Name of the report's folder, once there is one."""
    process: "asyncio.subprocess.Process | None" = field(default=None, repr=False)

    def shown(self) -> dict[str, Any]:
        """As data for the page."""
        left = None
        if self.started is not None and self.state == "running" and self.share > 0.02:
            gone = time.monotonic() - self.started
            left = gone * (1.0 - self.share) / self.share
        found = self.result or {}
        return {
            "job": self.number, "scenario": self.scenario.stem, "state": self.state,
            "share": round(self.share, 4), "left_s": left, "verdict": found.get("verdict"),
            "reason": found.get("reason", self.said), "folder": self.folder,
            "changed": dict(self.overrides),
        }  # fmt: skip


Tell = Callable[[Job], None]


class Jobs:
    """All rehearsals of one server; `tell` is called whenever one of them changed."""

    def __init__(self, reports: Path, tell: Tell, jobs: int) -> None:
        self.reports = reports
        self._tell = tell
        self._cores = jobs
        self._turn = asyncio.Semaphore(AT_ONCE)
        self._tasks: dict[int, asyncio.Task[None]] = {}
        self._given: set[Path] = set()
        self.all: dict[int, Job] = {}

    def start(self, page: str, scenario: Path, overrides: Mapping[str, str]) -> Job:
        """Start a rehearsal. Errors: InputError when a page has too many going."""
        going = [j for j in self.all.values() if j.page == page and j.state in _GOING]
        if len(going) >= MOST:
            rule = f"{MOST} rehearsals are going already; wait for one or stop one"
            raise InputError([Problem("rehearse", None, "", "", rule)])
        job = Job(len(self.all) + 1, page, scenario, dict(overrides))
        self.all[job.number] = job
        self._tasks[job.number] = asyncio.create_task(self._whole(job))
        return job

    async def stop(self, job: Job) -> None:
        """End a rehearsal and everything it started; its folder is not written."""
        if job.state in _GOING:
            job.state = "stopped"
            job.said = "stopped; nothing was written"
            task = self._tasks[job.number]
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
            self._tell(job)

    async def stop_page(self, page: str) -> None:
        """End every rehearsal of a page that has gone."""
        for job in [j for j in self.all.values() if j.page == page]:
            await self.stop(job)

    async def close(self) -> None:
        """End all of them."""
        await asyncio.gather(*(self.stop(job) for job in self.all.values()))

    async def _whole(self, job: Job) -> None:
        async with self._turn:
            job.state, job.started = "running", time.monotonic()
            self._tell(job)
            scratch = Path(tempfile.mkdtemp(prefix="simkit-bench-"))
            try:
                await self._run(job, scratch)
            except OSError as error:
                job.state, job.said = "failed", f"could not be started: {error.strerror}"
            finally:
                await _ended(job.process)
                shutil.rmtree(scratch, ignore_errors=True)
            self._tell(job)

    async def _run(self, job: Job, scratch: Path) -> None:
        folder = self._folder(job.scenario.stem)
        changes = [w for k, v in job.overrides.items() for w in ("--set", f"{k}={v}")]
        job.process = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-m", "simkit.live.child", "run", str(job.scenario), "--json",
            "--no-advice", "--out", str(folder), "--jobs", str(self._cores), *changes,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE, start_new_session=True, limit=1 << 24,
            env={**os.environ, "SIMKIT_PROGRESS": "lines", "TMPDIR": str(scratch)},
        )  # fmt: skip
        process = job.process
        assert process.stdout is not None
        out, last = await asyncio.gather(process.stdout.read(), self._follow(job))
        code = await process.wait()
        self._conclude(job, code, out, last, folder)

    async def _follow(self, job: Job) -> str:
        """Read the child's progress; its last other line."""
        assert job.process is not None
        assert job.process.stderr is not None
        last = ""
        async for line in job.process.stderr:
            step = _STEP.match(line)
            if step:
                job.share = max(job.share, float(step[1]))
                self._tell(job)
            elif line.strip():
                last = line.decode("utf-8", "replace").strip()
        return last

    def _conclude(self, job: Job, code: int, out: bytes, last: str, folder: Path) -> None:
        if code in (0, 1, 3):
            with contextlib.suppress(ValueError):
                found = json.loads(out)
                job.result = found if "verdict" in found else None
        if job.result is None:
            job.state = "failed"
            job.said = last or f"the rehearsal ended with code {code} and no word"
            return
        job.state, job.share = "done", 1.0
        for written in (folder, failure_folder(folder)):
            if (written / "index.html").is_file():
                job.folder = written.name
                self._index()
                break

    def _folder(self, name: str) -> Path:
        """The next free folder for a report; earlier ones stay, to be compared with."""
        self.reports.mkdir(parents=True, exist_ok=True)
        number = 1
        while (folder := self.reports / f"{name}-{number}").exists() or folder in self._given:
            number += 1
        self._given.add(folder)
        return folder

    def _index(self) -> None:
        from simkit.figures.table import titles
        from simkit.report.index import write_index

        write_index(self.reports, titles())


_GOING = ("waiting", "running")


async def _ended(process: "asyncio.subprocess.Process | None") -> None:
    """Make sure that a child and all it started are gone."""
    if process is None:
        return
    if process.stdin is not None:
        process.stdin.close()  # the child interrupts itself
    if process.returncode is None:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(process.wait(), PATIENCE)
    # Its group may outlive it: the engine's processes belong to it.
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
    if process.returncode is None:
        await process.wait()
