"""Files of numbers that lie beside a file of readings: read with a size limit, faults by line."""

from pathlib import Path

from simkit.errors import InputError, Problem
from simkit.parameters.reading import Missing, Unreadable, file_text

LARGEST = 40_000_000
"""Bytes a file of samples may have."""
MOST_SAMPLES = 1_000_000


def lines_of(path: Path) -> list[str]:
    """The lines of a file. Errors: InputError for one that is not there, a link, or too large."""
    try:
        if path.is_symlink():
            raise Missing("is a link")
        return file_text(path, LARGEST).split("\n")
    except Missing:
        raise wrong(path, None, "there is no such file beside the readings") from None
    except Unreadable as error:
        raise wrong(path, error.line, str(error)) from None


def wrong(path: Path, line: int | None, rule: str, value: str = "") -> InputError:
    """What is amiss with a file, on which of its lines."""
    return InputError([Problem(str(path), line, "", value, rule)])
