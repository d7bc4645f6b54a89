"""What `./run bench` takes and prints, with made-up figures in place of the measured ones.

The shape of the document is the contract of the command, as issue and help text state it; the
figures are made up in the test, so that nothing is measured here.
"""

import json

import numpy as np
import pytest

import benchmarks.__main__ as bench
from benchmarks.figure import Figure


@pytest.fixture(autouse=True)
def _made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    # As numpy gives it: its comparisons are no plain bool, which JSON refuses.
    ratio = Figure(1, "first", "ratio", np.float64(0.05), 0.1, note="met")
    value = Figure(2, "second", "value", None, 3.0, unit="s", note="could not be had")
    monkeypatch.setattr(bench, "FIGURES", {1: lambda: [ratio], 2: lambda: [value]})
    monkeypatch.setattr(bench, "find_program", lambda: "ngspice")


def test_bench_without_numbers_measures_every_figure(capsys: pytest.CaptureFixture[str]) -> None:
    assert bench.main([]) == 0
    said = capsys.readouterr().out
    assert "1  first" in said
    assert "2  second" in said
    assert "NOT met" in said  # what could not be had meets no goal


def test_bench_json_without_numbers_is_one_document(capsys: pytest.CaptureFixture[str]) -> None:
    assert bench.main(["--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {"machine", "figures"}
    first, second = told["figures"]
    assert (first["name"], first["ratio"], first["goal"], first["met"]) == (
        "first",
        0.05,
        0.1,
        True,
    )
    assert (second["value"], second["met"]) == (None, False)


def test_bench_measures_only_the_figures_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert bench.main(["2"]) == 0
    said = capsys.readouterr().out
    assert "second" in said
    assert "first" not in said


@pytest.mark.parametrize("wrong", ["9", "x"])
def test_bench_refuses_a_figure_there_is_not(
    wrong: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        bench.main([wrong])
    assert ended.value.code == 2
    assert wrong in capsys.readouterr().err
