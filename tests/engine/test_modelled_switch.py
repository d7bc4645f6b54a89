"""A switch by model file: the demo's own switch written as such a file and read back, and files in
the dialects that people exchange.
"""

import re
from pathlib import Path
from typing import Any

import pytest

import simkit
from simkit.circuit.netlist import render
from simkit.circuit.values import switch_values
from simkit.data import scenario_folder
from simkit.errors import InputError
from simkit.parameters.load import Loaded
from simkit.parts.modelled import with_model
from simkit.parts.switches import fitted_switch, load_part
from simkit.python.outcome import Outcome
from simkit.run.process import NgspiceEngine
from simkit.studies.part.model_file import notes_on
from simkit.studies.part.study import examine

BARS = scenario_folder() / "bar-heating"
PART = scenario_folder() / "parts" / "class-600v-planar.toml"
MODEL = """
[model]
file = "mine.lib"
subcircuit = "mine"
drain = "d"
gate = "g"
source = "s"
driver_return = "k"
"""


def own_switch_as_a_file(celsius: float) -> str:
    """Our own switch as text of a model file: the template's lines under another name."""
    switch = fitted_switch(load_part(PART), celsius)
    text = render("switch.cir.j2", {"switch": switch_values(switch)})
    return text.replace(".subckt switch d g k s", ".subckt mine d g k s")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A machine by part file in a folder of its own."""
    folder = tmp_path_factory.mktemp("desk") / "machine"
    folder.mkdir()
    machine = (BARS / "machine.toml").read_text(encoding="utf-8")
    assert "../parts/class-600v-planar.toml" in machine
    (folder / "machine.toml").write_text(
        machine.replace("../parts/class-600v-planar.toml", "part.toml")
    )
    (folder / "part.toml").write_text(PART.read_text(encoding="utf-8"))
    scenario = (BARS / "draw-out.toml").read_text(encoding="utf-8")
    (folder / "draw-out.toml").write_text(scenario)
    return folder


def rehearsed(folder: Path, model: str | None) -> Outcome:
    text = PART.read_text(encoding="utf-8")
    (folder / "part.toml").write_text(text + (model or ""), encoding="utf-8")
    return simkit.load_scenario(folder / "draw-out.toml").rehearse()


@pytest.mark.slow
def test_our_own_switch_read_back_gives_the_same_figures(desk: Path) -> None:
    """Within the stated errors; what is seen from outside the package, its inductances being in the
    file, is told by name: the lead's voltage in place of the chip's."""
    ours = rehearsed(desk, None)
    warm = ours.rehearsal.machine.switch.warming
    assert warm is not None
    (desk / "mine.lib").write_text(own_switch_as_a_file(warm.junction_temperature))
    theirs = rehearsed(desk, MODEL)
    assert theirs.rehearsal.machine.switch.model is not None
    outside = {"drain_voltage_peak", "gate_voltage_peak", "gate_lift", "channel_current_peak",
               "recovery_di_dt", "recovery_dv_dt"}  # fmt: skip
    pairs = theirs.limits.merge(ours.limits, on="quantity", suffixes=("", "_ours"))
    both = pairs.dropna(subset=["value", "value_ours"])
    same = both[~both["quantity"].isin(outside)]
    assert len(same) >= 5
    for row in same.to_dict("records"):
        allowed = row["error"] + row["error_ours"]
        assert abs(row["value"] - row["value_ours"]) <= allowed, row["quantity"]


@pytest.mark.slow
def test_the_exported_deck_holds_the_file_rewritten_and_no_word_of_it(desk: Path) -> None:
    (desk / "mine.lib").write_text(own_switch_as_a_file(90.0))
    (desk / "part.toml").write_text(PART.read_text(encoding="utf-8") + MODEL)
    deck = simkit.load_scenario(desk / "draw-out.toml").deck()
    assert "xm di gi ki si device" in deck
    assert ".subckt device p1 p2 p3 p4" in deck
    assert "mine" not in deck
    assert ".model channel" not in deck


def test_the_file_counts_in_what_a_verdict_is_kept_under(desk: Path) -> None:
    (desk / "mine.lib").write_text(own_switch_as_a_file(90.0))
    (desk / "part.toml").write_text(PART.read_text(encoding="utf-8") + MODEL)
    one = simkit.load_machine(desk / "machine.toml").loaded.digest
    (desk / "mine.lib").write_text(own_switch_as_a_file(91.0))
    assert simkit.load_machine(desk / "machine.toml").loaded.digest != one


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('drain = "d"', 'drain = "c"', "model.drain: is no pin of the subcircuit mine"),
        ('source = "s"', 'source = "g"', "model.source: names a pin that another key names"),
        ('source = "s"', "", "source is missing: a switch has the pins"),
        ('subcircuit = "mine"', 'subcircuit = "min"', "did you mean mine"),
        ('file = "mine.lib"', 'file = "nowhere.lib"', "model file: there is no such file"),
        ('file = "mine.lib"', 'file = "../../etc/x.lib"', "leads out of the folder"),
        ('file = "mine.lib"', 'file = "part.toml"', "part.toml:"),
    ],
)
def test_what_does_not_fit_says_what_to_do(desk: Path, old: str, new: str, says: str) -> None:
    (desk / "mine.lib").write_text(own_switch_as_a_file(90.0))
    assert old in MODEL
    (desk / "part.toml").write_text(PART.read_text(encoding="utf-8") + MODEL.replace(old, new))
    with pytest.raises(InputError, match=re.escape(says)):
        simkit.load_machine(desk / "machine.toml")


def test_pins_that_nobody_named_are_asked_for(desk: Path) -> None:
    text = own_switch_as_a_file(90.0).replace(".subckt mine d g k s", ".subckt mine d g k s tj")
    (desk / "mine.lib").write_text(text)
    (desk / "part.toml").write_text(PART.read_text(encoding="utf-8") + MODEL)
    with pytest.raises(InputError, match="says nothing of the pins tj of the subcircuit mine"):
        simkit.load_machine(desk / "machine.toml")


def test_lines_of_a_machine_file_s_own_are_held_against_the_normal_form() -> None:
    from pydantic import ValidationError

    from simkit.parameters.switch import SwitchModel

    good = (".model w1 d(is=1e-12)", ".subckt device p1 p2 p3 p4", "d1 p1 p2 w1", ".ends")
    assert SwitchModel(lines=good, nodes="di gi si", file="x.lib")
    for bad in (".control", "shell ls", "r1 a b 1", "b1 p1 p2 v=system(1)\n.include x", "*#x"):
        with pytest.raises(ValidationError):
            SwitchModel(lines=(*good, bad), nodes="di gi si", file="x.lib")


# --- trust it first: the virtual tests on the file itself -----------------------------------------

SILENT = """
* a switch as careless files have it: one resistance, one capacitance, a diode that does not store
.subckt mine d g s k
rg g gi 1.5
cgs gi k 6.5n
cgd d gi 170p
cds d k 630p
bch d s i={if(v(gi,k)>4, min((v(gi,k)-4)*v(d,s)/0.8, 20*(v(gi,k)-4)), 0)}
d1 s d dm
rk k s 1u
.model dm d(is=1e-10 n=1.2 rs=5m)
.ends
"""


def test_the_tests_say_what_a_careless_file_lacks(desk: Path) -> None:
    """Capacitance that does not change, no temperature, no stored charge, no breakdown: each shown
    with its figure."""
    folder = desk
    (folder / "mine.lib").write_text(SILENT)
    part = load_part_with(folder, MODEL)
    report = examine(
        part.model,
        lambda d: NgspiceEngine().run(d.text, d.saved, d.stop),
        dressed=lambda switch, celsius: with_model(part, switch, celsius),
    )
    said = " ".join(notes_on(part, report))
    assert "hardly knows temperature" in said
    assert "hardly recovers" in said
    got = {r.quantity: r.obtained for r in report.rows if r.test == "capacitance"}
    assert got["C_oss"] == pytest.approx(800e-12, rel=0.05)
    assert got["C_rss"] == pytest.approx(170e-12, rel=0.05)


def load_part_with(folder: Path, model: str) -> Loaded[Any]:
    path = folder / "part.toml"
    path.write_text(PART.read_text(encoding="utf-8") + model)
    return load_part(path)
