"""Plausible values through the verbs: a small part of the long run (benchmarks/plausible.py, whose
figures are in docs/fuzzing.md), and that a fault of our own would be seen there."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from benchmarks.plausible import Case, case, done, finding, place
from simkit.report.style import drawing
from simkit.verbs import check
from tests.slowly import first_quick

SEEDS = range(30_000_000, 30_000_016)
"""None of them in the long run."""


@pytest.mark.slow
def test_plausible_values_end_as_documented(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SIMKIT_CACHE_DIR", str(tmp_path / "cache"))
    place(tmp_path)
    for seed in SEEDS:
        command = case(seed, tmp_path)
        assert not finding(*done(command)), " ".join(command.arguments)


DEMO = "scenarios/chisel-brazing"
SLOW = ("--set", "drive.frequency_min=1 kHz", "--set", "drive.frequency_max=3.6 kHz",
        "--set", "drive.dead_time=60 us")  # fmt: skip


@pytest.mark.parametrize(
    ("code", "command"),
    first_quick([
        (1, ("check", f"{DEMO}/machine.toml", "--set", "drive.dead_time=50 ns")),
        (1, ("check", f"{DEMO}/machine.toml", "--set", "drive.gate_resistor=200 ohm")),
        (1, ("check", f"{DEMO}/machine.toml", *SLOW)),
        (3, ("run", f"{DEMO}/pull-out-hot.toml", "--set", "drive.gate_resistor=200 ohm")),
        (3, ("run", f"{DEMO}/pull-out-hot.toml", "--set", "drive.dead_time=50 ns")),
        (2, ("run", f"{DEMO}/pull-out-hot.toml", *SLOW)),
        (3, ("map", f"{DEMO}/pull-out-hot.toml", "--cases", "1", "--jobs", "1", "--set",
             "drive.gate_resistor=200 ohm")),
        (3, ("map", f"{DEMO}/machine.toml", "--gate-resistor", "--jobs", "1", "--set",
             "drive.gate_resistor=200 ohm")),
    ], 4),
)  # fmt: skip
def test_what_once_was_called_a_fault_of_our_own(
    code: int, command: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """3: the engine's stand-in stops; that it was asked is what counts here."""
    monkeypatch.setenv("SIMKIT_CACHE_DIR", str(tmp_path / "cache"))
    place(tmp_path)
    monkeypatch.chdir(tmp_path)
    found, said, _ = done(Case(command[0], command))
    assert found == code, said


def test_a_title_is_no_formula() -> None:
    with drawing({}):
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure

        figure = Figure()
        figure.suptitle(r"$\frac{$ =1+1")
        out = io.BytesIO()
        FigureCanvasSVG(figure).print_svg(out)
    assert out.getvalue()


def test_a_fault_would_be_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise KeyError("bronze")

    monkeypatch.setattr(check, "cores", broken)
    monkeypatch.setattr("simkit.studies.inputs.loading.load_machine", broken)
    assert finding(*done(Case("check", ("check", "machine.toml")))).startswith("exit 4")
