"""Every element of every deck has a limit, a printed figure, or a reason why not.

The house's own rule; the decks are the golden ones and the templates themselves, faults included.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from simkit.circuit.netlist import machine_deck
from simkit.circuit.profile import Profile
from simkit.figures.table import figures
from simkit.judge.elements import ELEMENTS, limits_of
from simkit.judge.limits import machine_limits, unrated
from simkit.measure.periodic import Cycle
from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.rehearsal.job import WORKING
from simkit.rehearsal.part_figure import PartFigure
from simkit.rehearsal.part_limits import _not_worked_out, part_figures
from simkit.studies.inputs.loading import load_machine
from tests.decks.test_golden import CASES, SEED
from tests.machines import ROOT, demo, still
from tests.waves import waves

GOLDEN = Path(__file__).parent / "golden"
TEMPLATES = [p for p in (ROOT / "netlists").glob("*.j2") if not p.name.startswith("test_")]


def elements(text: str) -> set[str]:
    """Names of the elements of a deck or template, loop variables standing for 1."""
    names = set()
    for line in text.splitlines():
        plain = re.sub(r"{{[^}]*}}", "1", line).strip()
        found = re.match(r"([bcdgklmrvx]\w*)\s+\S+\s", plain)
        if found and not plain.startswith((".", "*", "+", "{")):
            names.add(found[1].lower())
    return names


@pytest.mark.parametrize(
    "path", [*sorted(GOLDEN.glob("*.cir")), *sorted(TEMPLATES)], ids=lambda p: p.name
)
def test_no_element_without_a_limit_or_a_reason(path: Path) -> None:
    for name in elements(path.read_text(encoding="utf-8")):
        quantities, reason = limits_of(name)
        assert quantities or len(reason) > 20, name


def test_the_walk_sees_elements_and_refuses_what_nobody_thought_of() -> None:
    seen = {n for p in GOLDEN.glob("*.cir") for n in elements(p.read_text(encoding="utf-8"))}
    assert {"xq1", "m1", "cfilm", "ctank", "cblk", "csph", "lmat", "kgt1", "lmag"} <= seen
    with pytest.raises(LookupError, match="cnew"):
        limits_of("cnew")


def test_the_quantities_exist() -> None:
    judged = {limit.quantity for limit in machine_limits(demo())}
    for _, quantities, _ in ELEMENTS:
        assert set(quantities) <= set(figures())
    limited = {q for _, quantities, _ in ELEMENTS for q in quantities}
    assert judged <= limited | {"junction_peak"}


SHIPPED = sorted(p.parent.name for p in (ROOT / "scenarios").glob("*/machine.toml"))
TIME = np.linspace(0.0, 1e-4, 401)


@cache
def shipped(name: str) -> Machine:
    return load_machine(ROOT / "scenarios" / name / "machine.toml").model


def figures_of_parts(machine: Machine) -> list[PartFigure]:
    """Of waveforms drawn by hand, every node at some sine of its own."""
    nodes = {name: 100.0 + 10.0 * np.sin(6e5 * TIME + k) for k, name in enumerate(
        ("p", "a", "b", "pa", "pb", "lx", "rx", "cf1", "cl1", "film", "link", "sh", "sl", "n1",
         "n2", "n3", "n4", "na", "nb", "s1", "s2", "w", "t1"))}  # fmt: skip
    cycle = Cycle(0.0, 1e-4)
    stretch = SimpleNamespace(waves=waves(machine, TIME, **nodes), cycles=(cycle,))
    point = SimpleNamespace(input_power_w=900.0, supply_voltage_v=machine.supply.voltage,
                            frequency_hz=8e4)  # fmt: skip
    flux = Series("core", "flux_peak", "T", np.zeros(1), np.array([0.1]))
    rows = [SimpleNamespace(quantity="can_current_rms", value=10.0, error=0.1)]
    whole: Any = SimpleNamespace(
        machine=machine, rows=rows, first_pass=(stretch,), stretches=(stretch,), series=(flux,),
        before=point, after=point, is_whole=True,
        line=SimpleNamespace(events=(), end=1e-4, voltage=Profile(machine.supply.voltage)),
    )  # fmt: skip
    return list(part_figures(whole))


def told(machine: Machine) -> set[str]:
    """Every quantity that a run of a machine judges, or prints as one without a rating."""
    found = {f.quantity for f in figures_of_parts(machine) if np.isfinite(f.value)}
    found |= {limit.quantity for limit in machine_limits(machine)}
    return found | {figure.name for figure in unrated(machine)}


@pytest.mark.parametrize("name", [*CASES, *SHIPPED])
def test_each_element_of_a_machine_gets_a_figure_or_a_reason(name: str) -> None:
    """Not what could be judged somewhere, but what a run of this very machine tells."""
    machine = CASES[name] if name in CASES else shipped(name)
    found = told(machine)
    silent = set()
    line = still(machine, 4, frequency=80e3, load="empty")
    for element in elements(machine_deck(machine, line, SEED, WORKING).text):
        quantities, reason = limits_of(element)
        if not reason and not found & set(quantities):
            silent.add(element)
    assert not silent


def test_a_part_that_nobody_tells_of_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The walk can fail: with the film capacitor's figures gone its elements are silent."""
    gone = {"film_current_rms", "film_voltage_peak"}
    assert gone <= told(demo())
    quantities, _ = limits_of("cfilm")
    assert not (told(demo()) - gone) & set(quantities)


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_machines_rate_all_that_is_told(name: str) -> None:
    """Nothing is told without a rating, and no part's heat is left unknown."""
    machine = shipped(name)
    without = {f.name for f in unrated(machine)}
    without |= {f.quantity for f in figures_of_parts(machine) if f.rating is None}
    without |= {row.quantity for row in _not_worked_out(machine)}
    # Of an IGBT no energy is rated: its sheets allow no clamping.
    assert without == ({"avalanche_energy"} if machine.switch.bipolar else set())
    ratings = machine.ratings
    assert ratings is not None
    assert ratings.rectifier is not None
    assert ratings.rectifier.mains_current is not None
    assert machine.supply.rectifier is not None
