"""The shipped situation files are what the registry drafts: `pytest FILE --renew` writes them anew.

No physics here: the files are held against the code they come from, and read back as a person's
would be.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from simkit.studies.all_faults.study import scenario_files
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.situations import SITUATIONS, NotHere, cases
from tests.machines import ROOT

MACHINES = ("chisel-brazing", "copper-casting")


def folder(machine: str) -> Path:
    return ROOT / "scenarios" / machine / "situations"


def drafted(machine: str) -> dict[str, str]:
    loaded = load_machine(folder(machine).parent / "machine.toml")
    return dict(scenario_files(loaded, "../machine.toml"))


@pytest.mark.parametrize("machine", MACHINES)
def test_shipped_files_are_current(machine: str, request: pytest.FixtureRequest) -> None:
    made = drafted(machine)
    if request.config.getoption("--renew"):
        folder(machine).mkdir(exist_ok=True)
        for path in folder(machine).glob("*.toml"):
            path.unlink()
        for name, text in made.items():
            (folder(machine) / f"{name}.toml").write_text(text, encoding="utf-8")
    stored = {p.stem: p.read_text(encoding="utf-8") for p in folder(machine).glob("*.toml")}
    assert stored == made


@pytest.mark.slow
@pytest.mark.parametrize("machine", MACHINES)
def test_a_file_reads_back_as_the_drafted_case(machine: str) -> None:
    drafts = cases(load_machine(folder(machine).parent / "machine.toml").model)
    for situation in SITUATIONS:
        draft = drafts[situation.name]
        if isinstance(draft, NotHere):
            continue
        scenario, loaded = load_scenario(folder(machine) / f"{situation.name}.toml")
        assert loaded.model == draft.machine, situation.name
        assert scenario.model.events == draft.scenario.events, situation.name
        assert scenario.model.aftermath == draft.scenario.aftermath, situation.name
        # The file has nine digits.
        assert scenario.model.start.settled == pytest.approx(draft.scenario.start.settled, rel=1e-8)
