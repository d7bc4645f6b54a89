"""Cautions in the text of every verb that leads to power, and in its JSON under one key."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from simkit.cli import VERBS, run
from simkit.judge.cautions import CAUTIONS, spoken
from simkit.studies.all_faults import study
from simkit.studies.situations import cases
from tests.unit.test_promises import promises

pytestmark = pytest.mark.usefixtures("kept_by_all")
ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "chisel-brazing"
MACHINE, PULL = str(DEMO / "machine.toml"), str(DEMO / "pull-out-wide.toml")
READINGS = 'machine = "chisel-brazing"\n' + "".join(
    f'[[points]]\nload = "{load}"\nsupply_voltage = "24 V"\n'
    f'resonance = {{ value = "{hertz} kHz", uncertainty = "0.5 kHz" }}\n'
    for load, hertz in (("empty", 79.5), ("cold-steel-weak-field", 77))
)
NO_POWER = {
    "doctor": "about the program", "completion": "about the shell", "cache": "about the disk",
    "schema": "about files", "deck": "a netlist for another program, comments and all",
    "explain": "what a word means",
}  # fmt: skip
"""Verbs after which nobody powers anything up, with the reason."""
QUICK = {
    "check": ["check", MACHINE],
    "new": ["new", "mine", "--defaults"],
}
SLOW = {
    "run": ["run", PULL, "--no-advice"],
    "run --all-faults": ["run", "--all-faults", MACHINE],
    "compare": ["compare", MACHINE, str(DEMO.parent / "changes" / "five.toml"),
                "--scenario", PULL],
    "map": ["map", PULL, "--only", "--vary", "drive.dead_time=0.5 us..0.6 us/2", "--sample",
            "full"],
    "map --gate-resistor": ["map", "--gate-resistor", MACHINE],
    "protect": ["protect", PULL],
    "part": ["part", str(DEMO.parent / "parts" / "class-500v-planar.toml")],
    "part --piece": ["part", str(DEMO.parent / "bar-heating" / "machine.toml"), "--piece",
                     "cold-bar"],
    "bring-up": ["bring-up", MACHINE],
    "fit": ["fit", MACHINE, "readings.toml"],
}  # fmt: skip
LONG = ("run --all-faults", "compare", "bring-up", "map --gate-resistor", "fit")
"""Those that take long, whose printing is the others' own."""
EVERY = [
    *(pytest.param(words, id=name) for name, words in QUICK.items()),
    *(
        pytest.param(words, id=name, marks=pytest.mark.study if name in LONG else pytest.mark.slow)
        for name, words in SLOW.items()
    ),
]


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "readings.toml").write_text(READINGS, encoding="utf-8")


def test_every_verb_is_tried_or_said_to_lead_nowhere_near_power() -> None:
    tried = {name.split()[0] for name in (*QUICK, *SLOW)} | {"bench"}
    assert tried | set(NO_POWER) == set(VERBS)
    assert tried & set(NO_POWER) == set()


@pytest.mark.parametrize("words", EVERY)
def test_a_verb_ends_with_the_cautions_and_its_json_has_them_under_one_key(
    words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second time from what the first kept, where the verb keeps anything. Of all faults
    three: how many there are changes nothing in what is said after them."""
    few = study.SITUATIONS[:3]
    monkeypatch.setattr(study, "SITUATIONS", few)
    monkeypatch.setattr(study, "cases", lambda m: {s.name: cases(m)[s.name] for s in few})
    assert run([*words, "--quiet"]) in (0, 1, 3)
    said = capsys.readouterr()
    assert spoken() in said.err
    assert promises(said.out + said.err) == []
    words = ["new", "other", "--defaults"] if words[0] == "new" else words
    run([*words, "--json", "--quiet"])
    assert json.loads(capsys.readouterr().out)["cautions"] == list(CAUTIONS)


def test_the_bench_says_them_with_its_address(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from simkit.live import serve

    monkeypatch.setattr(serve, "serve", lambda _m, _o, ready, *_: ready("http://127.0.0.1:1/a"))
    assert run(["bench", MACHINE]) == 0
    assert spoken() in capsys.readouterr().err


def test_a_verb_without_them_is_found_out(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from simkit.verbs import check

    monkeypatch.setattr(check, "caution", lambda: None)
    run(["check", MACHINE])
    assert spoken() not in capsys.readouterr().err


def test_the_block_fits_a_terminal() -> None:
    assert max(map(len, spoken().splitlines())) <= 100
