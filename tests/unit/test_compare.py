"""Change files, what they do to a machine, and when a difference counts as one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from simkit.errors import InputError
from simkit.judge.difference import compare, of_limits
from simkit.judge.verdict import Judged
from simkit.parameters.change import load_changes
from simkit.parameters.load import Loaded
from simkit.studies.compare.changing import Variant, variants
from tests.machines import DEMO, demo

MACHINE = DEMO / "machine.toml"


def made(tmp_path: Path, text: str) -> tuple[tuple[Variant, ...], str]:
    file = tmp_path / "change.toml"
    file.write_text(text, encoding="utf-8")
    return variants(MACHINE, load_changes(file), {})


def problems(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        made(tmp_path, text)
    return [str(p) for p in caught.value.problems]


def test_a_change_replaces_what_it_names_and_nothing_else(tmp_path: Path) -> None:
    (only,), said = made(tmp_path, 'title = "t"\n[changes.few]\ntitle = "few"\n'
                         'machine.tank.cans = 10\nmachine.drive.dead_time = 0.8e-6\n')  # fmt: skip
    before, after = demo().model_dump(), only.machine.model.model_dump()
    assert (after["tank"]["cans"], after["drive"]["dead_time"]) == (10, 0.8e-6)
    after["tank"]["cans"], after["drive"]["dead_time"] = 20, before["drive"]["dead_time"]
    assert after == before
    assert said == ""


def test_a_part_that_was_not_there_can_be_added(tmp_path: Path) -> None:
    (only,), _ = made(tmp_path, 'title = "t"\n[changes.snub]\ntitle = "snubber"\n'
                      "[changes.snub.machine.bridge.snubber]\nplace = \"switch\"\n"
                      'resistance = "10 ohm"\ncapacitance = "1 nF"\n')  # fmt: skip
    snubber = only.machine.model.bridge.snubber
    assert snubber is not None
    assert (snubber.place, snubber.resistance, snubber.capacitance) == ("switch", 10.0, 1e-9)


def test_a_part_file_becomes_the_switch(tmp_path: Path) -> None:
    part = DEMO.parent / "parts" / "class-650v-sic.toml"
    (tmp_path / "mine.toml").write_text(part.read_text(encoding="utf-8"), encoding="utf-8")
    (only,), _ = made(tmp_path, 'title = "t"\n[changes.sic]\ntitle = "sic"\n'
                      'machine.switch = "mine.toml"\n')  # fmt: skip
    # The data sheet's own figures, as written in that part file.
    ratings = only.machine.model.switch.ratings
    assert (ratings.drain_voltage, ratings.pulsed_current) == (650.0, 110.0)


def test_several_changes_are_also_made_together(tmp_path: Path) -> None:
    found, said = made(tmp_path, 'title = "t"\n[changes.a]\ntitle = "a"\nmachine.tank.cans = 10\n'
                       '[changes.b]\ntitle = "b"\nmachine.drive.gate_resistor = 20\n')  # fmt: skip
    assert [v.name for v in found] == ["a", "b", "all-together"]
    model = found[-1].machine.model
    assert (model.tank.cans, model.drive.gate_resistor, said) == (10, 20.0, "")


def test_changes_that_exclude_each_other_are_not_made_together(tmp_path: Path) -> None:
    found, said = made(tmp_path, 'title = "t"\n[changes.a]\ntitle = "a"\nmachine.tank.cans = 10\n'
                       '[changes.b]\ntitle = "b"\nmachine.tank.cans = 12\n')  # fmt: skip
    assert [v.name for v in found] == ["a", "b"]
    assert "a and b both set tank.cans" in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("machine.tank.cnas = 10", "did you mean cans"),
        ('machine.tank.can_esr = "8 uF"', "ohm"),
        ("machine.tank.cans = 0", "at least"),
        ('machine.switch = "nowhere.toml"', "no such file"),
    ],
)
def test_a_wrong_value_is_shown_at_its_line_of_the_change_file(
    tmp_path: Path, text: str, said: str
) -> None:
    (problem,) = problems(tmp_path, f'title = "t"\n[changes.a]\ntitle = "a"\n{text}\n')
    assert said in problem
    assert problem.startswith(f"{tmp_path / 'change.toml'}:4: changes.a.machine.")


def test_the_five_shipped_changes_can_be_made() -> None:
    file = load_changes(DEMO.parent / "changes" / "five.toml")
    found, _ = variants(MACHINE, file, {})
    assert len(found) == 6
    assert all(isinstance(v.machine, Loaded) for v in found)


@pytest.mark.parametrize(
    ("a", "b", "mark"),
    [
        ((1.0, 0.1), (1.15, 0.1), "no difference"),  # intervals overlap
        ((1.0, 0.1), (1.25, 0.1), "higher"),  # 0.25 is more than 0.1 + 0.1
        ((1.25, 0.1), (1.0, 0.1), "lower"),
        ((1.0, 0.0), (1.0, 0.0), "no difference"),
        ((1.0, None), (2.0, 0.0), "not evaluated"),
        ((float("nan"), 0.0), (2.0, 0.0), "not evaluated"),
    ],
)
def test_a_difference_must_exceed_both_errors(
    a: tuple[float, float | None], b: tuple[float, float | None], mark: str
) -> None:
    assert compare(*a, *b) == mark


def row(value: float, limit: float) -> Judged:
    return Judged("Q1", "drain_voltage_peak", "V", value, 1.0, limit, value / limit, 0.0, None,
                  "ok", "")  # fmt: skip


def test_more_volts_of_a_higher_rating_may_be_better() -> None:
    # 400 V of 480 V is 83 %, 420 V of 960 V is 44 %.
    (found,) = of_limits([row(400.0, 480.0)], [row(420.0, 960.0)])
    assert found.mark == "better"
    (found,) = of_limits([row(400.0, 480.0)], [row(420.0, 480.0)])
    assert found.mark == "worse"


def test_what_a_scenario_replaces_holds_before_and_after_a_change(tmp_path: Path) -> None:
    from simkit.parameters.load import load_text
    from simkit.parameters.machine import Machine
    from simkit.parameters.scenario import Scenario
    from simkit.studies.compare import study as study
    from simkit.studies.inputs.loading import load_machine

    text = (DEMO / "raise-supply.toml").read_text(encoding="utf-8")
    text = text.replace("[start]", '[instead]\n"drive.gate_resistor" = "15 ohm"\n\n[start]', 1)
    scenario = load_text(text, "s.toml", Scenario)
    (only,), _ = made(tmp_path, 'title = "t"\n[changes.a]\ntitle = "a"\nmachine.tank.cans = 18\n')
    seen: list[tuple[int, float]] = []

    class Bench:
        def rehearse(self, machine: Machine, scenario: Scenario) -> None:
            from simkit.errors import EngineFailed

            seen.append((machine.tank.cans, machine.drive.gate_resistor))
            raise EngineFailed("none here")

    bench: Any = Bench()
    (held,) = study.rehearsals(load_machine(MACHINE), (only,), (scenario,), bench)
    assert seen == [(20, 15.0), (18, 15.0)]
    assert (held.before.outcome, held.after.outcome) == ("no_verdict", "no_verdict")
    assert held.limits == ()
    assert study.outcome([held]) == "no_verdict"
