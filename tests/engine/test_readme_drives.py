"""README's table of drives, row by row: what it says is what the rehearsal of the file says.

A row names a scenario file; its verdict, its multiples of limits and its last state are compared.
"""

from __future__ import annotations

import re

import pytest

from simkit.judge.verdict import leading
from simkit.rehearsal.rehearser import Rehearser
from simkit.studies.inputs.loading import load_scenario
from tests.machines import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
ROWS = re.findall(
    r"^\| [^|]*\(`(\S+/drives/\S+\.toml)`\)[^|]* \| ([^|]*) \| ([^|]*) \|$", README, re.M
)
WORDS = {
    "recovery dv/dt": "recovery_dv_dt", "recovery di/dt": "recovery_di_dt",
    "cans' current": "can_current_rms", "supply's current": "supply_current",
    "flux": "flux_peak", "switch's rms": "drain_current_rms", "junction": "junction_held",
    "junction in the event": "junction_peak", "channel's peak": "channel_current_peak",
}  # fmt: skip
"""README's words for a figure."""
SAYS = {"over a limit": "over_limit", "within the limits checked": "within_limits",
        "no verdict": "no_verdict"}  # fmt: skip


def test_every_kind_of_drive_has_its_row() -> None:
    names = {path.rsplit("/", 1)[1] for path, _, _ in ROWS}
    assert {"fixed.toml", "margin.toml", "phase-10-hz.toml", "phase-100-hz.toml",
            "phase-1-khz.toml", "sampled-0-3.toml", "self-oscillating.toml"} <= names  # fmt: skip
    assert {p.split("/")[0] for p, _, _ in ROWS} == {"chisel-brazing", "tube-bending"}


LONG = "tube-bending/drives/phase-100-hz.toml"
"""A third of what all rows take."""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("path", "verdict", "last"),
    [pytest.param(*r, id=r[0], marks=pytest.mark.study if r[0] == LONG else ()) for r in ROWS],
)
def test_a_row_says_what_its_run_says(path: str, verdict: str, last: str) -> None:
    scenario, machine = load_scenario(ROOT / "scenarios" / path)
    found = Rehearser().rehearse(machine.model, scenario.model)
    said = next(word for word in SAYS if verdict.startswith(word))
    assert found.verdict.outcome == SAYS[said]
    ratios = {r.quantity: r.ratio for r in found.rows}
    told = re.findall(r"([a-zA-Z][^,:;]*?) (\d+(?:\.\d+)?) times", verdict.partition(":")[2])
    for name, times in told:
        # As printed, and two numerical errors of a per cent or so.
        assert float(times) == pytest.approx(ratios[WORDS[name]], rel=0.03, abs=0.06)
    if said == "over a limit":
        lead = leading(found.rows)
        assert lead is not None
        assert WORDS[told[0][0]] == lead.quantity, (
            "the row begins with what the verdict begins with"
        )
    phase, current = (float(x) for x in re.findall(r"-?\d+(?:\.\d+)?", last))
    assert found.after.phase_deg == pytest.approx(phase, abs=2.0)
    assert found.after.supply_current_a == pytest.approx(current, rel=0.03, abs=0.06)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["fixed-wide", "fixed-hot"])
def test_what_the_prose_says_stays_within(name: str) -> None:
    assert f"`{name}.toml`" in README
    scenario, machine = load_scenario(ROOT / "scenarios/chisel-brazing/drives" / f"{name}.toml")
    found = Rehearser().rehearse(machine.model, scenario.model)
    assert found.verdict.outcome == "within_limits"
