"""A piece on its way to its temperature: where its resonance goes, and what a run says of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from simkit.circuit.timeline import timeline
from simkit.judge.verdict import Verdict
from simkit.parameters.aftermath import Charge
from simkit.parameters.coil import Load, PieceGeometry
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.heated import Hot, crossing, heated, temperatures
from simkit.parts.materials import material
from simkit.parts.working import load_at
from simkit.rehearsal import rehearse as rehearse_module
from simkit.rehearsal.findings import SlowFact
from simkit.rehearsal.heating_course import crucible_of, with_heating_course
from simkit.scout.operating import operating_point
from simkit.studies.inputs.loading import load_machine
from tests.machines import varied

BAR = Path("scenarios/bar-heating/machine.toml")
STEEL = {
    "material": "low-carbon-steel", "mass": 0.126, "start": 20.0, "target": 900.0,
    "radiating_area": 40e-4, "emissivity": 0.8, "insulation": 50.0,
}  # fmt: skip


@cache
def bar() -> Machine:
    return load_machine(BAR).model


def hot(celsius: float, frequency: float, inductance: float, doubt: float = 0.0) -> Hot:
    load = Load(inductance=1e-6 * inductance, resistance=0.05)
    return Hot(celsius, frequency, load, 0.8, doubt)


def test_the_crossing_is_where_straight_lines_meet() -> None:
    """Resonance as 1/L here, margins of 5, 1 and -1 %: it meets half-way of the last."""
    course = [hot(20.0, 100.0, 1.05), hot(500.0, 100.0, 1.01), hot(900.0, 100.0, 0.99)]
    margin, where = crossing(course, lambda inductance: 1e-4 / inductance)
    assert margin == pytest.approx(-0.01)
    assert where == pytest.approx(700.0)
    assert crossing(course[:2], lambda inductance: 1e-4 / inductance)[1] is None


def test_a_doubt_counts_against_the_drive() -> None:
    course = [hot(20.0, 100.0, 1.05, 0.002), hot(900.0, 100.0, 1.002, 0.003)]
    margin, where = crossing(course, lambda inductance: 1e-4 / inductance)
    assert margin == pytest.approx(0.002 - 0.005)
    assert where is not None


def test_temperatures_crowd_towards_the_curie_point() -> None:
    geometry = bar().workpieces["cold-bar"].geometry
    assert geometry is not None
    found = temperatures(geometry, 20.0, 900.0)
    assert found[0] == 20.0
    assert found[-1] == 900.0
    steps = [b - a for a, b in pairwise(found)]
    assert max(steps) <= 150.0
    assert sum(700.0 < t < 775.0 for t in found) >= 4
    assert temperatures(geometry, 800.0, 900.0) == (800.0, 900.0)


def test_the_ends_of_the_course_are_the_machine_s_own_pieces() -> None:
    """The same bar stands cold and hot in the file: L and R of both within 0.3 %, R 1 % (levels
    between which the machine interpolates)."""
    machine = bar()
    for name, celsius in (("cold-bar", 20.0), ("hot-bar", 900.0)):
        frequency = 76e3
        (found,) = heated(machine, "cold-bar", [celsius], frequency, 0.0, 325.0)
        own = load_at(machine, name, frequency, 325.0)
        assert found.load.inductance == pytest.approx(own.inductance, rel=0.003)
        assert found.load.resistance == pytest.approx(own.resistance, rel=0.01)


def test_between_cold_and_hot_the_resonance_first_falls() -> None:
    """Resistivity rises sixfold to 650 degC and the skin with it: R up by its root and more, since
    less current magnetises less; past the Curie point neither is left (Lupi 2017, chapter 6)."""
    cold, warm, past = heated(bar(), "cold-bar", [20.0, 650.0, 775.0], 76e3, 0.0, 325.0)
    assert warm.load.inductance > 1.1 * cold.load.inductance
    assert warm.load.resistance > 1.5 * cold.load.resistance
    assert past.load.inductance < 0.95 * cold.load.inductance
    assert past.load.resistance < 0.4 * cold.load.resistance


@dataclass(frozen=True)
class Found:
    machine: Machine
    scenario: Any
    line: Any
    before: Any
    after: Any
    verdict: Verdict
    slow: tuple[SlowFact, ...] = ()
    tripped: tuple[Any, ...] = ()


def rehearsed(machine: Machine, charge: dict[str, Any], **start: Any) -> Any:
    """A rehearsal within its limits, gone through the course."""
    return with_heating_course(made_of(machine, charge, **start))


def made_of(machine: Machine, charge: dict[str, Any], **start: Any) -> Any:
    """A rehearsal within its limits, as the course is told of it."""
    raw = {
        "name": "heat", "machine": "machine.toml", "tail": 1e-4,
        "start": {"load": "cold-bar", "settled": 1e-4, **start},
        "aftermath": {"time": 100.0, "begins": "cold", "heatsink_heat_capacity": 2000.0,
                      "charge": charge},
    }  # fmt: skip
    scenario = Scenario.model_validate(raw)
    at = SimpleNamespace(input_power_w=2000.0, supply_voltage_v=325.0)
    whole = varied(machine, {"supply.rectifier": None})
    line = timeline(whole, scenario)
    return Found(whole, scenario, line, at, at, Verdict("within_limits", "So.", None))


def fact(found: Any, name: str) -> float | None:
    value: float | None = next(f.value for f in found.slow if f.name == name)
    return value


@pytest.mark.slow
def test_a_fixed_drive_that_its_resonance_meets_is_never_within() -> None:
    """4 % above the cold bar's resonance is the hot bar's own: 75.44 and 75.43 kHz in `check`."""
    found = rehearsed(bar(), STEEL, margin=0.04)
    assert found.verdict.outcome == "no_verdict"
    assert "its resonance meets the drive" in found.verdict.reason
    met = fact(found, "resonance meets the drive")
    assert met is not None
    assert 760.0 < met < 780.0  # iron's Curie point, 770 degC
    took = fact(found, "time to the target")
    least, most = (fact(found, f"power into the piece, {w}") for w in ("least", "most"))
    assert took is not None
    assert least is not None
    assert most is not None
    # Between the heat at the most and at the least power; losses at 900 degC are 360 W.
    needed = fact(found, "heat the charge needs")
    assert needed is not None
    assert needed / most < took < needed / (least - 400.0)


def test_stopped_before_the_curie_point_the_same_drive_stays_within() -> None:
    charge = STEEL | {"target": 300.0}
    found = rehearsed(bar(), charge, margin=0.04)
    assert found.verdict.outcome == "within_limits"
    assert fact(found, "resonance meets the drive") is None
    margin = fact(found, "drive over the resonance, least")
    assert margin == pytest.approx(0.04, abs=5e-3)
    # At 20 degC, where it takes most: I^2 R of the bar itself, as `check` has it of the cold bar.
    piece = found.machine.workpieces["cold-bar"]
    load = load_at(found.machine, "cold-bar", found.line.frequency.last, 325.0)
    point = operating_point(found.machine, load, found.line.frequency.last)
    assert piece.piece_resistance is not None
    own = point.coil_current_rms**2 * piece.piece_resistance
    assert fact(found, "power into the piece, most") == pytest.approx(own, rel=0.03)


def test_a_drive_that_tracks_keeps_its_margin() -> None:
    found = rehearsed(bar(), STEEL | {"start": 700.0}, margin=0.04, tracks=True)
    assert fact(found, "resonance meets the drive") is None
    assert fact(found, "drive over the resonance, least") == pytest.approx(0.04, abs=0.012)


def test_a_loop_follows_too() -> None:
    """A held phase, as a margin kept by hand does: the bar passes its Curie point and is not met.
    A loop that holds nothing leaves the drive where it is."""
    held = varied(bar(), {"drive.loop": {"holds": "phase", "bandwidth": 1e3}})
    charge = STEEL | {"start": 700.0, "target": 790.0}
    assert fact(rehearsed(held, charge), "resonance meets the drive") is None
    left = varied(
        bar(), {"drive.loop": {"holds": "none", "current_limit": 60.0, "limit_rate": 1e6}}
    )
    assert fact(rehearsed(left, charge), "resonance meets the drive") is not None


def test_what_is_switched_off_heats_nothing() -> None:
    found = rehearsed(bar(), STEEL | {"target": 100.0}, margin=0.04)
    off = replace(found, slow=(), tripped=(SimpleNamespace(again=None),))
    assert with_heating_course(off).slow == ()


def test_every_rehearsal_is_asked_for_its_course(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest of a rehearsal stands still here: what comes out has gone through the course."""
    made = made_of(bar(), STEEL | {"start": 760.0, "target": 780.0}, margin=0.04)
    monkeypatch.setattr(rehearse_module, "protected", lambda *_: made)
    for name in (
        "with_trough",
        "with_current_limit",
        "with_overlap",
        "with_loop_doubt",
        "with_cut",
    ):
        monkeypatch.setattr(rehearse_module, name, lambda found, *_: found)
    runner: Any = None
    found = rehearse_module.rehearse(made.machine, made.scenario, runner)
    assert found.verdict.outcome == "no_verdict"


def test_a_crucible_takes_its_share_of_heat() -> None:
    """pi w (D - w) l rho: 40 x 60 mm of graphite with a wall of 4 mm; none where the piece is the
    charge."""
    raw = {
        "material": "graphite", "diameter": 0.04, "length": 0.06, "wall": 0.004,
        "temperature": 20.0, "position": 0.0,
        "charge": {"material": "copper", "diameter": 0.03, "length": 0.04, "temperature": 20.0,
                   "offset": 0.0},
    }  # fmt: skip
    held = PieceGeometry.model_validate(raw)
    (wall,) = crucible_of(held, Charge.model_validate(STEEL | {"material": "copper"}))
    density = material("graphite").density.values[0]
    assert wall.mass == pytest.approx(3.14159 * 0.004 * 0.036 * 0.06 * density, rel=1e-4)
    assert crucible_of(held, Charge.model_validate(STEEL | {"material": "graphite"})) == ()


def test_a_charge_that_is_not_the_piece_leaves_the_run_as_it_is() -> None:
    found = rehearsed(bar(), STEEL | {"material": "aluminium", "target": 600.0}, margin=0.04)
    assert found.slow == ()
    assert found.verdict.outcome == "within_limits"
