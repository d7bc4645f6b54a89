"""Files that a file names: where they may lie.

Machine, scenario and part files are passed around. A file may name others in its own folder, in
folders below it, or beside its folder (`../parts/class.toml`), and no further: what a stranger's
file can reach is what came with it. Links are followed before the rule is applied.
"""

from pathlib import Path


def named_file(owner: Path, text: str) -> Path:
    """Path of the file that `owner` names by a relative path.

    Errors: ValueError with the rule that the path breaks.
    """
    if Path(text).is_absolute():
        raise ValueError("must be a path relative to this file")
    path = owner.parent / text
    try:
        real, reach = path.resolve(), owner.resolve().parent.parent
    except (OSError, RuntimeError) as error:  # a loop of links
        raise ValueError(f"cannot be followed: {error}") from None
    if not real.is_relative_to(reach):
        raise ValueError("leads out of the folder around this file's own folder")
    try:
        if not path.exists():
            raise ValueError("there is no such file")
        if not path.is_file():
            raise ValueError("is not a file")
    except OSError as error:
        raise ValueError(f"cannot be read: {error.strerror}") from None
    return path
