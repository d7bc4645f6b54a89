"""A folder that appears whole or not at all, in the place of an older one that goes only then."""

import errno
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

TRIES = 50
"""Times a folder is moved into its place while others move theirs there [1]."""


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
    """Put a finished folder in the place of an older one, which goes only then.

    Another process may be doing the same: the place is then taken or empty again at every step,
    so that it is tried again; the last to finish stands there in the end.
    """
    for _ in range(TRIES - 1):
        try:
            return _swap(fresh, folder)
        except OSError as error:
            if error.errno not in (errno.ENOTEMPTY, errno.EEXIST, errno.ENOENT):
                raise
    _swap(fresh, folder)


def _swap(fresh: Path, folder: Path) -> None:
    if not folder.exists():
        os.replace(fresh, folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    try:
        os.replace(folder, old / folder.name)
        try:
            os.replace(fresh, folder)
        except OSError:
            if not folder.exists():
                os.replace(old / folder.name, folder)
            raise
    finally:
        shutil.rmtree(old, ignore_errors=True)
