"""`simkit explain`: every name that appears anywhere has its words, and a typo finds them.

What it is held against: the schema of the files, the limits that are judged, the keys of the
command contract, and the modules that are said to compute a figure.
"""

import json
import re
from pathlib import Path

import pytest

from simkit import cli
from simkit.errors import InputError
from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.parameters.fields import quantities
from simkit.parameters.machine import Machine
from simkit.parameters.schema import MODELS
from simkit.parts.materials import materials
from simkit.studies.explain.study import LABELS, explained, field_docs, glossary, names
from tests.machines import demo

ROOT = Path(__file__).resolve().parents[2]


def test_every_judged_quantity_has_all_its_words() -> None:
    judged = {limit.quantity for limit in machine_limits(demo())}
    assert judged <= set(figures())
    for name in figures():
        said = dict(explained(name).lines)
        assert {"What it is", "Why it kills", "How it is computed", "On the scope",
                "Known to help, not tried", "Computed in"} <= set(said)  # fmt: skip


@pytest.mark.parametrize("name", figures())
def test_a_definition_points_at_what_is_there(name: str) -> None:
    about = figures()[name]
    text = (ROOT / about.place).read_text(encoding="utf-8")
    series = "gate_lift" if name == "gate_lift" else name
    studies = sorted((ROOT / "simkit/studies").rglob("*.py"))
    where = text + "".join(path.read_text(encoding="utf-8") for path in studies)
    assert f'"{series}"' in where
    keys = set(quantities(Machine))
    assert set(about.words.moved_by) <= keys


def test_a_place_named_in_the_glossary_exists() -> None:
    for term in glossary().values():
        for path in re.findall(r"(?:simkit|netlists)/[\w./]+", str(term["how"])):
            assert (ROOT / path.rstrip(".")).is_file(), path


@pytest.mark.parametrize("name", list(glossary()))
def test_a_term_says_what_why_and_how(name: str) -> None:
    said = dict(explained(name).lines)
    assert {LABELS["what"], LABELS["why"], LABELS["how"]} <= set(said)


@pytest.mark.parametrize("file", MODELS)
def test_every_key_of_every_file_is_explained(file: str) -> None:
    for key, quantity in quantities(MODELS[file]).items():
        found = explained(key.replace("*", "anything"))
        assert found.kind == "field"
        assert quantity.unit == "1" or quantity.unit in dict(found.lines)["Unit"]


@pytest.mark.parametrize(
    "name",
    # the words of the command contract's result document that a reader may ask about
    ["inductive", "resonant", "capacitive", "within_limits", "over_limit", "no_verdict",
     "not_evaluated", "resonant_frequency_hz", "phase_deg", "turn_off_current_a", "loaded_q",
     "dead_time_s", "needed_s", "available_s", "refinement_error", "energy_residual",
     "peak_current_a", "charge_c", "overshoot_v"],
)  # fmt: skip
def test_words_of_the_result_are_explained(name: str) -> None:
    assert explained(name).lines


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("dead_time", "drive.dead_time"),
        ("drive.dead_time", "drive.dead_time"),
        ("workpieces.my-shank.resistance", "workpieces.*.resistance"),
        ("ZVS", "zero-voltage-switching"),
        ("zero voltage switching", "zero-voltage-switching"),
        ("Recovery dv dt", "recovery_dv_dt"),
        ("bridge", "bridge"),
        ("switch.ratings", "switch.ratings"),
    ],
)
def test_names_are_found_as_people_write_them(typed: str, name: str) -> None:
    assert explained(typed).name == name


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("recovery_dvdt", "recovery_dv_dt"),
        ("dead_tim", "drive.dead_time"),
        ("capacitve", "capacitive"),
        ("flux_pek", "flux_peak"),
    ],
)
def test_a_typo_is_answered_with_the_nearest_name(typed: str, offered: str) -> None:
    with pytest.raises(InputError, match=re.escape(offered)):
        explained(typed)


def test_an_unknown_name_is_wrong_input(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["explain", "xyzzy"]) == 2
    assert "`simkit explain` alone lists them" in capsys.readouterr().err


def test_alone_it_lists_every_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["explain"]) == 0
    text = capsys.readouterr().out
    assert all(name in text for kind in names().values() for name in kind)
    assert cli.run(["explain", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert set(listed["field"]) == {doc.key for doc in field_docs()}


def test_json_is_the_same_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["explain", "gate_lift", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["name"] == "gate_lift"
    assert all(len(line) == 2 for line in document["lines"])


def test_materials_are_listed_and_explained() -> None:
    """Resistivity of copper and the Curie point of iron: CRC Handbook (recalled from memory)."""
    assert names()["material"] == tuple(materials())
    for name in materials():
        said = dict(explained(name).lines)
        assert {"What it is", "Resistivity", "Density", "Named in"} <= set(said)
    assert dict(explained("copper").lines)["Resistivity"].startswith(("1.68e-08", "1.7"))
    assert "Curie point 770 degC" in dict(explained("low-carbon steel").lines)["Magnetic"]
    key = dict(explained("workpieces.a.geometry.material").lines)
    assert "brass" in key["One of"]
