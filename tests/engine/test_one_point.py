"""The fast model's operating point, which `check`, map and local page show, against settled runs.

First pass only (20 ns): finer steps move these figures by less than a tenth of what is asked here.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from simkit.studies.check.study import NAMES, check_machine
from simkit.studies.check.suggest import settled
from simkit.studies.inputs.loading import load_machine
from tests.engine.runs import BENCH
from tests.machines import ROOT

FILES = sorted((ROOT / "scenarios").glob("*/machine.toml"))
ROOM = {"junction_peak": 0.04}
"""Where 2 % is not reached: the fast model leaves the ringing of the power loop out of the loss;
2.8 % of the temperature was the largest seen, 1.2 % of any other figure."""


@pytest.mark.slow
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.parent.name)
def test_check_says_what_a_run_says(path: Path) -> None:
    machine = load_machine(path, {}).model
    piece = next(iter(machine.workpieces))
    found = BENCH.rehearse(machine, settled(machine, piece))
    rows = {row.quantity: row for row in check_machine(machine) if row.load == piece}
    for quantity, title in NAMES.items():
        run = max(s.worst[0] for s in found.series if s.quantity == quantity)
        room = ROOM.get(quantity, 0.02)
        assert rows[title].value == pytest.approx(run, rel=room), quantity
    needed = max(t.needed for t in found.whole.transitions)
    # 5 %: the largest of all transitions there, their mean here; 3.5 % was the largest seen
    assert rows["dead time against swing of the node"].limit == pytest.approx(needed, rel=0.05)
