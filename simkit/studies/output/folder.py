"""A folder that appears whole or not at all, in the place of an older one that goes only then."""

import errno
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from simkit.errors import NotWritten

TRIES = 50
"""Times a folder is moved into its place while others move theirs there [1]."""


def whole_folder(folder: Path, fill: Callable[[Path], None]) -> Path:
    """Have a folder filled beside its place and moved there; what was there before goes last.

    Errors: NotWritten when the disk is full, read-only or gone, and whatever else `fill` raises;
    the older folder is then as it was.
    """
    folder = folder.absolute()
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        try:
            fill(fresh)
            fresh.chmod(0o755)
            swap(fresh, folder)
        except BaseException:
            shutil.rmtree(fresh, ignore_errors=True)
            raise
    except OSError as error:
        raise NotWritten(
            f"{folder}: the report could not be written: {error.strerror or error}; "
            "an older one is as it was."
        ) from error
    return folder


def report_folder(
    folder: Path, mark: str, result: Mapping[str, Any], page: Callable[[Path], None]
) -> Path:
    """A study's report: its document under the name that marks such folders, and what `page` adds.

    Errors: as `whole_folder`.
    """

    def fill(fresh: Path) -> None:
        (fresh / mark).write_text(dumped(result), encoding="utf-8")
        page(fresh)

    return whole_folder(folder, fill)


def dumped(result: Mapping[str, Any]) -> str:
    """A document as text, keys in the order written."""
    return json.dumps(result, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


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
