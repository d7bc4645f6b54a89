"""A headless Chromium, spoken to over a pipe: enough to look at a page as a reader would."""

import base64
import itertools
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any

PROGRAM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-extensions", "--disable-dev-shm-usage", "--remote-debugging-pipe",
)  # fmt: skip
PATIENCE = 30.0
"""How long an answer may take [s]; a loaded machine starts the browser slowly."""


class Page:
    """One page; every console message, exception and request of it is kept."""

    def __init__(self, width: int = 1280, height: int = 900) -> None:
        assert PROGRAM is not None
        self._home = tempfile.mkdtemp()
        to_browser, self._out = os.pipe()
        self._in, from_browser = os.pipe()
        # The browser reads commands from descriptor 3 and answers on 4.
        script = f'exec 3<&{to_browser} 4>&{from_browser}; exec "$@"'
        self._process = subprocess.Popen(
            ["bash", "-c", script, "bash", PROGRAM, *FLAGS, f"--user-data-dir={self._home}",
             f"--window-size={width},{height}", "about:blank"],
            pass_fds=(to_browser, from_browser), stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_browser)
        os.close(from_browser)
        self._rest, self._numbers = b"", itertools.count(1)
        self.events: list[dict[str, Any]] = []
        self._session = ""
        targets = self.call("Target.getTargets")["targetInfos"]
        target = next(t["targetId"] for t in targets if t["type"] == "page")
        attached = self.call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def __enter__(self) -> "Page":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        os.close(self._out)
        os.close(self._in)
        self._process.terminate()
        self._process.wait(PATIENCE)
        shutil.rmtree(self._home, ignore_errors=True)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send one command and wait for its answer."""
        number = next(self._numbers)
        message = {"id": number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + PATIENCE
        while (answer := self._next(end)).get("id") != number:
            self.events.append(answer)
        if "error" in answer:
            raise RuntimeError(f"{method}: {answer['error']}")
        result: dict[str, Any] = answer["result"]
        return result

    def _next(self, end: float) -> dict[str, Any]:
        while b"\0" not in self._rest:
            if not select.select([self._in], [], [], max(end - time.monotonic(), 0.0))[0]:
                raise TimeoutError("the browser does not answer")
            chunk = os.read(self._in, 1 << 20)
            if not chunk:
                raise RuntimeError("the browser has gone")
            self._rest += chunk
        text, self._rest = self._rest.split(b"\0", 1)
        message: dict[str, Any] = json.loads(text)
        return message

    def open(self, file: Path) -> None:
        """Open a file with the network cut off, and wait until it is loaded."""
        self.call("Network.emulateNetworkConditions", offline=True, latency=0,
                  downloadThroughput=-1, uploadThroughput=-1)  # fmt: skip
        self.call("Page.navigate", url=file.as_uri())
        self.wait("document.readyState === 'complete' && location.protocol === 'file:'")

    def visit(self, address: str) -> None:
        """Open an address of this machine, and wait until it is loaded."""
        self.call("Page.navigate", url=address)
        self.wait(f"document.readyState === 'complete' && location.href === '{address}'")

    def picture(self, width: int, scheme: str, whole: bool = True) -> bytes:
        """PNG of the page at a width [px] in a colour scheme, light or dark."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=900,
                  deviceScaleFactor=1, mobile=False)  # fmt: skip
        self.call("Emulation.setEmulatedMedia",
                  features=[{"name": "prefers-color-scheme", "value": scheme}])  # fmt: skip
        self.painted()
        size = self.call("Page.getLayoutMetrics")["cssContentSize"]
        height = size["height"] if whole else 900
        clip = {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=whole, clip=clip)
        self.call("Emulation.clearDeviceMetricsOverride")
        self.call("Emulation.setEmulatedMedia", features=[])
        return base64.b64decode(shot["data"])

    def ask(self, expression: str) -> Any:
        """Value of an expression in the page."""
        found = self.call("Runtime.evaluate", expression=expression, returnByValue=True,
                          awaitPromise=True)  # fmt: skip
        if "exceptionDetails" in found:
            raise RuntimeError(str(found["exceptionDetails"]))
        return found["result"].get("value")

    def wait(self, expression: str) -> None:
        """Wait until an expression in the page is true."""
        end = time.monotonic() + PATIENCE
        while not self.ask(expression):
            if time.monotonic() > end:
                raise TimeoutError(expression)
            time.sleep(0.05)

    def painted(self) -> None:
        """Wait until what stands in the page now has been painted."""
        self.ask("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def processor_time(self) -> float:
        """What the browser's processes have worked so far [s]; zero where /proc does not tell."""
        children: dict[int, list[int]] = {}
        ticks: dict[int, int] = {}
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue  # it has ended meanwhile
            children.setdefault(int(fields[1]), []).append(int(entry.name))
            ticks[int(entry.name)] = int(fields[11]) + int(fields[12])
        family = [self._process.pid]
        for number in family:
            family += children.get(number, [])
        return sum(ticks.get(number, 0) for number in family) / os.sysconf("SC_CLK_TCK")

    def key(self, key: str) -> None:
        """Press one key."""
        text = {"text": key} if len(key) == 1 else {}
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, **text)

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> None:
        """One mouse event."""
        self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)

    def troubles(self) -> list[str]:
        """Errors of the console, exceptions, refusals of the policy, requests beyond the file."""
        self.ask("1")
        out = []
        for event in self.events:
            method, params = event.get("method", ""), event.get("params", {})
            if method == "Runtime.exceptionThrown":
                out.append(str(params["exceptionDetails"]))
            if method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
                out.append(str(params["args"]))
            if method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
                out.append(params["entry"]["text"])
            if method == "Network.requestWillBeSent":
                url = params["request"]["url"]
                if not url.startswith(("file:", "data:", "about:")):
                    out.append(url)
        return out
