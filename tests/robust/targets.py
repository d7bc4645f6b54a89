"""What may be fed any bytes: every loader, the unit parser, the engine's lines, kept entries.

Each target takes bytes and returns; what it raises is a finding. Allowed ends are the documented
ones: a value that keeps its promises, or a refusal that names file and rule.
"""

import hashlib
import math
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from simkit.errors import InputError
from simkit.parameters.change import load_changes
from simkit.parameters.load import load_file
from simkit.parameters.part import Mosfet
from simkit.parameters.read_readings import load_readings
from simkit.parameters.scenario import Scenario
from simkit.parameters.scope_csv import read_trace
from simkit.parameters.written import MachineFile
from simkit.run.cache import Store
from simkit.run.guard import DeckRefused, inspect
from simkit.run.messages import classify
from simkit.studies.inputs.loading import load_machine
from simkit.units import UNITS, UnitError, parse_quantity

SHIPPED = Path(__file__).resolve().parents[2] / "scenarios"
DECKS = Path(__file__).resolve().parents[1] / "decks" / "golden"
UNIT_LIST = tuple(sorted(UNITS))
KEY = "0" * 64


@contextmanager
def file_of(name: str, content: bytes) -> Iterator[Path]:
    """A file with some content in a folder of its own."""
    folder = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    try:
        (folder / name).write_bytes(content)
        yield folder / name
    finally:
        shutil.rmtree(folder)


def refused_in_words(error: InputError) -> None:
    """A refusal names a file and a rule, on lines a person can read."""
    assert error.problems
    for problem in error.problems:
        assert problem.file
        assert problem.rule
        text = str(problem)
        assert len(text) < 2000, text[:200]
        assert text.isprintable(), repr(text[:200])


def loader(name: str, load: Callable[[Path], object]) -> Callable[[bytes], None]:
    """A target that loads a file of some name."""

    def target(content: bytes) -> None:
        with file_of(name, content) as path:
            try:
                load(path)
            except InputError as error:
                refused_in_words(error)

    return target


def quantity(content: bytes) -> None:
    """The first byte chooses the unit, the rest is the text."""
    unit = UNIT_LIST[content[0] % len(UNIT_LIST)] if content else "V"
    text = content[1:].decode("utf-8", "replace")
    try:
        value = parse_quantity(text, unit)
    except UnitError:
        return
    assert math.isfinite(value)
    assert any(c.isdigit() for c in text), "a number out of nothing"


def engine_line(content: bytes) -> None:
    """Any line has a kind; one that begins with "Error:" is a failure whatever follows."""
    line = content.decode("utf-8", "replace")
    assert classify(line) in ("failure", "warning", "note")
    assert classify(f"stderr Error: {line}") == "failure"


def deck(content: bytes) -> None:
    """What passes the guard has only printable ASCII and no command the engine would obey."""
    text = content.decode("utf-8", "replace")
    try:
        inspect(text)
    except DeckRefused:
        return
    assert all(c == "\n" or " " <= c <= "~" for c in text)
    lowered = [line.strip().lower() for line in text.split("\n")]
    bad = (".control", ".include", ".inc ", ".lib", "*#", "*ng_script", "shell")
    assert not any(line.startswith(bad) for line in lowered)


def kept_entry(content: bytes) -> None:
    """Bytes in an entry's place: never an exception, never anything but what was kept."""
    folder = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    try:
        store = Store(folder)
        store.put(KEY, {"a": 1})
        path = next(folder.rglob("*.zip"))
        whole = path.read_bytes()
        path.write_bytes(content)
        entry = store.get(KEY)
        assert (entry is not None) == (content == whole)
    finally:
        shutil.rmtree(folder)


def shared_entry(content: bytes) -> None:
    """An entry under the true digest of its bytes, as somebody else might hand it over."""
    folder = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    try:
        place = folder / KEY[:2]
        place.mkdir()
        (place / f"{KEY}.{hashlib.sha256(content).hexdigest()}.zip").write_bytes(content)
        entry = Store(folder).get(KEY)
        if entry is not None:
            assert all(".." not in Path(name).parts for name in entry.files)
            assert not any(values.dtype.hasobject for values in entry.arrays.values())
    finally:
        shutil.rmtree(folder)


def whole_entry() -> bytes:
    """The bytes of an entry with facts, waveforms and a file."""
    folder = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    try:
        Store(folder).put(KEY, {"a": [1, None]}, {"v": np.arange(5.0)}, {"page.html": b"<p>"})
        return next(folder.rglob("*.zip")).read_bytes()
    finally:
        shutil.rmtree(folder)


TARGETS: dict[str, Callable[[bytes], None]] = {
    "machine": loader("machine.toml", lambda path: load_file(path, MachineFile)),
    "machine-built": loader("machine.toml", load_machine),
    "scenario": loader("scenario.toml", lambda path: load_file(path, Scenario)),
    "part": loader("part.toml", lambda path: load_file(path, Mosfet)),
    "change": loader("change.toml", load_changes),
    "readings": loader("readings.toml", load_readings),
    "readings-csv": loader("readings.csv", load_readings),
    "trace": loader("trace.csv", read_trace),
    "quantity": quantity,
    "engine-line": engine_line,
    "deck": deck,
    "kept-entry": kept_entry,
    "shared-entry": shared_entry,
}


def seeds(name: str) -> list[bytes]:
    """Whole examples of what a target reads, to start from."""
    found = {
        "machine": list(SHIPPED.glob("*/machine.toml")),
        "machine-built": [SHIPPED / "chisel-brazing/machine.toml"],
        "scenario": [p for p in SHIPPED.glob("chisel-brazing/*.toml") if p.name != "machine.toml"],
        "part": list(SHIPPED.glob("parts/*.toml")),
        "change": list(SHIPPED.glob("*/changes/*.toml")),
        "deck": list(DECKS.glob("*.cir")),
    }.get(name, [])
    if name in ("kept-entry", "shared-entry"):
        return [whole_entry()]
    return [path.read_bytes() for path in sorted(found)] or SMALL.get(name, [b""])


SMALL = {
    "readings": [b'[[points]]\nsupply_voltage = "30 V"\nfrequency = "80 kHz"\n'],
    "readings-csv": [b"load,supply_voltage,frequency,reading,value,uncertainty\n"
                     b"empty,30 V,80 kHz,supply_current,0.4 A,5 %\n"],
    "trace": [b"time,volts\n" + b"".join(b"%de-7,%d\n" % (k, k % 7) for k in range(40))],
    "quantity": [b"\x004.7 uF", b"\x054k7", b"\x090.6 us", b"\x0212 %"],
    "engine-line": [b"Warning: vto", b"doAnalyses: TRAN:  Timestep too small"],
}  # fmt: skip
