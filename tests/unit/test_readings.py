"""Readings files: what is written comes out in SI, and everything wrong is named by line.

The wording is this project's own; the values expected are those written in the test.
"""

from pathlib import Path

import pytest

from simkit.errors import InputError
from simkit.parameters.load import load_file
from simkit.parameters.read_readings import load_readings, load_traces
from simkit.parameters.schema import json_schema
from simkit.parameters.written import MachineFile
from tests.machines import SHIPPED

GOOD = """
machine = "chisel-brazing"

[[points]]
load = "empty"
supply_voltage = "12 V"
resonance = { value = "79.1 kHz", uncertainty = "0.2 kHz" }

[[points]]
load = "graphite-crucible"
supply_voltage = "30 V"
frequency = "86 kHz"
supply_current = { value = "0.41 A", uncertainty = "10 mA" }
phase = { value = 34, uncertainty = "2 deg" }

[[traces]]
kind = "ring-down"
file = "ring.csv"
load = "empty"
supply_voltage = "12 V"
frequency_uncertainty = "0.5 %"
"""
TRACE = "time,volts\n" + "".join(f"{k * 1e-6},{0.9**k}\n" for k in range(40))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "readings.toml"
    path.write_text(GOOD, encoding="utf-8")
    (tmp_path / "ring.csv").write_text(TRACE, encoding="utf-8")
    return path


def complaints(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_traces(load_readings(path))
    return [str(p).removeprefix(f"{path.parent}/") for p in caught.value.problems]


def test_readings_come_out_in_si(file: Path) -> None:
    loaded = load_readings(file)
    first, second = loaded.model.points
    assert list(first.read()) == [("resonance", 79100.0, 200.0)]
    assert list(second.read()) == [("supply_current", 0.41, 0.01), ("phase", 34.0, 2.0)]
    assert second.frequency == 86e3
    assert loaded.origins["points.0.resonance.value"].source == "measured"
    assert len(load_traces(loaded)[0].time) == 40


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"0.41 A"', '"0.41 V"', "readings.toml:13: points.1.supply_current.value: is a voltage"),
        ('"10 mA"', "0", "readings.toml:13: points.1.supply_current.uncertainty: must be above 0"),
        (', uncertainty = "10 mA"', "", "points.1.supply_current.uncertainty: is missing"),
        ("supply_current", "suply_current", "did you mean supply_current?"),
        ('frequency = "86 kHz"\n', "", "supply_current: needs the drive frequency"),
        ('"ring.csv"', '"../ring.csv"', "traces.0.file"),
        ('"ring.csv"', '"/etc/passwd"', "traces.0.file"),
        ('"ring.csv"', '"gone.csv"', "gone.csv: there is no such file beside the readings"),
        ('"ring-down"', '"ringdown"', "did you mean"),
    ],
)
def test_what_is_wrong_is_named(file: Path, old: str, new: str, said: str) -> None:
    file.write_text(GOOD.replace(old, new), encoding="utf-8")
    assert said in "\n".join(complaints(file))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (TRACE.replace("2e-06", "1e-06"), "ring.csv:4: time does not rise"),
        (TRACE + "rubbish\n", "ring.csv:42: is not a sample"),
        (TRACE.replace("0.9,", "0,9;") + "nan,nan\n", "is not a sample"),
        ("time,volts\n1,2\n2,3\n", "has 2 samples; at least 16"),
    ],
)
def test_a_bad_trace_is_refused_by_line(file: Path, text: str, said: str) -> None:
    (file.parent / "ring.csv").write_text(text, encoding="utf-8")
    assert said in "\n".join(complaints(file))


def test_a_trace_may_not_be_a_link_out_of_the_folder(file: Path, tmp_path: Path) -> None:
    (file.parent / "ring.csv").unlink()
    (file.parent / "ring.csv").symlink_to("/etc/hostname")
    assert "there is no such file beside the readings" in "\n".join(complaints(file))


CSV = """# filled in by hand
load,supply_voltage,frequency,reading,value,uncertainty
empty,12 V,,resonance,79.1 kHz,0.2 kHz
graphite-crucible,30 V,86 kHz,supply_current,0.41 A,10 mA
graphite-crucible,30 V,86 kHz,phase,,
"""


def test_a_table_says_the_same(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(CSV, encoding="utf-8")
    points = load_readings(path).model.points
    assert [list(p.read()) for p in points] == [
        [("resonance", 79100.0, 200.0)],
        [("supply_current", 0.41, 0.01)],
    ]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("0.41 A", "0.41 ohm", "readings.csv:4: points.1.supply_current.value"),
        ("supply_current", "supply_curent", "readings.csv:4: reading: is not a reading"),
        ("12 V,,", "12 V,", "readings.csv:3: has 5 columns; 6 are needed"),
        ("load,supply", "lod,supply", "readings.csv:2: the first line must name the columns"),
    ],
)
def test_a_wrong_table_is_named_by_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(CSV.replace(old, new, 1), encoding="utf-8")
    assert said in "\n".join(complaints(path))


def test_nothing_read_is_no_readings(tmp_path: Path) -> None:
    path = tmp_path / "readings.toml"
    path.write_text('machine = "x"\n', encoding="utf-8")
    assert "nothing was read" in "\n".join(complaints(path))


def test_the_schema_knows_readings_and_probes() -> None:
    readings = json_schema("readings")
    assert "supply_current" in readings["$defs"]["Point"]["properties"]
    assert {"probes", "bring_up"} <= set(json_schema("machine")["properties"])


def test_shipped_machines_say_how_they_are_probed() -> None:
    for path in {p.parent / "machine.toml" for p in SHIPPED}:
        assert load_file(path, MachineFile).model.probes is not None
