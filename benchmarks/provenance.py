"""Which code a recorded figure is of."""

from __future__ import annotations

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def commit() -> str:
    """Of the code as it stands, but for what is not committed; "unknown" outside a clone."""
    told = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True,
                          text=True, check=False)  # fmt: skip
    return told.stdout.strip() or "unknown"
