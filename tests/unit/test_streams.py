"""Standard output and error closed, full or not read; Ctrl-C taken for something else.

Exit codes are the command contract's: what could not be said is no verdict (3), never "over" (1).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from simkit import cli
from tests.slowly import first_quick

ROOT = Path(__file__).resolve().parents[2]
SIMKIT = f"{sys.executable} -m simkit"
MACHINE = "scenarios/chisel-brazing/machine.toml"


def shell(line: str) -> tuple[int, str, str]:
    done = subprocess.run(line, shell=True, cwd=ROOT, capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize(
    "verb", first_quick(["schema machine", f"check {MACHINE} --json", "explain dead_time"])
)
@pytest.mark.parametrize("out", [">/dev/full", ">&-"])
def test_what_cannot_be_written_is_no_verdict(verb: str, out: str) -> None:
    """The first is larger than any buffer, the second smaller."""
    code, _, err = shell(f"{SIMKIT} {verb} {out}")
    assert code == 3
    assert "standard output cannot be written to" in err
    assert "full" not in out or "No space left" in err


def test_an_error_as_json_to_a_full_disk_is_no_traceback() -> None:
    code, _, err = shell(f"{SIMKIT} check none.toml --json >/dev/full")
    assert (code, "cannot be written" in err) == (3, True)


@pytest.mark.slow
@pytest.mark.parametrize("err", ["2>/dev/full", "2>&-"])
def test_notes_that_cannot_be_written_change_nothing(err: str) -> None:
    code, out, _ = shell(f"{SIMKIT} check {MACHINE} {err}")
    assert code == 1  # its piece taken out at the same frequency
    assert "resonant frequency" in out
    assert shell(f"{SIMKIT} check none.toml {err}")[0] == 2
    assert shell(f"{SIMKIT} check none.toml --json >/dev/full {err}")[0] == 3


@pytest.mark.slow
def test_a_closed_stream_is_not_given_to_another_file(tmp_path: Path) -> None:
    """Else the deck itself would be written to number 1, with whatever is printed."""
    deck = tmp_path / "deck.cir"
    scenario = "scenarios/chisel-brazing/tune-down.toml"
    assert shell(f"{SIMKIT} deck {scenario} --no-engine -o {deck} <&- >&- 2>&-")[0] in (0, 3)
    assert deck.read_text().rstrip().endswith(".end")
    assert shell(f"{SIMKIT} deck {scenario} --no-engine -o {deck}b")[0] == 0
    assert deck.read_text() == Path(f"{deck}b").read_text()


def test_an_interrupt_that_a_library_takes_for_an_error_is_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def verb(arguments: list[str], **_: object) -> None:
        raise ImportError("initialisation failed")

    monkeypatch.setattr(cli.group, "main", verb)
    assert cli.run(["check"]) == 4
    monkeypatch.setattr(cli.INTERRUPT, "asked", True)
    assert cli.run(["check"]) == 130
