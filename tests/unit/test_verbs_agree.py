"""All verbs on all shipped machines: none refuses what another takes, none says otherwise.

A table of (machine, what is asked): the answers of `check`, the local page, situations, bring-up,
`map`, `deck` and the scenario files, held against each other. Nothing outside to compare with: it
is the tool against itself. The figures of steady operation are in test_one_point.py, dead times in
test_overlap.py.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from simkit import cli
from simkit.circuit.timeline import start_frequency, timeline
from simkit.judge.limits import machine_limits
from simkit.live.answers import Question, answered
from simkit.parameters.machine import Machine
from simkit.parameters.varying import MapPlan
from simkit.studies.bring_up.charge import stored
from simkit.studies.bring_up.study import usual_stages
from simkit.studies.check.study import NAMES, Working, check_machine
from simkit.studies.explain.study import explained
from simkit.studies.inputs.loading import load_machine, load_scenario
from simkit.studies.maps.space import space_of
from simkit.studies.situations.base import draft, main_load
from simkit.studies.tolerance.machines import sample, space_for
from simkit.studies.tolerance.study import rebuilder
from tests.machines import ROOT, SHIPPED

FILES = sorted((ROOT / "scenarios").glob("*/machine.toml"))
EACH = pytest.mark.parametrize("file", FILES, ids=lambda p: p.parent.name)

FIRST = {p.parent: p for p in reversed(SHIPPED)}
"""A scenario of each machine."""


def machine_of(file: Path) -> Machine:
    return load_machine(file).model


@EACH
def test_working_frequency_is_one_number(file: Path) -> None:
    """`check`, the local page's start, a situation's start, a scenario without a margin."""
    machine = machine_of(file)
    load = main_load(machine)
    at = Working.of(machine, load)
    assert at is not None
    rows = {r.quantity: r.value for r in check_machine(machine) if r.load == load}
    assert rows["working frequency"] == at.frequency
    case = draft(machine, "a", load=load)
    assert start_frequency(case.machine, case.scenario) == pytest.approx(at.frequency, rel=1e-9)
    plain = case.scenario.model_copy(
        update={"start": case.scenario.start.model_copy(update={"margin": None})}
    )
    assert start_frequency(machine, plain) == pytest.approx(at.frequency, rel=1e-9)
    page = answered(file, Question({}, load, None))
    assert page["frequency"] == pytest.approx(at.frequency, rel=1e-9)


@EACH
def test_bring_up_ends_at_the_machines_working_margin_or_further_away(file: Path) -> None:
    """Further where the resonance climbs towards the drive while the piece warms."""
    machine = machine_of(file)
    last = usual_stages(machine)[-1]
    assert last.margin is not None
    assert last.margin >= machine.drive.working_margin
    assert last.supply_voltage == machine.supply.voltage


@EACH
def test_a_limit_is_one_number_wherever_it_is_shown(file: Path) -> None:
    machine = machine_of(file)
    limits = {limit.quantity: limit for limit in machine_limits(machine)}
    names = {NAMES.get(q, ""): limit for q, limit in limits.items()}
    for row in check_machine(machine):
        if row.quantity in names and row.limit is not None:
            assert row.limit == names[row.quantity].bound, row.quantity
    for quantity in limits:
        assert explained(quantity).kind == "quantity"


@EACH
def test_what_bleeds_the_link_is_known_to_bring_up(file: Path) -> None:
    machine = machine_of(file)
    rectifier = machine.supply.rectifier
    bleeder = rectifier.bleeder if rectifier else None
    resistor = machine.bring_up.discharge_resistor if machine.bring_up else None
    assert (stored(machine)[0].time is not None) == (bleeder is not None or resistor is not None)


@EACH
def test_check_takes_every_machine(file: Path) -> None:
    assert cli.run(["check", str(file), "--json", "--quiet"]) in (0, 1)


@pytest.mark.slow
@pytest.mark.parametrize(
    "path",
    [pytest.param(p, id=f"{p.parent.name}-{p.stem}", marks=() if p in FIRST.values() else
     pytest.mark.study) for p in SHIPPED],
)  # fmt: skip
def test_what_run_takes_map_and_deck_take(path: Path, tmp_path: Path) -> None:
    scenario, machine = load_scenario(path)

    def rebuilt(more: object) -> Machine:
        return load_scenario(path, dict(more))[1].model  # type: ignore[call-overload,no-any-return]

    space = space_of(machine, scenario, scenario.model.map or MapPlan(), (), rebuilt)
    space.at(space.values([0.5] * len(space.axes)))
    taken = sample(space_for(machine, scenario), timeline(machine.model, scenario.model),
                   rebuilder(machine, scenario), 2)  # fmt: skip
    assert len(taken.machines) == 3, "what map varies, run draws"
    out = tmp_path / "a.cir"
    assert cli.run(["deck", str(path), "--no-engine", "-o", str(out), "--quiet"]) == 0
    frequency = re.search(r"^\.tran", out.read_text(), re.M)
    assert frequency is not None
