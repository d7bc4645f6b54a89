"""Hostile files, as somebody might share them: each a small change of a whole machine or scenario.

What each may do is in `Hostile.ends`: be refused (exit 2, nothing written, nothing started), or
be read as the harmless text it is.
"""

import os
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

BROKEN = Path(__file__).parents[1] / "unit" / "broken"
MACHINE = (BROKEN / "machine.toml").read_text("utf-8")
SCENARIO = (BROKEN / "scenario.toml").read_text("utf-8")
SECRET = "outside/secret.toml"
"""Beside the folders that hostile files are shared in: nothing may read it."""

Ends = Literal["refused", "harmless"]
Make = Callable[[Path], None]


@dataclass(frozen=True)
class Hostile:
    """One hostile set of files."""

    name: str
    ends: Ends
    make: Make
    """Writes machine.toml and scenario.toml into a folder."""
    arguments: tuple[str, ...] = ("deck", "scenario.toml", "--no-engine")
    """Of the command that is given them."""


def changed(file: str, old: str, new: str | bytes) -> Make:
    """The whole files with one change in one of them."""

    def make(folder: Path) -> None:
        for name, text in (("machine.toml", MACHINE), ("scenario.toml", SCENARIO)):
            content = text.encode()
            if name == file:
                assert content.count(old.encode()) == 1, old
                fresh = new.encode("utf-8", "surrogatepass") if isinstance(new, str) else new
                content = content.replace(old.encode(), fresh)
            (folder / name).write_bytes(content)

    return make


def replaced(file: str, content: bytes) -> Make:
    """The whole files with one of them replaced."""

    def make(folder: Path) -> None:
        changed("", "", "")(folder)
        (folder / file).unlink()
        (folder / file).write_bytes(content)

    return make


def instead(target: Callable[[Path], None]) -> Make:
    """The whole files with something that is no plain file in the machine file's place."""

    def make(folder: Path) -> None:
        changed("", "", "")(folder)
        (folder / "machine.toml").unlink()
        target(folder / "machine.toml")

    return make


TITLE = 'title = "Chisel brazing heater, 2 kW, full bridge"'
NAME = 'name = "chisel-brazing"'
CAN = '"0.22 uF"'
SWITCH = 'name = "600 V, 40 A class MOSFET, planar, standard body diode"'
REFERENCE = 'machine = "machine.toml"'

# Text that would do harm where it reached a deck, a shell, a page or a template.
LINES = {
    "control block": r".control\nshell touch was-here\n.endc",
    "start-up comment": r"x\n*# shell touch was-here",
    "include": r"x\n.include /etc/passwd",
    "carriage return": r"x\r.control\rshell touch was-here",
    "vertical tab": r"x\u000b.control",
    "form feed": r"x\f.control",
    "next line": r"x\u0085.control",
    "line separator": r"x\u2028.control",
    "null byte": r"x\u0000.control",
    "escape sequence": r"x\u001b]0;owned\u0007",
    "right-to-left override": r"x\u202eelif",
    "zero-width space": r"x\u200by",
}
HARMLESS_LINES = {
    "control word": ".control shell touch was-here .endc",
    "backticks": "`touch was-here`",
    "dollar": "$(touch was-here) ${HOME}",
    "semicolon": "x; touch was-here; quit",
    "pipe": "|touch was-here",
    "script": "<script>fetch('/was-here')</script>",
    "broken attribute": "'><img src=x onerror=alert(1)>",
    "template": "{{ 7 * 7 }}{% include '/etc/passwd' %}{{ ''.__class__.__mro__ }}",
    "format": "%s%n {0.__class__} %(x)s",
    "terminal markup": "[bold red]x[/] [link=file:///etc/passwd]y[/link]",
}
NUMBERS = {
    "quantity with a new line": r'"0.22 uF\n.control"',
    "quantity with backticks": '"`touch was-here`"',
    "quantity with a dollar": '"$(touch was-here) uF"',
    "quantity with a semicolon": '"0.22 uF; quit"',
    "quantity in braces": '"{0.22} uF"',
    "quantity as a formula": '"0.11*2 uF"',
    "hexadecimal": '"0x16 uF"',
    "Arabic digits": '"\u0660.\u0662\u0662 uF"',
    "full-width digits": '"\uff10.\uff12\uff12 uF"',
    "Cyrillic look-alike in a unit": '"0.22 u\u0424"',
    "Greek capital in place of F": '"0.22 u\u03a6"',
    "overflow": '"1e999 F"',
    "infinite": "inf",
    "not a number": "nan",
    "negative zero": "-0.0",
    "five thousand digits": "1" * 5000,
    "fifty thousand digits in quotes": '"' + "9" * 50_000 + ' F"',
    "boolean": "true",
    "date": "1979-05-27",
    "list": "[" * 200 + "]" * 200,
}
REFERENCES = {
    "absolute path": '"/etc/hostname.toml"',
    "out of the folder": f'"../../{SECRET}"',
    "far out of the folder": '"../../../../../../etc/passwd.toml"',
    "address": '"https://example.org/machine.toml"',
    "pipe": '"|touch was-here;.toml"',
    "home": '"~/machine.toml"',
    "variable": '"$HOME/machine.toml"',
    "backslashes": r'"..\\machine.toml"',
    "null byte": r'"machine.toml\u0000.toml"',
    "very long": '"' + "a/" * 5000 + 'machine.toml"',
    "itself": '"scenario.toml"',
    "a folder": '"folder.toml"',
    "nothing": '""',
}
NAMES = {
    "path as a name": "../../was-here",
    "absolute path as a name": "/tmp/was-here",
    "dots as a name": "..",
    "option as a name": "--out",
    "very long name": "a" * 5000,
    "Cyrillic look-alike name": "chisel-br\u0430zing",
    "name with a space": "a b",
    "empty name": "",
}


def _texts() -> Iterator[Hostile]:
    for words, text in LINES.items():
        yield Hostile(
            f"title: {words}", "refused", changed("machine.toml", TITLE, f'title = "{text}"')
        )
    for words, text in HARMLESS_LINES.items():
        yield Hostile(
            f"title: {words}", "harmless", changed("machine.toml", TITLE, f'title = "{text}"')
        )
    yield Hostile(
        "switch name: control block",
        "refused",
        changed("machine.toml", SWITCH, f'name = "{LINES["control block"]}"'),
    )
    yield Hostile(
        "note: control block",
        "refused",
        changed("machine.toml", CAN, r'{ value = "0.22 uF", note = "a\n.control" }'),
    )
    yield Hostile(
        "source: script",
        "refused",
        changed("machine.toml", CAN, '{ value = "0.22 uF", source = "<script>" }'),
    )


def _numbers() -> Iterator[Hostile]:
    for words, text in NUMBERS.items():
        yield Hostile(words, "refused", changed("machine.toml", CAN, text))


def _names() -> Iterator[Hostile]:
    for words, text in NAMES.items():
        yield Hostile(words, "refused", changed("machine.toml", NAME, f'name = "{text}"'))
        yield Hostile(
            f"scenario: {words}",
            "refused",
            changed("scenario.toml", 'name = "tune-down"', f'name = "{text}"'),
        )
    piece = "[workpieces.cold-steel-weak-field]"
    for words, text in {
        "line end in a key": r'"a\n.control"',
        "path in a key": '"../was-here"',
        "dunder in a key": "__class__",
        "long key": "b" * 10_000,
    }.items():
        yield Hostile(words, "refused", changed("machine.toml", piece, f"[workpieces.{text}]"))


def _references() -> Iterator[Hostile]:
    for words, text in REFERENCES.items():

        def make(folder: Path, text: str = text) -> None:
            changed("scenario.toml", REFERENCE, f"machine = {text}")(folder)
            (folder / "folder.toml").mkdir()

        yield Hostile(f"machine reference: {words}", "refused", make)


def _documents() -> Iterator[Hostile]:
    content = {
        "deep lists": b"x = " + b"[" * 100_000 + b"]" * 100_000,
        "deep tables": b"x = " + b"{a=" * 5_000 + b"1" + b"}" * 5_000,
        "deep dotted key": b".".join([b"a"] * 20_000) + b" = 1",
        "deep header": b"[" + b".".join([b"a"] * 20_000) + b"]",
        "too large": b"# " + b"x" * 2_000_000,
        "many keys": b"".join(b"k%d = 1\n" % k for k in range(50_000)),
        "not UTF-8": b'title = "\xff\xfe"',
        "UTF-16": "title = 'x'".encode("utf-16"),
        "null bytes": b"\0" * 1000,
        "empty": b"",
        "a long line": b"x = '" + b"a" * 900_000 + b"'",
        "unclosed text": b'x = """' + b"a" * 100_000,
        "a zip archive": b"PK\x03\x04" + os.urandom(64),
        "a pickle": b"cos\nsystem\n(S'touch was-here'\ntR.",
    }
    for words, text in content.items():
        yield Hostile(f"machine file: {words}", "refused", replaced("machine.toml", text))
        yield Hostile(f"scenario file: {words}", "refused", replaced("scenario.toml", text))


def _places() -> Iterator[Hostile]:
    made: dict[str, Callable[[Path], None]] = {
        "a pipe": os.mkfifo,
        "a folder": Path.mkdir,
        "a link to an endless device": lambda p: p.symlink_to("/dev/zero"),
        "a link to itself": lambda p: p.symlink_to(p.name),
        "a link out of the folder": lambda p: p.symlink_to(Path("../..") / SECRET),
        "a link to nothing": lambda p: p.symlink_to("nowhere.toml"),
    }
    for words, make in made.items():
        yield Hostile(f"machine file: {words}", "refused", instead(make))


WHOLE = Hostile("the whole files", "harmless", changed("", "", ""))
ALL = (WHOLE, *_texts(), *_numbers(), *_names(), *_references(), *_documents(), *_places())

assert tomllib.loads(MACHINE)
assert tomllib.loads(SCENARIO)
