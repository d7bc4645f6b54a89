"""Hostile files that come in by other arguments: readings, traces, change files, part files.

Each is refused before anything is started; each name says by which argument the file came.
"""

import os
import pickle
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.robust.hostile import LINES, MACHINE, SCENARIO, SECRET, Hostile, Make

PART = (Path(__file__).parents[2] / "scenarios/parts/class-600v-planar.toml").read_text("utf-8")
HEAD = "load,supply_voltage,frequency,reading,value,uncertainty\n"
ROW = "empty,12 V,,resonance,79.1 kHz,0.2 kHz\n"
TRACE = "time,volts\n" + "".join(f"{k * 1e-6},{0.9**k}\n" for k in range(40))
READINGS = """[[traces]]
kind = "ring-down"
file = FILE
load = "empty"
supply_voltage = "12 V"
frequency_uncertainty = "0.5 %"
"""
CHANGE = 'title = "t"\n[changes.a]\ntitle = "a"\n'
Content = str | bytes | Callable[[Path], object]

BYTES: dict[str, Content] = {
    "not UTF-8": b"\xff\xfe\x00 = 1",
    "UTF-16": HEAD.encode("utf-16"),
    "null bytes": b"\0" * 1000,
    "empty": b"",
    "a zip archive": b"PK\x03\x04" + bytes(64),
    "a gzip bomb's head": b"\x1f\x8b\x08" + bytes(64),
    "a pickle": pickle.dumps(print),
    "a pipe": os.mkfifo,
    "a folder": Path.mkdir,
    "a link to an endless device": lambda p: p.symlink_to("/dev/zero"),
    "a link to itself": lambda p: p.symlink_to(p.name),
}
"""What no text file is, in the place of one. A file that a person names on the command line is the
person's own choice, wherever it links to; what such a file names is not."""
OUTSIDE = {
    "absolute": "/etc/hostname.toml",
    "out of the folder": f"../../{SECRET}",
    "far out of the folder": "../../../../../../etc/passwd.toml",
    "address": "https://example.org/x.toml",
    "pipe": "|touch was-here;.toml",
    "home": "~/x.toml",
    "variable": "$HOME/x.toml",
    "a folder": "folder.toml",
    "a link out": "link.toml",
    "a named pipe": "pipe.toml",
    "nothing there": "nowhere.toml",
}


def files(**content: Content) -> Make:
    """The whole machine and scenario, and files by name; "__" stands for the point."""

    def make(folder: Path) -> None:
        (folder / "machine.toml").write_text(MACHINE, "utf-8")
        (folder / "scenario.toml").write_text(SCENARIO, "utf-8")
        for name, text in content.items():
            path = folder / name.replace("__", ".")
            if callable(text):
                text(path)
            else:
                path.write_bytes(text.encode("utf-8", "surrogatepass") if isinstance(text, str)
                                 else text)  # fmt: skip

    return make


def _csv() -> Iterator[Hostile]:
    cells = {
        "formula as a load": "=cmd|'/c touch was-here'!A0,12 V,,resonance,79 kHz,1 kHz\n",
        "line end inside quotes": '"em\npty",12 V,,resonance,79 kHz,1 kHz\n',
        "script as a load": "<script>was-here</script>,12 V,,resonance,79 kHz,1 kHz\n",
        "script as a reading": "empty,12 V,,<script>x</script>,79 kHz,1 kHz\n",
        "escape sequence": "em\x1b]0;owned\x07pty,12 V,,resonance,79 kHz,1 kHz\n",
        "right-to-left override": "em\u202epty,12 V,,resonance,79 kHz,1 kHz\n",
        "null byte": "em\0pty,12 V,,resonance,79 kHz,1 kHz\n",
        "path as a load": "../../was-here,12 V,,resonance,79 kHz,1 kHz\n",
        "formula as a value": "empty,12 V,,resonance,=1+1,1 kHz\n",
        "shell as a value": "empty,12 V,,resonance,$(touch was-here),1 kHz\n",
        "not a number": "empty,12 V,,resonance,nan,1 kHz\n",
        "infinite": "empty,12 V,,resonance,inf,1 kHz\n",
        "overflow": "empty,12 V,,resonance,1e999 Hz,1 kHz\n",
        "full-width digits": "empty,12 V,,resonance,\uff17\uff19 kHz,1 kHz\n",
        "too many columns": "empty," * 100_000 + "\n",
        "endless cell": '"' + "a" * 200_000 + "\n",
        "unclosed quote": '"empty,12 V,,resonance,79 kHz,1 kHz\n',
        "too many lines": ROW * 5000,
    }
    run = ("fit", "machine.toml", "readings.csv")
    for words, text in cells.items():
        yield _refused(f"READINGS csv: {words}", run, files(readings__csv=HEAD + text))
    for words, content in BYTES.items():
        yield _refused(f"READINGS csv: {words}", run, files(readings__csv=content))


def _traces() -> Iterator[Hostile]:
    samples: dict[str, Content] = {
        "script": "time,volts\n<script>was-here</script>\n" * 20,
        "not a number": TRACE.replace("0.9", "nan"),
        "infinite": TRACE + "inf,1\n",
        "time that runs back": TRACE + "0,1\n",
        "too few": "0,1\n1,2\n",
        "escape sequence": TRACE + "\x1b]0;owned\x07\n",
        "a long line": TRACE + "1," * 500_000 + "\n",
        "many digits": TRACE + "1" * 100_000 + ",x\n",
        "formula": TRACE + "=1+1,2\n",
    }
    run = ("fit", "machine.toml", "readings.toml")
    named = READINGS.replace("FILE", '"ring.csv"')
    for words, content in (samples | BYTES).items():
        make = files(readings__toml=named, ring__csv=content)
        yield _refused(f"READINGS, its trace: {words}", run, make)
    around: dict[str, Content] = {
        "folder__csv": Path.mkdir, "pipe__csv": os.mkfifo,
        "link__csv": lambda p: p.symlink_to(Path("../..") / SECRET),
    }  # fmt: skip
    for words, path in OUTSIDE.items():
        text = READINGS.replace("FILE", f'"{path.replace(".toml", ".csv")}"')
        yield _refused(
            f"READINGS, its trace's path: {words}", run, files(readings__toml=text, **around)
        )


def _changes() -> Iterator[Hostile]:
    run = ("compare", "machine.toml", "change.toml")
    around: dict[str, Content] = {
        "folder__toml": Path.mkdir, "pipe__toml": os.mkfifo,
        "link__toml": lambda p: p.symlink_to(Path("../..") / SECRET),
    }  # fmt: skip
    for words, path in OUTSIDE.items():
        switch = CHANGE + f'machine.switch = "{path}"\n'
        yield _refused(f"CHANGE, its part: {words}", run, files(change__toml=switch, **around))
        text = f'scenarios = ["{path}"]\n' + CHANGE + "machine.tank.cans = 19\n"
        yield _refused(f"CHANGE, its scenario: {words}", run, files(change__toml=text, **around))
    for words, text in LINES.items():
        title = CHANGE.replace('"a"', f'"{text}"') + "machine.tank.cans = 19\n"
        yield _refused(f"CHANGE, a title: {words}", run, files(change__toml=title))
    tables = {
        "path as a name": CHANGE.replace("changes.a", 'changes."../../was-here"'),
        "path as the machine's name": CHANGE + 'machine.name = "../../was-here"\n',
        "shell as a value": CHANGE + 'machine.tank.esr = "`touch was-here`"\n',
        "dunder as a key": CHANGE + "machine.__class__ = 1\n",
        "dotted key in quotes": CHANGE + 'machine."tank.cans\\n.control" = 1\n',
        "deep table": CHANGE + "machine." + "a." * 5000 + "b = 1\n",
        "deep list": CHANGE + "machine.x = " + "[" * 5000 + "]" * 5000 + "\n",
        "not a number": CHANGE + "machine.drive.dead_time = nan\n",
    }
    for words, text in tables.items():
        yield _refused(f"CHANGE: {words}", run, files(change__toml=text))
    for words, content in BYTES.items():
        yield _refused(f"CHANGE: {words}", run, files(change__toml=content))


def _parts() -> Iterator[Hostile]:
    run = ("part", "part.toml")
    for words, text in LINES.items():
        fresh = re.sub("^name = .*$", lambda _, t=text: f'name = "{t}"', PART, flags=re.M)  # type: ignore[misc]  # a default binds
        assert fresh != PART
        yield _refused(f"PART_FILE, its name: {words}", run, files(part__toml=fresh))
    for words, content in BYTES.items():
        yield _refused(f"PART_FILE: {words}", run, files(part__toml=content))


def _refused(name: str, arguments: tuple[str, ...], make: Make) -> Hostile:
    return Hostile(name, "refused", make, arguments)


MORE = (*_csv(), *_traces(), *_changes(), *_parts())
