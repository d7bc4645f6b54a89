"""A part of the table of all situations by its command, in a process that can be killed.

Called as `python -m tests.engine.table_part OUT`; each rehearsal leaves a line in the file that
TABLE_LOG names when it begins. The cache lies where SIMKIT_CACHE_DIR says.
"""

import os
import signal
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from simkit import cli
from simkit.studies.all_faults import study as all_faults
from tests.machines import DEMO

NAMES = (
    "gate-resistor-small",
    "driver-supply-low",
    "half-turns",
    "melt-charge",
    "soak-low-voltage",
)
"""Situations that take the engine a second or two."""
REHEARSE = all_faults.rehearse_case


def noted(job: Mapping[str, Any]) -> dict[str, Any]:
    """A situation rehearsed, with its name in the log."""
    with Path(os.environ["TABLE_LOG"]).open("a") as log:
        log.write(f"{job['scenario']['name']}\n")
    return REHEARSE(job)


def main(out: Path) -> int:
    """The table of a few situations; the command's exit code."""
    # A shell starts what it puts into the background with Ctrl-C ignored, and that is inherited.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    every = all_faults.cases
    all_faults.SITUATIONS = tuple(s for s in all_faults.SITUATIONS if s.name in NAMES)
    all_faults.cases = lambda machine: {n: c for n, c in every(machine).items() if n in NAMES}
    all_faults.rehearse_case = noted
    machine = DEMO / "machine.toml"
    return cli.run(["run", "--all-faults", str(machine), "--out", str(out), "--jobs", "1"])


if __name__ == "__main__":
    # By its own name, which a worker can import; this module is called __main__ here.
    from tests.engine import table_part

    sys.exit(table_part.main(Path(sys.argv[1])))
