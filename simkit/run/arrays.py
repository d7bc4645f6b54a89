"""Stored arrays, read only when they are what their file's size says they are.

The header of an `.npy` file may claim any shape, and a zip member may unpack to any size: both are
held against what is really there before memory is taken. Objects are never unpacked.
"""

import io
import math
import os
import zipfile
from pathlib import Path
from tokenize import TokenError
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

KINDS = "biufcU"
"""Kinds of values an array may hold: numbers and text, as numpy's letters."""
LARGEST = 4_000_000_000
"""Most a packed file may unpack to [byte]: the memory one engine run may use."""


def read_array(file: BinaryIO, size: int) -> NDArray[Any]:
    """The array in an open `.npy` file of so many bytes.

    Errors: ValueError when it is none, holds anything but numbers and text, or is not as long as
    its header says.
    """
    begin = file.tell()
    shape, dtype = _header(file)
    if dtype.kind not in KINDS or dtype.hasobject:
        raise ValueError(f"holds {dtype}, not numbers or text")
    wanted = math.prod(shape) * dtype.itemsize
    there = size - (file.tell() - begin)
    if min(shape, default=0) < 0 or wanted != there:
        raise ValueError(f"claims {wanted} bytes of values and holds {there}")
    file.seek(begin)
    return np.lib.format.read_array(file, allow_pickle=False)


def _header(file: BinaryIO) -> tuple[tuple[int, ...], np.dtype[Any]]:
    version = np.lib.format.read_magic(file)
    reader = np.lib.format.read_array_header_2_0
    if version == (1, 0):
        reader = np.lib.format.read_array_header_1_0
    try:
        shape, _, dtype = reader(file)
    except (SyntaxError, TokenError, TypeError, RuntimeError, MemoryError) as error:
        # The library reads the header as a Python literal, once more leniently if need be.
        raise ValueError(f"its header cannot be read: {error}") from error
    return shape, dtype


def load_array(path: Path) -> NDArray[Any]:
    """The array in a file.

    Errors: OSError; ValueError as `read_array`.
    """
    with path.open("rb") as file:
        return read_array(file, os.fstat(file.fileno()).st_size)


def load_packed(path: Path, most: int = LARGEST) -> dict[str, NDArray[Any]]:
    """All arrays of an `.npz` file that unpack to so many bytes at most.

    Errors: OSError; zipfile.BadZipFile; ValueError as `read_array`, or when it would be more.
    """
    with zipfile.ZipFile(path) as box:
        check_size(box, most)
        return {name.removesuffix(".npy"): member_array(box.read(name)) for name in box.namelist()}


def member_array(content: bytes) -> NDArray[Any]:
    """The array in the bytes of an `.npy` file.

    Errors: ValueError as `read_array`.
    """
    return read_array(io.BytesIO(content), len(content))


def check_size(box: zipfile.ZipFile, most: int) -> None:
    """Refuse an archive that unpacks to more than so many bytes in all.

    The directory's own figures are enough: a member is never unpacked beyond the size it states.

    Errors: ValueError.
    """
    total = sum(member.file_size for member in box.infolist())
    if total > most:
        raise ValueError(f"unpacks to {total} bytes, more than {most}")
