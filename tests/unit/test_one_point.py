"""`check`, the local page and a map ask one fast model: the same figures, over shipped and random
machines. What the circuit says of them is held against it in `tests/engine/test_one_point.py`.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.live.answers import Question, answered
from simkit.parameters.machine import Machine
from simkit.report.text import quantity as shown_as
from simkit.studies.check.row import CheckRow
from simkit.studies.check.study import NAMES, check_machine
from simkit.studies.check.suggest import settled
from simkit.studies.inputs.loading import load_machine
from simkit.studies.maps.cases import fast
from tests.machines import ROOT, varied
from tests.slowly import first_quick

FILES = sorted((ROOT / "scenarios").glob("*/machine.toml"))
ROOM = 0.02
"""A march's peaks and means are those of single half periods, a periodic solution's of one that
repeats; the issue's own bound."""


WARM = 0.03
"""The same for a junction: a march takes its edges' losses from a table of currents."""


def shaken(seed: int) -> Machine:
    """A shipped machine with values drawn within a third of what they are, from a fixed seed."""
    draw = random.Random(seed)
    machine = load_machine(FILES[seed % len(FILES)], {}).model
    keys = ("supply.voltage", "transformer.magnetising_inductance", "tank.can_capacitance",
            "transformer.leakage_inductance", "drive.gate_resistor",
            "drive.working_margin")  # fmt: skip
    changes = {key: draw.uniform(0.75, 1.33) * value_at(machine, key) for key in keys}
    return varied(machine, changes)


def value_at(machine: Machine, key: str) -> float:
    table: object = machine
    for name in key.split("."):
        table = getattr(table, name)
    assert isinstance(table, float | int)
    return float(table)


def told(machine: Machine, piece: str) -> dict[str, CheckRow]:
    return {row.quantity: row for row in check_machine(machine) if row.load == piece}


def agree(machine: Machine) -> None:
    bounds = {limit.quantity: limit.bound for limit in machine_limits(machine)}
    for piece in machine.workpieces:
        rows = told(machine, piece)
        mapped = fast(machine, settled(machine, piece))["limits"]
        for quantity, title in NAMES.items():
            other = mapped[quantity] * bounds[quantity]
            room = WARM if quantity == "junction_peak" else ROOM
            assert rows[title].value == pytest.approx(other, rel=room), (piece, quantity)


@pytest.mark.parametrize("path", first_quick(FILES, 2), ids=lambda path: path.parent.name)
def test_check_and_map_agree_on_shipped_machines(path: Path) -> None:
    agree(load_machine(path, {}).model)


@pytest.mark.parametrize("seed", first_quick(range(20), 2))
def test_check_and_map_agree_on_random_machines(seed: int) -> None:
    agree(shaken(seed))


@pytest.mark.slow
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.parent.name)
def test_the_local_page_says_what_check_says(path: Path) -> None:
    machine = load_machine(path, {}).model
    piece = next(iter(machine.workpieces))
    found = answered(path, Question({}, piece, None))
    shown = {row["quantity"]: row["value"] for row in found["limits"]}
    rows = told(machine, piece)
    for quantity, title in NAMES.items():
        unit = figures()[quantity].unit
        assert shown[quantity] == shown_as(rows[title].value, unit), quantity
    needed = rows["dead time against swing of the node"].limit
    assert needed is not None
    assert math.isclose(found["window"]["needed"], needed, rel_tol=1e-5)


def test_a_dead_time_that_the_gates_use_up_is_over() -> None:
    """80 ns on the demonstration machine: its gates alone take longer to pass their threshold, and
    every transition of the circuit's run was hard."""
    machine = load_machine(ROOT / "scenarios" / "chisel-brazing" / "machine.toml",
                           {"drive.dead_time": "80 ns"}).model  # fmt: skip
    row = told(machine, "cold-steel-weak-field")["dead time against swing of the node"]
    assert row.status == "over"
