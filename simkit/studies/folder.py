"""A folder that appears whole or not at all, in the place of an older one that goes only then."""

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path


def whole_folder(folder: Path, fill: Callable[[Path], None]) -> Path:
    """Have a folder filled beside its place and moved there; what was there before goes last.

    Errors: whatever `fill` raises; the older folder is then as it was.
    """
    folder = folder.absolute()
    folder.parent.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        fill(fresh)
        fresh.chmod(0o755)
        swap(fresh, folder)
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    return folder


def swap(fresh: Path, folder: Path) -> None:
    """Put a finished folder in the place of an older one, which goes only then."""
    if not folder.exists():
        os.replace(fresh, folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    os.replace(folder, old / folder.name)
    try:
        os.replace(fresh, folder)
    except OSError:
        os.replace(old / folder.name, folder)
        raise
    shutil.rmtree(old, ignore_errors=True)
