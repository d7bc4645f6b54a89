"""An engine's process ends with its parent, even one that was killed outright."""

import os
import signal
import subprocess
import sys
from pathlib import Path

from tests.unit.test_pool import ROOT, in_session, wait_for

# An hour of a switched RC: minutes of work for any engine.
LONG = """
from simkit.run.process import NgspiceEngine
deck = ("* long\\nv1 in 0 pulse(0 1 0 1e-9 1e-9 5e-6 1e-5)\\nr1 in out 1e3\\nc1 out 0 1e-9 ic=0\\n"
        ".save v(out)\\n.tran 1e-7 3600 0 1e-7 uic\\n.end\\n")
NgspiceEngine().run(deck, ("v(out)",), 3600.0)
"""


def working(session: int) -> list[int]:
    """Processes of a session that have used more than 1.5 s of CPU: more than any import."""
    ticks = os.sysconf("SC_CLK_TCK")
    found = []
    for pid in in_session(session):
        try:
            text = Path(f"/proc/{pid}/stat").read_text()
        except OSError:
            continue
        fields = text.rpartition(")")[2].split()
        if (int(fields[11]) + int(fields[12])) / ticks > 1.5:
            found.append(pid)
    return found


def run_folders(folder: Path) -> list[str]:
    return [p.name for p in folder.glob("simkit-run-*")]


def test_a_running_engine_ends_with_its_killed_parent(tmp_path: Path) -> None:
    environment = {**os.environ, "TMPDIR": str(tmp_path)}
    parent = subprocess.Popen(
        [sys.executable, "-c", LONG], cwd=ROOT, env=environment, start_new_session=True
    )
    try:
        wait_for(lambda: working(parent.pid))
        assert len(in_session(parent.pid)) >= 3
        assert run_folders(tmp_path)
    finally:
        os.kill(parent.pid, signal.SIGKILL)
        parent.wait()
    wait_for(lambda: not in_session(parent.pid), 20.0)
    assert run_folders(tmp_path) == [], "the private folder went too"
