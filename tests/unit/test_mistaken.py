"""What is said of the wrong file, a folder, a file that is not there, a command typed wrongly.

The wording is this project's own; what a test holds is that a message names what is wanted, the
file here that would do, and a command that works.
"""

import os
import re
import shlex
import shutil
import time
from pathlib import Path

import pytest

from simkit import cli
from simkit.parameters.kinds import KINDS, kind_of
from simkit.parameters.schema import MODELS

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "chisel-brazing"
COMMON = {"name", "title", "description"}
WANTS = {
    "machine file": ["check", "bring-up", "bench", "fit", "compare", "run --all-faults"],
    "scenario": ["run", "deck", "map", "protect"],
    "part file": ["part"],
}
"""Verbs by what their first argument is."""
MORE = {"fit": ["x.toml"], "compare": ["x.toml"]}


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one file of each kind, and nothing else."""
    for name in ("machine.toml", "pull-out-cold.toml"):
        shutil.copy(DEMO / name, tmp_path)
    part = next((ROOT / "scenarios" / "parts").glob("*.toml"))
    shutil.copy(part, tmp_path / "part.toml")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """What a refused command says; nothing may have been written."""
    before = sorted(Path().rglob("*"))
    assert cli.run(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert sorted(Path().rglob("*")) == before
    return err


def test_marks_are_the_names_that_one_kind_alone_has() -> None:
    assert {k.model for k in KINDS} == {m.__name__ for m in MODELS.values()}
    fields = {m.__name__: set(m.model_fields) - COMMON for m in MODELS.values()}
    for kind in KINDS:
        others = set().union(*(f for name, f in fields.items() if name != kind.model))
        assert kind.marks == fields[kind.model] - others


FILE = {"machine file": "machine.toml", "scenario": "pull-out-cold.toml", "part file": "part.toml"}


@pytest.mark.parametrize("given", FILE)
@pytest.mark.parametrize("verb", [(w, v) for w, verbs in WANTS.items() for v in verbs])
def test_a_file_of_another_kind_is_called_so(
    verb: tuple[str, str], given: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted, name = verb
    if wanted == given:
        return
    said = told([*name.split(), FILE[given], *MORE.get(name, [])], capsys)
    assert f"{FILE[given]}: is a {given}, and a {wanted} is wanted here" in said
    assert f"such as {FILE[wanted]};" in said
    assert "not a known name" not in said


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.called)
def test_the_commands_named_exist(kind: object) -> None:
    for use in kind.use:  # type: ignore[attr-defined]
        program, verb, *_ = shlex.split(use)
        assert program == "simkit"
        assert verb in cli.VERBS


def test_readings_and_changes_are_known_too(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = told(["fit", "machine.toml", "pull-out-cold.toml"], capsys)
    assert "is a scenario, and a readings file is wanted here" in said
    said = told(["compare", "machine.toml", "machine.toml"], capsys)
    assert "is a machine file, and a change file is wanted here" in said


def test_a_file_of_two_kinds_is_read_as_what_is_wanted(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # A scenario with a table of the machine pasted into it is a scenario with a wrong name in it.
    mixed = Path("pull-out-cold.toml").read_text() + '\n[supply]\nvoltage = "325 V"\n'
    Path("mixed.toml").write_text(mixed)
    said = told(["run", "mixed.toml"], capsys)
    assert "supply: is not a known name here" in said
    assert kind_of(["supply", "start"]) is None
    assert kind_of(["name"]) is None


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["run", "."], ".: is a folder, and a scenario is wanted here, such as pull-out-cold.toml"),
        (["check", "."], ".: is a folder, and a machine file is wanted here, such as machine.toml"),
        (["fit", "machine.toml", "."], "a readings file is wanted here; there is no readings file"),
        (["check", "sub"], "is wanted here; there is no machine file in it"),
        (["run", ".."], r"is a folder, and a scenario is wanted here, such as \.\./"),
    ],
)
def test_a_folder_is_called_so(
    arguments: list[str], said: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("sub").mkdir()
    assert re.search(said, told(arguments, capsys))


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("mashine.toml", "no such file; did you mean machine.toml?"),
        ("machine", "no such file; did you mean machine.toml?"),
        ("xyz.toml", "no such file; give a machine file, such as machine.toml"),
        ("nowhere/machine.toml", "no such file, and no folder nowhere"),
    ],
)
def test_a_missing_file_has_a_neighbour(
    name: str, said: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in told(["check", name], capsys)


def test_an_empty_file_is_called_so(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("empty.toml").write_text("# nothing yet\n")
    for verb in ("check", "run", "part"):
        said = told([verb, "empty.toml"], capsys)
        assert "empty.toml: nothing is written in it; simkit new NAME" in said
        assert "is missing" not in said


def test_neighbours_that_cannot_be_read_do_no_harm(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Opened for reading, a pipe that nobody writes to would keep the command waiting for ever.
    os.mkfifo("pipe.toml")
    Path("gone.toml").symlink_to("nowhere")
    Path("loop.toml").symlink_to("loop.toml")
    Path("noise.toml").write_bytes(bytes(range(256)) * 50)
    Path("folder.toml").mkdir()
    for number, text in enumerate(("\n", " ", "a", "[", "a=", " \n[", "\t")):
        Path(f"long-{number}.toml").write_text(text * 40_000)
    started = time.process_time()
    assert "such as pull-out-cold.toml;" in told(["run", "machine.toml"], capsys)
    assert time.process_time() - started < 2.0, "5 s is what any input may take"


def test_a_name_that_acts_on_a_terminal_is_shown_escaped(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy("machine.toml", "a\x1b[31m.toml")
    said = told(["run", "a\x1b[31m.toml"], capsys)
    assert "\x1b" not in said
    assert "is a machine file" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["check"], "MACHINE is missing: a machine file, such as machine.toml\n"),
        (["run"], "SCENARIOS is missing: a scenario, such as pull-out-cold.toml\n"),
        (["fit", "machine.toml"], "READINGS is missing: a readings file\n"),
        (["fit", "machine.toml"], "written: simkit fit [OPTIONS] MACHINE READINGS\n"),
        (["schema"], "KIND is missing: one of machine, scenario, part,"),
        (["schema", "mashine"], "KIND: must be one of machine, scenario, part,"),
        (["new"], "NAME is missing\n"),
        (["run", "a", "--jobs", "two"], "--jobs: must be a whole number, from 1 to 256; 'two' is"),
        (["run", "a", "--jobs", "0"], "--jobs: must be a whole number, from 1 to 256; 0 is not"),
        (["run", "a", "--time-limit", "0"], "--time-limit: must be a number, above 0.0; 0.0 is"),
        (["run", "a", "--engine", "b"], "--engine: must be one of ngspice, neospice; 'b' is not"),
        (["run", "a", "--sett", "b=c"], "there is no option --sett; did you mean --set?\n"),
        (["check", "a", "--out", "b"], "there is no option --out\n"),
        (["run", "a", "--jobs"], "'--jobs' requires an argument.\n"),
        (["check", "a", "b"], "unexpected extra argument (b)"),
        (["cache", "claer"], "No such command 'claer'."),
    ],
)
def test_a_command_typed_wrongly(
    arguments: list[str], said: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = told(arguments, capsys)
    assert said in text
    assert text.startswith("simkit: usage\n")
    assert re.search(r"\n  more: simkit.* --help\n$", text)


def test_a_missing_readings_file_is_not_answered_with_a_machine(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bench.csv").write_text("load\n")
    assert "did you mean bench.csv?" in told(["fit", "machine.toml", "bensh.csv"], capsys)
    assert "did you mean" not in told(["fit", "machine.toml", "mashine.toml"], capsys)


def test_a_scenario_s_machine_is_looked_for_in_its_own_folder_only(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = Path("pull-out-cold.toml").read_text()
    inner = Path("inner")
    inner.mkdir()
    for named, hint in (("mashine.toml", "did you mean inner/machine.toml?"), ("../x.toml", "")):
        shutil.copy("machine.toml", inner / ("machine.toml" if hint else "other.txt"))
        (inner / "s.toml").write_text(text.replace('"machine.toml"', f'"{named}"'))
        said = told(["run", "inner/s.toml"], capsys)
        assert f's.toml:5: machine: there is no such file; written: "{named}"' in said
        assert hint in said
        assert "such as machine.toml" not in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("load;supply_voltage\nempty;30 V\n", "columns are separated by commas"),
        ("load,supply_voltage,frequency,reading,value\n", "it lacks uncertainty"),
    ],
)
def test_a_table_of_readings_that_a_spreadsheet_wrote(
    text: str, said: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("r.csv").write_text(text)
    assert said in told(["fit", "machine.toml", "r.csv"], capsys)


def test_a_value_where_a_table_is_wanted(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    reading = '[[points]]\nload = "empty"\nsupply_voltage = "30 V"\ntank_voltage = "12 V"\n'
    Path("r.toml").write_text(reading)
    said = told(["fit", "machine.toml", "r.toml"], capsys)
    assert "r.toml:4: points.0.tank_voltage: must be a table" in said
    assert "write { value = ..., uncertainty = ... }" in said


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("dead_time =", "its value is missing"),
        ("dead_time = # later", "its value is missing"),
        ("dead_time = \u201c0.6 us\u201d", "quotes are straight ones"),
        ('dead_time: "0.6 us"', "are joined by =, not by a colon"),
        ('dead_time = "0.6 us" measured', "a remark begins with #"),
        ("dead_time = 0,6", "a number has a decimal point, not a comma"),
        ("dead_time = 0.6 us", "a quantity with a unit stands in quotes"),
        ('dead_time = "0.6 usec"', "did you mean 0.6 us?"),
    ],
)
def test_a_line_typed_wrongly(
    line: str, said: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = Path("machine.toml").read_text().splitlines()
    (number,) = (k for k, row in enumerate(rows) if row.startswith("dead_time ="))
    rows[number] = line
    Path("machine.toml").write_text("\n".join(rows))
    text = told(["check", "machine.toml"], capsys)
    assert f"machine.toml:{number + 1}:" in text
    assert said in text
