"""Which kind of file somebody gave, so that the wrong one is answered with the right command.

Nothing here decides whether a file is good: it is asked once a file was found wrong, or absent.
"""

import difflib
import re
import shlex
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from simkit.errors import InputError, Problem

SNIFFED = 50_000
"""Bytes that are looked at to tell what a neighbouring file is [1]."""
MOST_FILES = 200
SHOWN = 3
NEAR = 0.7
"""How like another a file's name must be to be taken for a slip of the pen [1]."""


@dataclass(frozen=True)
class Kind:
    """A kind of file that people write."""

    called: str
    """In a sentence, without its article."""
    model: str
    """Name of the class that it is read into."""
    marks: frozenset[str]
    """Names at its top that no other kind has there."""
    use: tuple[str, ...]
    """Commands that take it as FILE."""


def _kind(called: str, model: str, marks: str, *use: str) -> Kind:
    return Kind(called, model, frozenset(marks.split()), use)


KINDS = (
    _kind(
        "machine file", "MachineFile",
        "supply bridge switch drive transformer tank coil workpieces cooling limits probes "
        "bring_up fit",
        "simkit check FILE", "simkit run --all-faults FILE",
    ),
    _kind(
        "scenario", "Scenario",
        "instead start events tail ends aftermath precharge map goal",
        "simkit run FILE",
    ),
    _kind(
        "part file", "Mosfet", "on_resistance avalanche double_pulse", "simkit part FILE",
    ),
    _kind(
        "part file of an IGBT", "Igbt", "breakdown_voltage reach_voltage saturation turn_off",
        "simkit part FILE",
    ),
    _kind("readings file", "Readings", "captures note points traces", "simkit fit MACHINE FILE"),
    _kind("change file", "ChangeFile", "scenarios together changes", "simkit compare MACHINE FILE"),
)  # fmt: skip


def wanted_kind(model: type) -> Kind | None:
    """The kind that is read into a class; None where it is a file of no kind that people name."""
    return next((k for k in KINDS if k.model == model.__name__), None)


def kind_of(names: Collection[str]) -> Kind | None:
    """The kind whose marks are among a file's top names; None when there are none, or of two."""
    found = [kind for kind in KINDS if kind.marks & set(names)]
    return found[0] if len(found) == 1 else None


def mistaken(names: Collection[str], model: type, file: str) -> Problem | None:
    """What to say of a file that is sound as another kind than the one wanted; else None."""
    wanted, given = wanted_kind(model), kind_of(names)
    if wanted is None or given is None or given is wanted:
        return None
    rule = f"is a {given.called}, and a {wanted.called} is wanted here"
    beside = _such_as(_of_kind(Path(file).parent.glob("*.toml"), wanted))
    use = " or ".join(c.replace("FILE", shlex.quote(file)) for c in given.use)
    return Problem(file, None, "", "", rule + beside, f"for a {given.called}: {use}")


def folder_given(folder: Path, model: type | None) -> InputError:
    """What to say of a folder where a file is wanted: which files in it would do."""
    wanted = wanted_kind(model) if model else None
    if wanted is None:
        return InputError([Problem(str(folder), None, "", "", "is a folder, and a file is wanted")])
    rule = f"is a folder, and a {wanted.called} is wanted here"
    inside = [*_of_kind(folder.glob("*.toml"), wanted)]
    inside = inside or [*_of_kind(folder.glob("*/*.toml"), wanted)]
    hint = "" if inside else f"there is no {wanted.called} in it"
    return InputError([Problem(str(folder), None, "", "", rule + _such_as(inside), hint)])


def absent(path: Path, model: type | None) -> InputError:
    """What to say of a file that is not there: the nearest name in its folder."""
    rule = "there is no such file"
    if not path.parent.exists():
        rule += f", and no folder {path.parent}"
    return InputError([Problem(str(path), None, "", "", rule, instead_of(path, model))])


def instead_of(path: Path, model: type | None) -> str:
    """A hint at the files of a folder that would do for one that is not there; may be empty."""
    wanted = wanted_kind(model) if model else None
    sound = _of_kind(path.parent.glob("*.toml"), wanted) if wanted else []
    if wanted is None or wanted.model == "Readings":
        sound += _files(path.parent.glob("*.csv"), {".csv"})
    stems = {p.stem: p for p in sound}
    near = [s for s in stems if s.startswith(path.stem)]
    near = near or difflib.get_close_matches(path.stem, stems, 1, NEAR)
    if near:
        return f"did you mean {stems[near[0]]}?"
    return f"give a {wanted.called}{_such_as(sound)}" if wanted and sound else ""


def files_here(folder: Path, called: str) -> str:
    """Files of a kind in a folder, as words that follow its name; empty when there are none."""
    wanted = next(kind for kind in KINDS if kind.called == called)
    return _such_as(_of_kind(folder.glob("*.toml"), wanted))


def empty(file: str, model: type) -> Problem:
    """What to say of a file in which nothing is written."""
    wanted = wanted_kind(model)
    hint = "simkit new NAME writes a machine file and scenarios to begin with" if wanted else ""
    return Problem(file, None, "", "", "nothing is written in it", hint)


def _such_as(paths: list[Path]) -> str:
    more = f" and {len(paths) - SHOWN} more" if len(paths) > SHOWN else ""
    return f", such as {', '.join(map(str, paths[:SHOWN]))}{more}" if paths else ""


def _of_kind(paths: Iterable[Path], wanted: Kind) -> list[Path]:
    return [p for p in _files(paths, {".toml"}) if kind_of(_top_names(p)) is wanted]


def _files(paths: Iterable[Path], endings: Collection[str]) -> list[Path]:
    """The files among paths, no pipe or device; none where a folder may not be looked into."""
    found = []
    try:
        for count, path in enumerate(paths):
            if count >= MOST_FILES:
                break
            if path.suffix in endings and path.is_file():
                found.append(path)
    except OSError:
        return []
    return sorted(found)


def _top_names(path: Path) -> set[str]:
    """Names at the top of a file that may not even be TOML."""
    try:
        with path.open("rb") as file:
            text = file.read(SNIFFED).decode("utf-8", "replace")
    except OSError:
        return set()
    # Blanks, not any space: over empty lines, of which a file may have any number, the search for
    # the start of a line would begin anew at each.
    top = re.split(r"^[ \t]*\[", text, maxsplit=1, flags=re.MULTILINE)[0]
    tables = re.findall(r"^[ \t]*\[{1,2}[ \t]*([A-Za-z0-9_-]+)", text, re.MULTILINE)
    return {*re.findall(r"^[ \t]*([A-Za-z0-9_-]+)[ \t]*=", top, re.MULTILINE), *tables}
