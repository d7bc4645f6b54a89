"""Loading: every problem at once, on the right line, in plain words; origins, digest, overrides.

The schema here is a small one of its own, so that the loader is tested and not the machine file.
Line numbers are compared with the text itself; the parsed content with the standard library's TOML
parser; the JSON Schema with an independent validator.
"""

import os
import tomllib
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from simkit.errors import InputError
from simkit.parameters.fields import Quantity, field_units
from simkit.parameters.lines import line_table, nearest_line
from simkit.parameters.load import OVERRIDDEN, SOURCES, Loaded, load_file, load_text
from simkit.parameters.scenario import Scenario
from simkit.parameters.schema import json_schema
from simkit.parameters.written import MachineFile

ROOT = Path(__file__).resolve().parents[2]
SHIPPED = sorted(ROOT.glob("scenarios/*/*.toml"))
NAME = r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$"


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Can(Table):
    """One capacitor can."""

    capacitance: Annotated[float, Quantity("F", "Of one can", gt=0, lt=1, usual=(1e-9, 1e-6))]
    esr: Annotated[float, Quantity("ohm", "Series resistance", ge=0)] | None = None


class Piece(Table):
    """A piece."""

    travel: Annotated[float, Quantity("m", "Way out", gt=0, le=10)]


class Rig(Table):
    """A rig for tests."""

    title: Annotated[str, StringConstraints(max_length=20)]
    feed: Literal["loop", "shunt"]
    turns: Annotated[int, Quantity("1", "Turns", ge=1, le=100)]
    cooled: bool = False
    can: Can
    spare: Can | None = None
    steps: Annotated[tuple[Piece, ...], Field(min_length=1)]
    pieces: dict[Annotated[str, StringConstraints(pattern=NAME)], Piece]

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.feed == "shunt" and self.spare is None:
            raise ValueError('feed = "shunt" needs a [spare] table')
        return self


GOOD = """\
title = "Rig"
feed = "loop"
source = "estimated"
turns = 5

[can]
capacitance = { value = "0.22 uF", source = "measured", tolerance = "5 %", note = "bridge" }

[[steps]]
travel = "40 mm"

[[steps]]
source = "standard"
travel = 0.05

[pieces.rod]
travel = "60 mm"
"""


def load(text: str, overrides: dict[str, str] | None = None) -> Loaded[Rig]:
    return load_text(text, "rig.toml", Rig, overrides or {})


def complaints(text: str, overrides: dict[str, str] | None = None) -> list[str]:
    with pytest.raises(InputError) as caught:
        load(text, overrides)
    return [str(problem) for problem in caught.value.problems]


def changed(old: str, new: str) -> list[str]:
    assert GOOD.count(old) == 1, "the change must be one change"
    return complaints(GOOD.replace(old, new))


def test_values_are_plain_si_numbers() -> None:
    model = load(GOOD).model
    assert model.can.capacitance == 0.22e-6
    assert [step.travel for step in model.steps] == [0.04, 0.05]
    assert (model.turns, model.pieces["rod"].travel) == (5, 0.06)


def test_every_value_knows_where_it_came_from() -> None:
    origins = load(GOOD).origins
    said = {key: (o.source, o.line, o.written) for key, o in origins.items()}
    assert said == {
        "turns": ("estimated", 4, "5"),
        "can.capacitance": ("measured", 7, '"0.22 uF"'),
        "steps.0.travel": ("estimated", 10, '"40 mm"'),
        "steps.1.travel": ("standard", 14, "0.05"),
        "pieces.rod.travel": ("estimated", 17, '"60 mm"'),
    }
    assert (origins["can.capacitance"].tolerance, origins["can.capacitance"].note) == (
        0.05,
        "bridge",
    )
    assert (origins["turns"].tolerance, origins["turns"].file) == (None, "rig.toml")


def test_a_table_of_names_may_have_a_source_of_its_own() -> None:
    text = GOOD.replace("[pieces.rod]", '[pieces]\nsource = "fitted"\n[pieces.rod]')
    assert load(text).origins["pieces.rod.travel"].source == "fitted"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        # Names.
        (
            "turns = 5",
            "turn = 5",
            [
                "rig.toml:4: turn: is not a known name here; written: 5; did you mean turns?",
                "rig.toml: turns: is missing: Turns [1]",
            ],
        ),
        (
            "[can]",
            "[can]\nzzz = 1",
            [
                "rig.toml:7: can.zzz: is not a known name here; written: 1; "
                "known here: capacitance, esr"
            ],
        ),
        (
            "[can]",
            "[can]\ntravel = 1",
            [
                "rig.toml:7: can.travel: is not a known name here; written: 1; "
                "it belongs to [steps.NAME] or [pieces.NAME]"
            ],
        ),
        ("[can]\n", "[can]\nESR = 0\n", ["did you mean esr?"]),
        ("[pieces.rod]", "[pieces.Rod_1]", ["must be small letters, digits and single hyphens"]),
        # Missing things say what they are.
        ('title = "Rig"\n', "", ["rig.toml: title: is missing: a text"]),
        ('feed = "loop"\n', "", ["rig.toml: feed: is missing: one of loop, shunt"]),
        ('travel = "60 mm"', "", ["rig.toml:16: pieces.rod.travel: is missing: Way out [m]"]),
        (
            '[pieces.rod]\ntravel = "60 mm"\n',
            "",
            ["rig.toml: pieces: is missing: a table with names of your own; add [pieces]"],
        ),
        # Quantities.
        (
            '"40 mm"',
            '"40 mH"',
            [
                "rig.toml:10: steps.0.travel: is an inductance where a length in m is expected; "
                'written: "40 mH"; for example "40 mm"'
            ],
        ),
        ('"40 mm"', '"0,04 m"', ['written: "0,04 m"; write 0.04 m']),
        ('"40 mm"', "true", ["must be a length in m; written: true"]),
        ('"40 mm"', "nan", ["must be a finite number; written: nan"]),
        ('"40 mm"', "[1]", ["must be a length in m; written: a list"]),
        ('"40 mm"', "1979-05-27", ["must be a length in m; written: 1979-05-27"]),
        (
            '"40 mm"',
            '"40 m"',
            ['must be above 0 m and at most 10 m; written: "40 m"; read as 40 m'],
        ),
        ("turns = 5", "turns = 5.5", ["rig.toml:4: turns: must be a whole number; written: 5.5"]),
        ("turns = 5", "turns = 0", ["must be at least 1 and at most 100; written: 0; read as 0"]),
        # The table form of a quantity.
        ("value =", "val =", ["can.capacitance.val: is not a known name", "has no value"]),
        (
            '"5 %"',
            '"5 mm"',
            ["rig.toml:7: can.capacitance.tolerance: is a length where a plain number"],
        ),
        ('"5 %"', '"500 %"', ['must be from 0 to 100 %; written: "500 %"; for example "5 %"']),
        ('"bridge"', "7", ["can.capacitance.note: must be a text of at most 400 characters"]),
        ('"measured"', '"mesured"', ["is not a kind of source", "did you mean measured?"]),
        ('"measured"', "7", ["is not a kind of source; written: 7; one of: datasheet class,"]),
        (
            'source = "standard"',
            'source = "hearsay"',
            ["rig.toml:13: steps.1.source: is not a kind"],
        ),
        # Choices, texts, shapes.
        (
            '"loop"',
            '"Loop"',
            ['rig.toml:2: feed: must be one of loop, shunt; written: "Loop"; did you mean loop?'],
        ),
        ('"loop"', "3", ["rig.toml:2: feed: must be one of loop, shunt; written: 3"]),
        ('"loop"', '"shunt"', ['rig.toml: feed = "shunt" needs a [spare] table']),
        ('"Rig"', "3", ["rig.toml:1: title: must be a text in quotes; written: 3"]),
        ('"Rig"', '"a rig of too many letters"', ["must be at most 20 characters long"]),
        ('"Rig"', '"Rig\\n.control"', ["title: must be one line without control or invisible"]),
        ('"Rig"', '"Rig\\u202e"', ['written: "Rig\\u202e"']),
        ('"Rig"', '"""a\nb"""', ["title: must be one line without control"]),
        ("[can]", '["can\\u0000"]', ["must be one line without control"]),
        ("turns = 5", "turns = 5\ncooled = 3", ["rig.toml:5: cooled: must be true or false"]),
        ("turns = 5", "turns = 5\nspare = 3", ["rig.toml:5: spare: must be a table; written: 3"]),
        (
            '[[steps]]\ntravel = "40 mm"\n\n[[steps]]\nsource = "standard"\ntravel = 0.05\n',
            "[steps]\n",
            ["rig.toml:9: steps: must be a list; written: a table"],
        ),
        (
            '[[steps]]\ntravel = "40 mm"\n\n[[steps]]\nsource = "standard"\ntravel = 0.05\n',
            "[empty]\n",
            ["rig.toml: steps: is missing: a list"],
        ),
        (
            'turns = 5\n\n[can]\ncapacitance = { value = "0.22 uF", source = "measured", '
            'tolerance = "5 %", note = "bridge" }\n\n[[steps]]\ntravel = "40 mm"\n\n[[steps]]\n'
            'source = "standard"\ntravel = 0.05\n',
            "turns = 5\nsteps = []\ncan = { capacitance = 1e-6 }\n",
            ["rig.toml:5: steps: must have at least 1 entry; written: a list"],
        ),
        ('[[steps]]\ntravel = "40 mm"\n\n[[steps]]', "[steps]", ["steps: must be a list"]),
        # Not TOML.
        (
            '"40 mm"',
            "40 mm",
            [
                "rig.toml:10: travel: is not valid TOML: expected newline or end of document after "
                'a statement; written: "travel = 40 mm"; a quantity with a unit stands in quotes: '
                '"0.6 us"'
            ],
        ),
        ("turns = 5", "turns = 5\nturns = 6", ["rig.toml:5: turns:", "this name was given before"]),
        ("[pieces.rod]", "[can]", ["rig.toml:16:", "this name was given before"]),
        ('"loop"', "loop", ["rig.toml:2: feed:", "a text stands in quotes"]),
        ("turns = 5", "turns = 5,5", ["rig.toml:4: turns:", "a decimal point, not a comma"]),
        ('value = "0.22 uF"', "value = 0.22 uF", ["rig.toml:7:", "stands in quotes"]),
        ("turns = 5", "turns = " + "9" * 5000, ["rig.toml:4", "longer than the 1000 characters"]),
    ],
)
def test_a_problem_is_said_in_plain_words(old: str, new: str, said: list[str]) -> None:
    found = "\n".join(changed(old, new))
    assert all(part in found for part in said), found


def test_all_problems_of_a_file_come_at_once_in_its_order() -> None:
    text = (
        GOOD.replace('"loop"', '"lop"')
        .replace("turns = 5", "turns = 5.5")
        .replace('"0.22 uF"', '"0.22 uH"')
        .replace('"40 mm"', '"0,04 m"')
        .replace("0.05", '"5 parsec"')
        .replace("[pieces.rod]", "[pieces.ROD]")
    )
    lines = [message.split(":")[1] for message in complaints(text)]
    assert lines == ["2", "4", "7", "10", "14", "16"]


def test_a_value_without_a_source_is_refused_wherever_it_stands() -> None:
    found = [c for c in complaints(GOOD.replace('source = "estimated"\n', "")) if "source" in c]
    assert [c.split(": every value")[0] for c in found] == [
        "rig.toml:3: turns",
        "rig.toml:9: steps.0.travel",
        "rig.toml:16: pieces.rod.travel",
    ]
    assert all(name in found[0] for name in SOURCES)


def test_an_optional_part_may_be_absent_and_is_then_none() -> None:
    assert load(GOOD).model.spare is None
    assert load(GOOD + '[spare]\ncapacitance = "1 uF"\n').model.spare == Can(capacitance=1e-6)


def test_an_unusual_value_is_let_through_with_a_warning() -> None:
    high = load(GOOD.replace('"0.22 uF"', '"0.22 F"')).warnings
    assert high == (
        "rig.toml:7: can.capacitance = 220 mF is 220 000 times the highest; usual is 1 nF to 1 uF",
    )
    assert "10 times below the lowest" in load(GOOD.replace('"0.22 uF"', '"100 pF"')).warnings[0]
    assert load(GOOD).warnings == ()


# --- the command line's values --------------------------------------------------------------


def test_an_override_replaces_a_value_and_is_named_as_such() -> None:
    loaded = load(GOOD, {"can.capacitance": "0.33uF", "turns": "7", "steps.1.travel": "1 m"})
    assert (loaded.model.can.capacitance, loaded.model.turns) == (0.33e-6, 7)
    assert loaded.model.steps[1].travel == 1.0
    origin = loaded.origins["can.capacitance"]
    assert (origin.source, origin.file, origin.line) == (OVERRIDDEN, "--set", None)
    assert (origin.note, origin.tolerance, origin.written) == ("", None, '"0.33uF"')


def test_an_override_may_choose_switch_and_add_a_part() -> None:
    loaded = load(GOOD, {"feed": "shunt", "cooled": "true", "spare.capacitance": "1 uF"})
    assert loaded.model.feed == "shunt"
    assert loaded.model.cooled is True
    assert loaded.model.spare == Can(capacitance=1e-6)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("can.capacitance", "1 uH", "--set: can.capacitance: is an inductance where"),
        ("can.capacitence", "1 uF", "--set: can.capacitence: is not a known name here"),
        ("cam.capacitance", "1 uF", "--set: cam: is not a known name here"),
        ("feed", "lop", "did you mean loop?"),
        ("steps.7.travel", "1 m", "--set: steps.7.travel: there is no such place in the file"),
        ("title.x", "1", "--set: title.x: there is no such place in the file"),
        ("", "1", "--set: there is no such place in the file"),
        ("title", "a\nb", "--set: title: must be one line"),
    ],
)
def test_a_wrong_override_is_blamed_on_the_command_line(key: str, value: str, said: str) -> None:
    assert any(said in c for c in complaints(GOOD, {key: value}))


# --- digest ---------------------------------------------------------------------------------


def test_the_digest_is_that_of_the_values() -> None:
    same = GOOD.replace('"0.22 uF"', "0.22e-6").replace("# ", "").replace('"bridge"', '"other"')
    assert load(same).digest == load(GOOD).digest
    assert load("# comment\n" + GOOD).digest == load(GOOD).digest
    assert load(GOOD, {"turns": "6"}).digest != load(GOOD).digest
    assert load(GOOD, {"turns": "6"}).digest == load(GOOD.replace("turns = 5", "turns = 6")).digest


# --- files ----------------------------------------------------------------------------------


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        load_file(path, Rig)
    return str(caught.value).removeprefix(str(path))


def test_a_file_is_read_with_its_marks_and_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    loaded = load_file(path, Rig)
    assert loaded.model == load(GOOD).model
    assert loaded.origins["can.capacitance"].line == 7
    assert loaded.line_of("can.esr") == 6


def test_what_is_no_readable_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    assert refusal(path) == ": there is no such file"
    assert refusal(tmp_path) == ": is a folder, and a file is wanted"
    path.write_bytes(b"a = 1\nb = '\xff'\n")
    assert refusal(path) == ":2: is not UTF-8 text"
    path.write_text("# long\n" * 150_000)
    assert refusal(path) == ": is larger than the 1000 kB a file may have"
    path.write_text("a = " + "[\n" * 100_000)
    assert refusal(path) == ": is nested deeper than 12 levels"
    path.write_text("a = " + "[" * 13 + "]" * 13)
    assert refusal(path) == ": is nested deeper than 12 levels"
    path.write_text("a = [" + "1,\n" * 2000 + "]")
    assert refusal(path) == ": holds more than the 2000 values a file may have"
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert refusal(pipe) == ": is not a file"


# --- lines ----------------------------------------------------------------------------------

TANGLED = '''\
name = "a = b # no"   # 1
a.b.c = 3
text = """
x = 1
[fake]
"""
lit = \'\'\'y = 2\'\'\'
list = [
  1, # one
  [2, "]"],
  { t = 1, u = { v = 2 } },
]
inline = { p = "1 uF", q = [1,
 2] }
[top.inner]
"quoted key" = 1
[top]
late = 1
[[events]]
kind = "x"
[events.sub]
z = 1
[[events]]
[[events.deep]]
w = 1979-05-27 07:32:00
 [ spaced . "a b" ]
d = true'''


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("name", 1),
        ("a.b.c", 2),
        ("text", 3),
        ("lit", 7),
        ("list", 8),
        ("list.0", 9),
        ("list.1", 10),
        ("list.2.u.v", 11),
        ("inline.p", 13),
        ("inline.q.1", 14),
        ("top.inner.quoted key", 16),
        ("top", 17),
        ("top.late", 18),
        ("events.0.kind", 20),
        ("events.0.sub.z", 22),
        ("events.1", 23),
        ("events.1.deep.0.w", 25),
        ("spaced.a b", 26),
        ("spaced.a b.d", 27),
    ],
)
def test_a_key_is_found_on_its_line(key: str, line: int) -> None:
    assert line_table(TANGLED)[key] == line


def keys_of(raw: Any, prefix: str = "") -> set[str]:
    inner = dict(enumerate(raw)) if isinstance(raw, list) else raw if isinstance(raw, dict) else {}
    own = {f"{prefix}{key}" for key in inner}
    return own.union(*(keys_of(value, f"{prefix}{key}.") for key, value in inner.items()))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_the_line_finder_knows_the_keys_the_parser_knows(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert set(line_table(text)) == keys_of(tomllib.loads(text))


def test_tangled_keys_are_those_of_the_parser() -> None:
    assert set(line_table(TANGLED)) == keys_of(tomllib.loads(TANGLED))


def test_a_key_that_was_not_written_is_placed_at_its_table() -> None:
    lines = {"top": 3, "top.inner": 5}
    assert nearest_line(lines, "top.inner.absent.deeper") == 5
    assert nearest_line(lines, "elsewhere") is None


words = st.text(alphabet="abAB01=[]{}\",.# \n'\\-_", max_size=60)


@given(text=words)
def test_whatever_the_parser_accepts_the_line_finder_follows(text: str) -> None:
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return
    assert set(line_table(text)) == keys_of(raw)


@given(text=st.one_of(words, words.map(lambda w: GOOD.replace('"40 mm"', w))))
def test_any_text_is_loaded_or_refused_in_words(text: str) -> None:
    try:
        load(text)
    except InputError as error:
        assert all(problem.rule for problem in error.problems)  # noqa: PT017 - or it loads


# --- schema ---------------------------------------------------------------------------------


def test_units_of_a_schema_by_dotted_key() -> None:
    assert field_units(Rig) == {
        "turns": "1",
        "can.capacitance": "F",
        "can.esr": "ohm",
        "spare.capacitance": "F",
        "spare.esr": "ohm",
        "steps.*.travel": "m",
        "pieces.*.travel": "m",
    }


def test_a_unit_nobody_knows_is_refused_when_the_schema_is_written() -> None:
    with pytest.raises(ValueError, match="furlong"):
        Quantity("furlong", "Way")


def test_the_json_schema_carries_unit_meaning_and_range() -> None:
    field = json_schema("machine")["$defs"]["TankFile"]["properties"]["can_capacitance"]
    assert (field["x-unit"], field["description"]) == ("F", "One can [F]")
    number, text, table = field["anyOf"]
    assert (number["type"], number["exclusiveMinimum"]) == ("number", 0)
    assert text == {"type": "string"}
    assert set(table["properties"]) == {"value", "source", "tolerance", "note"}


KINDS = {"machine": MachineFile, "scenario": Scenario}
OURS = [p for p in SHIPPED if p.parent.name not in ("parts", "changes")]


@cache
def checked(kind: str) -> jsonschema.Draft202012Validator:
    schema = json_schema(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("path", OURS, ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_shipped_files_load_and_fit_the_schema_editors_use(path: Path) -> None:
    kind = "machine" if path.name == "machine.toml" else "scenario"
    loaded = load_file(path, KINDS[kind])
    assert loaded.warnings == ()
    validator = checked(kind)
    validator.validate(tomllib.loads(path.read_text(encoding="utf-8")))
    with pytest.raises(jsonschema.ValidationError):
        validator.validate({"name": "x", "surprise": 1})


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("tank.cans", "twenty", "must be a whole number; written: \"twenty\"; for example 1"),
        ("tank.cans", "20 V", "is a voltage where a whole number is expected"),
        ("tank.cans", "2.5", "must be a whole number"),
        ("limits.derating.current", "eighty", 'for example 0.05 or "5 %"'),
        ("tank.can_voltage", "5 A", 'is a current where a voltage in V is expected; written: '
         '"5 A"; for example "325 V"'),
        ("bridge.topology", "whole", "must be one of full, half-split, half-blocking"),
    ],
)  # fmt: skip
def test_the_hint_fits_the_kind_of_field(key: str, value: str, says: str) -> None:
    from simkit.studies.inputs.loading import load_machine

    text = value if value == "2.5" else f'"{value}"'
    with pytest.raises(InputError) as caught:
        load_machine(ROOT / "scenarios/chisel-brazing/machine.toml", {key: text})
    (problem,) = caught.value.problems
    said = str(problem)
    assert says in said
    assert key == "limits.derating.current" or "5 %" not in said
