"""A running `simkit bench`, its processes, and questions to it as any program could ask."""

import http.client
import json
import os
import subprocess
import sys
import time
import uuid
from pathlib import Path
from types import TracebackType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
MARK = "SIMKIT_TEST_BENCH"


class Bench:
    """The server of one machine, in a process whose every descendant carries a mark."""

    def __init__(self, machine: Path, folder: Path, linger: float = 60.0) -> None:
        self.mark = uuid.uuid4().hex
        self.reports = folder / "reports"
        command = [sys.executable, "-m", "simkit", "bench", str(machine), "--out",
                   str(self.reports), "--linger", str(linger)]  # fmt: skip
        # A cache of its own: an answer kept from elsewhere would start no engine.
        environment = {**os.environ, MARK: self.mark, "PYTHONPATH": str(ROOT),
                       "SIMKIT_CACHE_DIR": str(folder / "cache")}  # fmt: skip
        self.process = subprocess.Popen(command, cwd=folder, env=environment, text=True,
                                        stdout=subprocess.PIPE, stderr=subprocess.PIPE)  # fmt: skip
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        self.port = int(self.address.split(":")[2].split("/")[0])
        self.token = self.address.split("/")[3]

    def __enter__(self) -> "Bench":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self.process.poll() is None:
            self.process.terminate()
        self.process.communicate(timeout=20)

    def ask(
        self, method: str, path: str, body: Any = None, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """Status, headers and body of one request; header names with _ for -."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        data = body
        if body is not None and not isinstance(body, bytes):
            data = json.dumps(body).encode()
            sent.setdefault("Content-Type", "application/json")
        connection.putrequest(method, path, skip_host="Host" in sent)
        for name, value in sent.items():
            connection.putheader(name, value)
        if data is not None:
            connection.putheader("Content-Length", str(len(data)))
        connection.endheaders(data)
        answer = connection.getresponse()
        found = {name.lower(): value for name, value in answer.getheaders()}
        text = answer.read()
        connection.close()
        return answer.status, found, text

    def post(self, path: str, body: Any) -> tuple[int, Any]:
        """Status and document of a question."""
        status, _, text = self.ask("POST", f"/{self.token}/{path}", body)
        return status, json.loads(text) if text.startswith((b"{", b"[")) else text

    def processes(self) -> dict[int, str]:
        """Every process with this bench's mark, and its command."""
        found = {}
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                if f"{MARK}={self.mark}".encode() in (entry / "environ").read_bytes():
                    words = (entry / "cmdline").read_bytes().split(b"\0")
                    found[int(entry.name)] = b" ".join(words).decode(errors="replace")[:200]
            except OSError:
                continue
        return found

    def gone_within(self, seconds: float) -> bool:
        """Whether no process of this bench is left within a time."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.process.poll() is not None and not self.processes():
                return True
            time.sleep(0.1)
        return False
