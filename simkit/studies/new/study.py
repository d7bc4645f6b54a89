"""`simkit new`: a folder with a commented machine file and first scenarios.

The starting values are those of the shipped demo machine, every one of them labelled as
estimated, so that nothing passes for a measurement that is none. The few that decide are asked.
"""

import json
import os
import re
import shutil
import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from simkit.data import scenario_folder
from simkit.errors import InputError, Problem
from simkit.parameters.bridge import FORMS
from simkit.parameters.fields import Quantity, quantities
from simkit.parameters.schema import MODELS, json_schema
from simkit.parameters.written import MachineFile
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.new.described import Design
from simkit.studies.new.starter import commented
from simkit.units import format_quantity

START = "chisel-brazing"
HALF = "copper-casting"
PIECE = "workpiece"
MODEL_PIECE = "steel-full-power"
WORKED = "worked out by simkit new"
GUESSED = "guessed.txt"
TOLERANCES = {
    "supply.voltage": "10 %", "coil.inductance": "5 %", "coil.resistance": "15 %",
    f"workpieces.{PIECE}.inductance": "8 %", f"workpieces.{PIECE}.resistance": "25 %",
    "tank.can_capacitance": "5 %", "drive.dead_time": "10 %",
    "transformer.leakage_inductance": "20 %",
}  # fmt: skip
"""Half-widths at 95 % that the file states; common practice, no source."""
NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
LONGEST = 60
ASSUMED = "assumed by simkit new"
TOLD = "as told to simkit new"
SPREAD = (0.75, 1.6)
"""Drive's range around the resonances, where nobody says otherwise [1]."""
HEAD = """\
#:schema ./machine.schema.json
# {name}: one induction heater, written by `simkit new`.
#
# EVERY VALUE HERE IS AN ESTIMATE UNTIL YOU REPLACE IT. The notes say which were asked for; all
# others are starting values of a 2 kW full bridge at 80 kHz. Write what your data sheets and your
# meters say, and change `source` beside it: {sources}.
# `simkit check machine.toml` shows first figures, `simkit explain KEY` says what a key is.
"""
SCENARIO_HEAD = """\
#:schema ./scenario.schema.json
# {about}
# Run it with `simkit run {file}`.
"""


@dataclass(frozen=True)
class Question:
    """One value that is asked for."""

    key: str
    text: str
    default: str
    quantity: Quantity | None
    choices: tuple[str, ...] = ()


ASKED = (
    ("bridge.topology", "Bridge"),
    ("supply.voltage", "DC link voltage (rectified mains peak, or bench supply)"),
    ("transformer.primary_turns", "Primary turns of the matching transformer"),
    ("coil.inductance", "Inductance of the empty coil with its leads"),
    ("coil.resistance", "AC resistance of the empty coil"),
    (f"workpieces.{PIECE}.inductance", "Inductance of the coil with the workpiece in it"),
    (f"workpieces.{PIECE}.resistance", "AC resistance of the coil with the workpiece in it"),
    ("tank.can_capacitance", "Capacitance of one tank capacitor"),
    ("tank.cans", "Tank capacitors in parallel"),
    ("drive.dead_time", "Dead time between the gate commands"),
    ("limits.supply_current", "Average supply current allowed (fuse, wiring)"),
)
"""Keys that are asked, with the words of the question."""


@dataclass(frozen=True)
class Written:
    """What was written."""

    folder: Path
    files: tuple[str, ...]
    values: tuple[tuple[str, str, bool], ...]
    """Key, value, and whether it was told rather than assumed."""
    worked_out: tuple[tuple[str, str, str], ...] = ()
    """Key, value, and how it follows from what was told."""
    guessed: tuple[tuple[str, str], ...] = ()
    """Key and value of everything in the machine file that nobody told."""


def questions() -> tuple[Question, ...]:
    """The values that are asked for, with the defaults of the starting machine."""
    raw, known = _start(), quantities(MachineFile)
    found = []
    for key, text in ASKED:
        place: Any = raw
        for name in key.split("."):
            place = place[name]
        default = place["value"] if isinstance(place, dict) else place
        star = key.replace(f".{PIECE}.", ".*.")
        choices = tuple(FORMS) if key == "bridge.topology" else ()
        found.append(Question(key, text, str(default), known.get(star), choices))
    return tuple(found)


def refusal(question: Question, text: str) -> str:
    """Why an answer cannot be taken; empty when it can."""
    if question.choices:
        return "" if text in question.choices else f"one of: {', '.join(question.choices)}"
    kind = int if question.key in ("tank.cans", "transformer.primary_turns") else float
    try:
        TypeAdapter(_annotated(kind, question.quantity)).validate_python(text)
    except ValidationError as error:
        first = error.errors()[0]
        hint = str(first.get("ctx", {}).get("hint", ""))
        return f"{first['msg']}; {hint}" if hint else str(first["msg"])
    return ""


def _annotated(kind: type, quantity: Quantity | None) -> Any:
    from typing import Annotated

    return Annotated[kind, quantity]


def write_new(
    name: str, parent: Path, answers: Mapping[str, str], design: Design | None = None
) -> Written:
    """Write the folder of a new machine; what is not answered is assumed and labelled so.

    Errors: InputError for a name that cannot be one, a folder that is there already, a key that
    is not asked, and answers that make no machine; then nothing is written.
    """
    folder = _target(name, parent)
    known = questions()
    _check_answers(known, answers)
    answers = (design.told if design else {}) | dict(answers)
    _check_answers(known, answers)
    follows = {k: v for k, v in (design.worked_out if design else {}).items() if k not in answers}
    stated = answers | {k: v for k, (v, _) in follows.items()}
    values = {q.key: stated.get(q.key, q.default) for q in known}
    fresh = Path(tempfile.mkdtemp(prefix=f".{name}-", dir=parent))
    try:
        notes = dict.fromkeys(answers, TOLD) | {
            k: f"{WORKED}: {n}" for k, (_, n) in follows.items()
        }
        _fill(fresh, name, stated | values, notes, design.switch if design else None)
        guessed = _prove(fresh, folder)
        _picture(fresh)
        (fresh / GUESSED).write_text(_guess_list(guessed), encoding="utf-8")
        fresh.chmod(0o755)
        if folder.exists():
            raise _taken(folder)
        os.rename(fresh, folder)
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    files = tuple(sorted(p.name for p in folder.iterdir()))
    told = tuple((k, v, k in answers) for k, v in values.items() if k not in follows)
    return Written(folder, files, told, tuple((k, *v) for k, v in follows.items()), guessed)


def _guess_list(guessed: tuple[tuple[str, str], ...]) -> str:
    head = ("Nobody told these; they are starting values. Replace them in machine.toml, the ones a "
            "verdict hangs on first: simkit map shows which.\n\n")  # fmt: skip
    return head + "".join(f"{key} = {value}\n" for key, value in guessed)


def _picture(folder: Path) -> None:
    """The circuit as it is described, to look at in a browser."""
    from simkit.report.schematic import schematic

    machine = load_machine(folder / "machine.toml").model
    (folder / "machine.svg").write_text(schematic(machine), encoding="utf-8")


def _target(name: str, parent: Path) -> Path:
    if not NAME.fullmatch(name) or len(name) > LONGEST:
        rule = "must be lower-case words of letters and digits joined by hyphens"
        raise InputError([Problem("NAME", None, "", name, rule, "for example shop-heater")])
    if not parent.is_dir():
        raise InputError([Problem("--into", None, "", str(parent), "there is no such folder")])
    folder = parent / name
    if folder.exists() or folder.is_symlink():
        raise _taken(folder)
    return folder


def _taken(folder: Path) -> InputError:
    rule = "is there already and is left as it is; choose another name"
    return InputError([Problem("NAME", None, "", str(folder), rule)])


def _check_answers(known: tuple[Question, ...], answers: Mapping[str, str]) -> None:
    from simkit.parameters.place import nearest

    by_key, problems = {q.key: q for q in known}, []
    for key, text in answers.items():
        if key not in by_key:
            rule = "is not asked by simkit new; edit the file afterwards"
            problems.append(Problem("--set", None, key, text, rule, nearest(key, by_key)))
        elif said := refusal(by_key[key], text):
            problems.append(Problem("--set", None, key, text, said))
    if problems:
        raise InputError(problems)


# --- the files


def _start() -> dict[str, Any]:
    """The starting machine: the demo's values, one workpiece, no sources of its own.

    Its ferrite's constants are left out: those of a core nobody chose would judge its heat.
    """
    raw = _raw(START)
    del raw["transformer"]["core_loss"], raw["ratings"]["core"]
    raw["workpieces"] = {PIECE: raw["workpieces"][MODEL_PIECE]}
    raw["workpieces"][PIECE]["title"] = "What is heated, as measured at the coil's ends"
    bare: dict[str, Any] = _bare(raw)
    return bare


def _raw(name: str) -> dict[str, Any]:
    file = scenario_folder() / name / "machine.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def _bare(value: Any) -> Any:
    """The same without sources, notes and tolerances, which are not this machine's."""
    if isinstance(value, dict):
        if "value" in value and value.keys() <= {"value", "source", "note", "tolerance"}:
            return value["value"]
        return {k: _bare(v) for k, v in value.items() if k != "source"}
    return [_bare(item) for item in value] if isinstance(value, list) else value


def _fill(
    folder: Path, name: str, values: Mapping[str, str], notes: Mapping[str, str],
    switch: str | None,
) -> None:  # fmt: skip
    raw = _start()
    if switch is not None:
        given = _part(switch)
        shutil.copyfile(given, folder / given.name)
        raw["switch"] = {"part": given.name}
    raw |= {"name": name, "title": name.replace("-", " ").capitalize(),
            "description": "Written by simkit new: estimates until they are replaced."}  # fmt: skip
    if values["bridge.topology"] == "half-split":
        half = _bare(_raw(HALF))["bridge"]
        raw["bridge"] |= {k: half[k] for k in ("split_capacitance", "split_esr")}
    for key, text in values.items():
        *path, last = key.split(".")
        table = raw
        for part in path:
            table = table[part]
        if key == "bridge.topology":
            table[last] = text
            continue
        said = {"value": _number(text), "note": notes.get(key, ASSUMED)}
        table[last] = said | ({"tolerance": TOLERANCES[key]} if key in TOLERANCES else {})
    raw["bridge"]["loop_inductance"] = {
        "value": raw["bridge"]["loop_inductance"], "tolerance": "30 %",
    }  # fmt: skip
    low, high = _range(values, raw)
    for last, value in (("frequency_min", low), ("frequency_max", high)):
        raw["drive"][last] = {"value": f"{value / 1e3:g} kHz", "source": "computed",
                              "note": "around the resonances"}  # fmt: skip
    sources = "measured, datasheet class, design choice"
    text = HEAD.format(name=name, sources=sources) + commented(MachineFile, raw, "estimated")
    (folder / "machine.toml").write_text(text, encoding="utf-8")
    for file, (about, scenario) in _scenarios(values).items():
        head = SCENARIO_HEAD.format(about=about, file=file)
        body = commented(MODELS["scenario"], scenario)
        (folder / file).write_text(head + body, encoding="utf-8")
    for kind in ("machine", "scenario"):
        schema = json.dumps(json_schema(kind), indent=1) + "\n"
        (folder / f"{kind}.schema.json").write_text(schema, encoding="utf-8")


def _number(text: str) -> str | int:
    """A count as a number, anything else as it was written."""
    return int(text) if text.isdecimal() else text


def _range(values: Mapping[str, str], raw: Mapping[str, Any]) -> tuple[float, float]:
    """Drive's range [Hz] around the resonances of empty coil and workpiece, to whole kHz."""
    from math import pi, sqrt

    from simkit.units import parse_quantity

    turns = parse_quantity(values["transformer.primary_turns"], "1")
    ratio = turns / float(raw["transformer"]["secondary_turns"])
    stray = parse_quantity(_plain(raw["transformer"]["leakage_inductance"]), "H") / ratio**2
    bank = parse_quantity(values["tank.can_capacitance"], "F") * float(values["tank.cans"])
    found = []
    for key in ("coil.inductance", f"workpieces.{PIECE}.inductance"):
        inductance = parse_quantity(values[key], "H") + stray
        found.append(1.0 / (2.0 * pi * sqrt(inductance * bank)))
    low, high = SPREAD[0] * min(found), SPREAD[1] * max(found)
    return max(round(low, -3), 1e3), max(round(high, -3), 2e3)


def _plain(value: Any) -> Any:
    return value["value"] if isinstance(value, dict) else value


def _scenarios(values: Mapping[str, str]) -> dict[str, tuple[str, dict[str, Any]]]:
    from simkit.units import parse_quantity

    low = 0.3 * parse_quantity(values["supply.voltage"], "V")
    pull = {
        "name": "pull-out", "title": "Workpiece pulled out", "machine": "machine.toml",
        "tail": "0.5 ms",
        "start": {"load": PIECE, "margin": "6 %", "settled": "0.5 ms"},
        "events": [{"kind": "pull-out", "at": "0 s", "speed": "1 m/s"}],
    }  # fmt: skip
    tune = {
        "name": "tune-down", "title": "Frequency lowered through resonance",
        "machine": "machine.toml", "tail": "0.3 ms",
        "start": {"load": PIECE, "margin": "20 %", "settled": "0.3 ms",
                  "supply_voltage": format_quantity(low, "V", 3)},
        "events": [{"kind": "frequency", "factor": 0.8, "at": "0 s", "duration": "3 ms"}],
    }  # fmt: skip
    return {
        "pull-out.toml": ("A hand pulls the workpiece out while the heater runs a little above "
                          "resonance.", pull),
        "tune-down.toml": ("Tuning down through resonance at low supply voltage, and too far: "
                           "what the scope shows.", tune),
    }  # fmt: skip


def _part(name: str) -> Path:
    """The shipped part file of a class. Errors: InputError naming those there are."""
    from simkit.parameters.place import nearest

    known = {p.stem: p for p in sorted((scenario_folder() / "parts").glob("*.toml"))}
    if name not in known:
        hint = nearest(name, known, "one of")
        raise InputError([Problem("--switch", None, "", name, "is no part class", hint)])
    return known[name]


def _prove(fresh: Path, folder: Path) -> tuple[tuple[str, str], ...]:
    """Load everything that was written; problems name the folder it was meant for.

    Key and value of all that nobody told.
    """
    try:
        machine = load_machine(fresh / "machine.toml")
        for file in ("pull-out.toml", "tune-down.toml"):
            load_scenario(fresh / file)
    except InputError as error:
        moved = [
            replace(p, file=p.file.replace(str(fresh), str(folder)), line=None)
            for p in error.problems
        ]
        raise InputError(moved) from None
    told = {k for k, o in machine.origins.items() if o.note.startswith((TOLD, WORKED))}
    return tuple((k, o.written.strip('"')) for k, o in machine.origins.items() if k not in told)
