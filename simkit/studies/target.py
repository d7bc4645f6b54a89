"""Where a report may be written: a new folder, an empty one, or an older report's.

A report replaces what stood in its place as a whole. So that `--out .` or a slip of the keyboard
never replaces somebody's other work, anything else is refused before a run begins.
"""

from pathlib import Path

from simkit.errors import InputError, Problem

MARK = "result.json"
"""What every folder that a run left holds, and no other folder."""
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


def _refusal(folder: Path, mark: str) -> str:
    try:
        if folder.is_symlink():
            return "is a link; name the folder itself"
        if not folder.exists():
            return ""
        if not folder.is_dir():
            return "is a file where a folder is expected"
        if (folder / mark).is_file() or not any(folder.iterdir()):
            return ""
    except OSError as error:
        return f"cannot be used: {error.strerror}"
    return f"holds something else than a report (there is no {mark} in it); name a new folder"
