"""Where a report may be written: a new folder, an empty one, or an older report's.

A report replaces what stood in its place as a whole. So that `--out .` or a slip of the keyboard
never replaces somebody's other work, anything else is refused before a run begins.
"""

import os
from pathlib import Path

from simkit.errors import InputError, Problem

MARK = "result.json"
"""What every folder that a run left holds, and no other folder."""
LOOKED_AT = 2_000_000
"""How much of a file is read for its mark [byte]; more than a machine file may hold."""
FAILED = "-no-verdict"
"""Follows the name of a report's folder where a run that came to no end is told of."""


def failure_folder(folder: Path) -> Path:
    """Where a failed run is told of: beside the report, which stays as it is."""
    folder = folder.absolute()
    return folder.with_name(folder.name + FAILED)


def check_target(folder: Path, option: str = "--out", mark: str = MARK) -> None:
    """Refuse a place that holds something other than a report, which a file `mark` tells.

    Errors: InputError naming the option, the folder and the rule.
    """
    rule = _refusal(folder, mark)
    if rule:
        raise InputError([Problem(option, None, "", str(folder), rule)])


def check_file(file: Path, inputs: tuple[Path, ...], mark: str, option: str = "-o") -> None:
    """Refuse to overwrite what is read, and any file that does not hold the mark of an earlier one.

    Errors: InputError naming the option, the file and the rule.
    """
    try:
        rule = _file_refusal(file, inputs, mark)
    except OSError as error:
        rule = f"cannot be used: {error.strerror}"
    if rule:
        raise InputError([Problem(option, None, "", str(file), rule)])


def _file_refusal(file: Path, inputs: tuple[Path, ...], mark: str) -> str:
    if file.is_symlink():
        return "is a link; name the file itself"
    if not file.exists():
        return ""
    if not file.is_file():
        return "is a folder or a device where a file is expected"
    if any(path.exists() and file.samefile(path) for path in inputs):
        return "is a file this command reads; name another"
    with file.open("rb") as there:
        if mark.encode() not in there.read(LOOKED_AT):
            return "is there already and is left as it is: it is none this command wrote"
    return ""


def _refusal(folder: Path, mark: str) -> str:
    try:
        if folder.is_symlink():
            return "is a link; name the folder itself"
        if folder.exists() and not folder.is_dir():
            return "is a file where a folder is expected"
        if folder.exists() and not (folder / mark).is_file() and any(folder.iterdir()):
            return f"holds something else than a report (it has no {mark}); name a new folder"
        return _unwritable(folder.absolute().parent)
    except OSError as error:
        return f"cannot be used: {error.strerror}"


def _unwritable(parent: Path) -> str:
    """Why nothing can be put into a folder that may still have to be made."""
    while not parent.exists():
        parent = parent.parent
    if not parent.is_dir():
        return f"lies below {parent}, which is a file"
    if os.access(parent, os.W_OK | os.X_OK):
        return ""
    why = "Read-only file system" if os.statvfs(parent).f_flag & os.ST_RDONLY else "no permission"
    return f"cannot be written: {why}"
