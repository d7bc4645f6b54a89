"""simkit from Python: names loaded on first use, values changed with units, the same errors.

The engine's part is in tests/engine/test_python.py.
"""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import simkit
from simkit.python.verbs import VERBS, worded

ROOT = Path(__file__).resolve().parents[2]
MACHINE = ROOT / "scenarios" / "chisel-brazing" / "machine.toml"
SCENARIO = MACHINE.with_name("pull-out-wide.toml")


def test_the_import_loads_nothing_but_python() -> None:
    """What is loaded decides how long the import takes; seconds are the benchmarks' affair."""
    code = "import sys; had = set(sys.modules); import simkit; print(*set(sys.modules) - had)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert set(done.stdout.split()) == {"simkit"}, done.stderr


def test_every_name_is_there_and_documented() -> None:
    from simkit.python.lazy import NAMES

    assert set(NAMES) <= set(dir(simkit))
    for name in NAMES:
        assert getattr(simkit, name).__doc__, name


def test_the_stub_names_what_is_offered() -> None:
    """Editors and mypy read the stub: a name that stands in one place only misleads."""
    import ast

    from simkit.python.lazy import NAMES

    stub = ast.parse((ROOT / "simkit" / "__init__.pyi").read_text())
    told = {a.asname for n in stub.body if isinstance(n, ast.ImportFrom) for a in n.names}
    told |= {n.target.id for n in stub.body
             if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)}  # fmt: skip
    assert told - {None, "__version__"} == set(NAMES)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'rehears'"):
        _ = simkit.rehears  # type: ignore[attr-defined]


def test_the_room_called_run_is_the_verb_too() -> None:
    """The subpackage, once imported, hides what the package offers under its name."""
    import simkit.run.backend

    assert simkit.run.backend.Budget
    with pytest.raises(simkit.InputError, match="there is no such file"):
        simkit.run("nowhere.toml")


def test_the_verbs_are_those_of_the_command() -> None:
    from simkit.cli import VERBS as COMMAND

    left_out = {"bench", "cache", "completion"}  # a server, and two that are for a terminal
    assert set(VERBS) == {name.replace("-", "_") for name in COMMAND} - left_out


def test_a_changed_value_is_read_with_its_unit() -> None:
    machine = simkit.load_machine(MACHINE)
    changed = machine.change({"drive.dead_time": "0.5 us"})
    assert changed.value("drive.dead_time") == pytest.approx(0.5e-6, rel=1e-12)
    assert machine.change({"drive.dead_time": 0.5e-6}).loaded.digest == changed.loaded.digest
    assert machine.value("drive.dead_time") != changed.value("drive.dead_time")


def test_changes_add_up() -> None:
    machine = simkit.load_machine(MACHINE).change({"drive.dead_time": "0.5 us"})
    both = machine.change({"drive.gate_resistor": "9 ohm"})
    assert both.value("drive.dead_time") == pytest.approx(0.5e-6, rel=1e-12)
    assert both.value("drive.gate_resistor") == 9.0


def test_a_wrong_key_is_answered_with_the_nearest() -> None:
    machine = simkit.load_machine(MACHINE)
    with pytest.raises(simkit.InputError, match="did you mean dead_time"):
        machine.change({"drive.dead_tim": "0.5 us"})
    with pytest.raises(simkit.InputError, match="did you mean dead_time"):
        machine.value("drive.dead_tim")


def test_a_machine_from_tables_is_that_of_its_file() -> None:
    tables = tomllib.loads(MACHINE.read_text(encoding="utf-8"))
    built = simkit.machine(tables, folder=MACHINE.parent)
    assert built.loaded.digest == simkit.load_machine(MACHINE).loaded.digest


def test_a_scenario_from_tables_needs_no_file() -> None:
    tables = tomllib.loads(SCENARIO.read_text(encoding="utf-8"))
    del tables["machine"]
    machine = simkit.load_machine(MACHINE)
    built = simkit.scenario(tables, machine)
    assert built.name == "pull-out-wide"
    assert built.restage({"start.margin": "9 %"}).loaded.model.start.margin == pytest.approx(0.09)
    with pytest.raises(simkit.InputError, match="no such workpiece"):
        built.restage({"start.load": "cold-stel"})


def test_check_is_the_verb_s_table() -> None:
    frame = simkit.load_machine(MACHINE).check()
    rows = simkit.check(MACHINE)["rows"]
    assert frame["quantity"].tolist() == [row["quantity"] for row in rows]
    told = [row["value"] for row in rows]
    assert frame["value"].tolist() == pytest.approx(told, nan_ok=True, rel=1e-12)
    assert frame.attrs["units"]["value"]


def test_options_are_written_as_on_the_command_line() -> None:
    options = {"vary": ["a=1", "b=2"], "no_cache": True, "quiet": False, "out": None, "cases": 8,
               "set": {"drive.dead_time": "0.5 us", "tank.cans": 7}}  # fmt: skip
    assert list(worded(options)) == [
        "--vary=a=1", "--vary=b=2", "--no-cache", "--cases=8", "--set=drive.dead_time=0.5 us",
        "--set=tank.cans=7",
    ]  # fmt: skip


def test_a_wrong_option_is_an_input_error() -> None:
    with pytest.raises(simkit.InputError, match=r"simkit\.check"):
        simkit.check(MACHINE, no_such_option=1)
