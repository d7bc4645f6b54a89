"""Nothing but element and dot lines of the templates' kind reaches the engine."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from simkit.run.guard import DeckRefused, inspect
from simkit.run.library import find_library
from simkit.run.process import NgspiceEngine

GOOD = (
    "* rc\nv1 in 0 1\nr1 in out 1e3\nc1 out 0 1e-7 ic=0\n"
    ".save v(out)\n.tran 1e-6 1e-4 0 1e-6 uic\n.end\n"
)


def hostile(target: Path) -> list[str]:
    touch = f"shell touch {target}"
    return [
        f".control\n{touch}\n.endc",
        f"  .CONTROL\n{touch}\n.endc",
        f".control \n run\n{touch}\n.endc",
        f"*# {touch}",
        f"* # {touch}",
        f"*ng_script\n{touch}",
        touch,
        f".include {target}.cir",
        f".lib {target}.lib tt",
        f".inc '|{touch}'",
        f'.include "`{touch}`"',
        f"r9 a b 1\x0b.control\x0b{touch}\x0b.endc",
        f"r9 a b 1\x0c.control\x0c{touch}\x0c.endc",
        f"r9 a b 1\x85.control\x85{touch}\x85.endc",
        f"r9 a b 1\r.control\r{touch}\r.endc",
        f"r9 a b 1\u2028.control\u2028{touch}",
        f"r9 a b `{touch}`",
        "r9 a b $(touch x)",
        "r9 a b 1; quit",
        f"r9 a b 1 ' {touch}",
        ".csparam x=1",
        ".func f(x) {x}",
        ".param x='1'",
        "a1 in out model",
        "r9 а b 1",  # a Cyrillic letter in a node's name
        ".plot tran v(out)",
        ".option post\n!touch",
        ".meas tran x find v(out) at=1",
        "\ufeff.control",
        "r9 a b 1\x00.control",
    ]


def test_templates_decks_pass() -> None:
    inspect(GOOD)


@pytest.mark.parametrize("number", range(30))
def test_hostile_decks_are_refused_before_any_engine(number: int, tmp_path: Path) -> None:
    target = tmp_path / "was-here"
    lines = hostile(target)[number]
    deck = GOOD.replace(".save", f"{lines}\n.save")
    with pytest.raises(DeckRefused, match="may not reach the engine"):
        NgspiceEngine().run(deck, ("v(out)",), 1e-4)
    first = f"{lines}\n{GOOD}"
    with pytest.raises(DeckRefused):
        inspect(first)
    assert not target.exists()


def raw_session(folder: Path, deck: str) -> None:
    """The engine's own session in a folder, with no guard before it and no fence around it."""
    (folder / "deck.cir").write_text(deck)
    script = (
        "import sys; from simkit.run import ngspice\n"
        "s, lines = ngspice.open_session(sys.argv[1])\n"
        "s.load_circuit(open(sys.argv[2]).read())\n"
    )
    subprocess.run(
        [sys.executable, "-c", script, find_library().path, str(folder / "deck.cir")],
        cwd=folder, check=False, capture_output=True, timeout=60,
    )  # fmt: skip


@pytest.mark.parametrize(
    "hidden",
    [".control\nshell touch {0}\n.endc\n", "*# shell touch {0}\n",
     "r9 in 0 1e6\x0b.control\x0bshell touch {0}\x0b.endc\n"],
    ids=["control block", "start-up comment", "vertical tabs"],
)  # fmt: skip
def test_the_engine_would_have_run_it(hidden: str, tmp_path: Path) -> None:
    """The control: without the guard the same deck writes the file."""
    target = tmp_path / "was-here"
    deck = GOOD.replace(".end\n", hidden.format(target) + ".end\n")
    with pytest.raises(DeckRefused):
        inspect(deck)
    raw_session(tmp_path, deck)
    assert target.exists()


def test_the_engine_would_have_read_a_start_up_file(tmp_path: Path) -> None:
    """The control: outside the fence a start-up file in the current folder is run."""
    target = tmp_path / "was-here"
    (tmp_path / ".spiceinit").write_text(f"shell touch {target}\n")
    raw_session(tmp_path, GOOD)
    assert target.exists()


def test_start_up_files_are_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "was-here"
    home = tmp_path / "home"
    home.mkdir()
    for folder in (home, tmp_path):
        (folder / ".spiceinit").write_text(f"shell touch {target}\n")
        (folder / "spinit").write_text(f"shell touch {target}\n")
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("SPICE_SCRIPTS", str(tmp_path))
    monkeypatch.setenv("SPICE_LIB_DIR", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    run = NgspiceEngine().run(GOOD, ("v(out)",), 1e-4)
    assert run.vectors["v(out)"][-1] == pytest.approx(1 - 2.718281828**-1, rel=1e-3)
    assert not target.exists()
    assert os.getcwd() == str(tmp_path)
