"""Machine files that name parts and geometry: one way per quantity, and values that follow.

Expected values come from the formulae of the parts, which have checks of their own against
published figures; here it is shown that the file's numbers reach them, and that the loop of level
and load is closed.
"""

from __future__ import annotations

import shutil
from math import log, pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from simkit.circuit.timeline import timeline
from simkit.errors import InputError
from simkit.parameters.instead import Instead, replaced
from simkit.parameters.load import Loaded
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.loads import coil_of, course_out, piece_at, way_out
from simkit.parts.switches import load_part, working_current
from simkit.parts.working import at_level, coil_current, load_at, load_at_margin
from simkit.scout.phasor import solve
from simkit.scout.plant import plant_from_machine
from simkit.studies.inputs.contradictions import contradictions
from simkit.studies.inputs.loading import load_machine
from simkit.studies.scenario.result import not_modelled
from tests.machines import FEEDS, ROOT, demo, topology

BARS = ROOT / "scenarios" / "bar-heating" / "machine.toml"


@pytest.fixture(scope="module")
def loaded() -> Loaded[Machine]:
    return load_machine(BARS)


@pytest.fixture(scope="module")
def bars(loaded: Loaded[Machine]) -> Machine:
    return loaded.model


def refused(changes: dict[str, str], path: Path = BARS) -> list[str]:
    """The problems of a shipped machine with values overridden, as a person reads them."""
    with pytest.raises(InputError) as caught:
        load_machine(path, changes)
    return [f"{p.field}: {p.rule} {p.hint}".strip() for p in caught.value.problems]


# --- the level -----------------------------------------------------------------------------------


@pytest.mark.parametrize("feed", FEEDS)
@pytest.mark.parametrize("bridge", ["full", "half-split", "half-blocking"])
def test_the_level_is_that_of_the_harmonic_solution(bridge: str, feed: str) -> None:
    # Two ways to the same network: closed form here, harmonics of the plant there. The first
    # harmonic alone is compared, so that rounding is all that may differ.
    machine = topology(bridge, feed, "ideal")
    load = machine.load("cold-steel-weak-field")
    frequency = 1.05 * machine.resonance(load.inductance)
    whole = solve(plant_from_machine(machine, load), frequency, harmonics=1)
    found = coil_current(machine, load, frequency, machine.supply.voltage)
    assert found == pytest.approx(abs(whole.outputs["coil_current"][0]), rel=1e-9)


def test_the_level_closes_the_loop(bars: Machine) -> None:
    piece = bars.workpieces["cold-bar"]
    for voltage in (10.0, 30.0, 100.0, 325.0):
        frequency = 75e3
        load = load_at(bars, "cold-bar", frequency, voltage)
        current = coil_current(bars, load, frequency, voltage)
        again = at_level(piece, current)
        # fifty halvings of twenty nepers leave no more than rounding
        assert again.inductance == pytest.approx(load.inductance, rel=1e-6)
        assert again.resistance == pytest.approx(load.resistance, rel=1e-6)


def test_steel_raises_the_inductance_at_30_v_and_lowers_it_at_full_supply(bars: Machine) -> None:
    # The two signs are common practice, no source: an LCR meter sees L rise when a steel bar goes
    # in, the heater at full power sees its resonance rise.
    margin = bars.drive.working_margin
    low = load_at_margin(bars, "cold-bar", margin, 30.0).inductance
    full = load_at_margin(bars, "cold-bar", margin, bars.supply.voltage).inductance
    assert full < bars.coil.inductance < low
    assert bars.load("cold-bar").inductance == pytest.approx(full, rel=1e-12)


def test_between_levels_the_table_is_close(bars: Machine) -> None:
    piece = bars.workpieces["cold-bar"]
    assert piece.geometry is not None
    coil = coil_of(bars)
    for current in np.geomspace(0.5, 2000.0, 9):
        whole = piece_at(coil, piece.geometry, float(current), coil.frequency, 0.0)
        table = at_level(piece, float(current))
        # a straight line over a sixth of a decade; L and R bend by a few per cent a decade
        assert table.inductance == pytest.approx(whole.inductance, rel=1e-3)
        assert table.resistance == pytest.approx(whole.resistance, rel=1e-2)


def test_a_value_replaced_counts_at_every_level(bars: Machine) -> None:
    more = {"workpieces.cold-bar.inductance": 1.1 * bars.load("cold-bar").inductance}
    other = replaced(bars, more)
    for voltage in (30.0, 325.0):
        before = load_at_margin(bars, "cold-bar", 0.04, voltage).inductance
        after = load_at_margin(other, "cold-bar", 0.04, voltage).inductance
        # the level moves a little with L, and L with it
        assert after == pytest.approx(1.1 * before, rel=0.02)


@pytest.mark.parametrize(
    "key",
    ["coil.geometry.turns", "workpieces.cold-bar.geometry.diameter", "transformer.core.area"],
)
def test_what_others_follow_from_is_not_replaced_behind_their_back(bars: Machine, key: str) -> None:
    with pytest.raises(Instead, match="other values follow from it"):
        replaced(bars, {key: 6.0})


def test_a_piece_past_its_curie_point_has_one_level(bars: Machine) -> None:
    hot = bars.workpieces["hot-bar"]
    assert hot.levels is None
    assert load_at(bars, "hot-bar", 75e3, 30.0) is hot


# --- along the axis ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn() -> Scenario:
    return Scenario.model_validate(
        {
            "name": "drawn",
            "title": "",
            "machine": "machine.toml",
            "tail": 1e-3,
            "start": {"load": "cold-bar", "margin": 0.06, "settled": 5e-4},
            "events": [{"kind": "pull-out", "at": 0.0, "speed": 0.5}],
        }
    )


def test_speed_is_travel_along_the_axis(bars: Machine, drawn: Scenario) -> None:
    line = timeline(bars, drawn)
    piece = bars.workpieces["cold-bar"]
    assert piece.geometry is not None
    event = line.events[0]
    assert event.end - event.start == pytest.approx(way_out(coil_of(bars), piece.geometry) / 0.5)
    # Where the drive's current would have it when the bar's middle is 40 mm out: at 0.5 m/s
    # after 80 ms. The timeline's steps are some millimetres, hence the tolerance.
    at = event.start + 0.040 / 0.5
    frequency = line.frequency.first
    load = load_at(bars, "cold-bar", frequency, bars.supply.voltage)
    current = coil_current(bars, load, frequency, bars.supply.voltage)
    for _ in range(30):
        whole = piece_at(coil_of(bars), piece.geometry, current, coil_of(bars).frequency, 0.040)
        load = load.model_copy(
            update={"inductance": whole.inductance, "resistance": whole.resistance}
        )
        current = sqrt(current * coil_current(bars, load, frequency, bars.supply.voltage))
    assert line.inductance.at(at) == pytest.approx(whole.inductance, rel=2e-3)
    assert line.resistance.at(at) == pytest.approx(whole.resistance, rel=2e-2)


def test_a_way_out_begins_at_the_settled_load_and_ends_empty(
    bars: Machine, drawn: Scenario
) -> None:
    line = timeline(bars, drawn)
    event = line.events[0]
    settled = load_at(bars, "cold-bar", line.frequency.first, bars.supply.voltage)
    assert line.inductance.at(event.start) == pytest.approx(settled.inductance, rel=1e-12)
    assert line.inductance.at(event.end) == pytest.approx(bars.coil.inductance, rel=1e-12)
    # Without the exact ends the way itself is as near: table against iteration, within 0.1 %.
    way = course_out(bars, "cold-bar", line.frequency.first, bars.supply.voltage)
    assert way.inductance[0] == pytest.approx(settled.inductance, rel=1e-3)
    assert way.inductance[-2] == pytest.approx(bars.coil.inductance, rel=1e-3)


@pytest.mark.slow
def test_a_bar_goes_in_the_way_it_came_out(bars: Machine) -> None:
    inward = Scenario.model_validate(
        {
            "name": "inward",
            "title": "",
            "machine": "machine.toml",
            "tail": 1e-3,
            "start": {"load": "empty", "frequency": 80e3, "settled": 5e-4},
            "events": [{"kind": "drop-in", "load": "hot-bar", "at": 0.0, "duration": 0.1}],
        }
    )
    line = timeline(bars, inward)
    way = course_out(bars, "hot-bar", 80e3, bars.supply.voltage)
    middle = line.events[0].start + 0.05
    assert line.inductance.at(middle) == pytest.approx(way.inductance[16], rel=1e-12)
    assert line.inductance.last == pytest.approx(bars.load("hot-bar").inductance, rel=1e-12)


def test_a_supply_event_takes_steel_along(bars: Machine) -> None:
    raised = Scenario.model_validate(
        {
            "name": "raised",
            "title": "",
            "machine": "machine.toml",
            "tail": 1e-3,
            "start": {
                "load": "cold-bar",
                "frequency": 80e3,
                "settled": 5e-4,
                "supply_voltage": 30.0,
            },
            "events": [{"kind": "supply", "voltage": 300.0, "at": 0.0, "duration": 0.01}],
        }
    )
    line = timeline(bars, raised)
    for voltage, found in ((30.0, line.inductance.first), (300.0, line.inductance.last)):
        assert found == pytest.approx(load_at(bars, "cold-bar", 80e3, voltage).inductance)
    middle = line.events[0].start + 0.005
    assert line.voltage.at(middle) == pytest.approx(165.0)
    # the course's steps follow the voltage's raised cosine; straight lines between them
    expected = load_at(bars, "cold-bar", 80e3, 165.0).inductance
    assert line.inductance.at(middle) == pytest.approx(expected, rel=1e-4)


def drawn_in_steps(*events: dict[str, object]) -> Scenario:
    return Scenario.model_validate(
        {
            "name": "steps",
            "title": "",
            "machine": "machine.toml",
            "tail": 1e-3,
            "start": {"load": "cold-bar", "frequency": 80e3, "settled": 5e-4},
            "events": list(events),
        }
    )


@pytest.mark.slow
def test_a_bar_half_way_out_stays_where_it_is(bars: Machine) -> None:
    half = {"kind": "pull-out", "share": 0.5, "at": 0.0, "duration": 0.01}
    line = timeline(bars, drawn_in_steps(half))
    way = course_out(bars, "cold-bar", 80e3, bars.supply.voltage)
    assert line.inductance.last == pytest.approx(way.inductance[16], rel=1e-12)
    # The rest of the way begins there: nothing jumps where one event ends and the next begins.
    rest = {"kind": "pull-out", "at": 0.02, "duration": 0.01}
    line = timeline(bars, drawn_in_steps(half, rest))
    joint = line.events[1].start
    before, after = line.inductance.at(joint - 1e-9), line.inductance.at(joint + 1e-9)
    assert before == pytest.approx(after, rel=1e-6)
    assert line.inductance.last == pytest.approx(bars.coil.inductance, rel=1e-12)


def test_supply_and_pull_of_steel_may_not_overlap(bars: Machine) -> None:
    pull = {"kind": "pull-out", "at": 0.0, "duration": 0.01}
    raised = {"kind": "supply", "voltage": 300.0, "at": 0.005, "duration": 0.01}
    # Where the bar is on its way out nothing in the coil follows the level any more
    assert contradictions(bars, drawn_in_steps(pull, raised)) == []
    found = contradictions(bars, drawn_in_steps(raised, pull | {"at": 0.01}))
    assert [(k, field) for k, field, *_ in found] == [(1, "at")]


def test_half_way_out_at_a_speed_takes_half_as_long() -> None:
    """60 mm at 0.5 m/s are 120 ms; half of them 60."""
    for share, seconds in ((None, 0.12), (0.5, 0.06)):
        pull = {"kind": "pull-out", "at": 0.0, "speed": 0.5, "share": share}
        made = drawn_in_steps(pull)
        start = made.start.model_copy(update={"load": "cold-steel-weak-field"})
        event = timeline(demo(), made.model_copy(update={"start": start})).events[0]
        assert event.end - event.start == pytest.approx(seconds)


def test_measured_pieces_move_as_before() -> None:
    machine = demo()
    scenario = Scenario.model_validate(
        {
            "name": "raised",
            "title": "",
            "machine": "machine.toml",
            "tail": 1e-3,
            "start": {"load": "cold-steel-weak-field", "margin": 0.03, "settled": 5e-4},
            "events": [{"kind": "supply", "voltage": 300.0, "at": 0.0, "duration": 0.01}],
        }
    )
    assert timeline(machine, scenario).inductance.constant


# --- what follows from what ----------------------------------------------------------------------


def test_every_computed_value_says_what_from(loaded: Loaded[Machine]) -> None:
    expected = {
        "supply.voltage": "from supply.rectifier",
        "transformer.magnetising_inductance": "from transformer.core",
        "transformer.leakage_inductance": "from transformer.window",
        "transformer.primary_resistance": "from transformer.primary",
        "tank.can_esr": "from tank.can",
        "coil.inductance": "from coil.geometry",
        "workpieces.cold-bar.resistance": "from workpieces.cold-bar.geometry",
    }
    found = {key: loaded.origins[key] for key in expected}
    assert {key: origin.note for key, origin in found.items()} == expected
    assert {origin.source for origin in found.values()} == {"computed"}
    assert all(origin.line for origin in found.values())
    assert loaded.origins["switch.channel.threshold"].source == "fitted"
    assert loaded.origins["switch.ratings.drain_voltage"].file.endswith("class-600v-planar.toml")


def test_320_volts_come_from_220_to_230_volt_mains() -> None:
    # "320 V DC" is what the trade says (common practice, no source); sqrt(2) x 226 V is 320 V.
    link = [
        load_machine(BARS, {"supply.rectifier.mains_voltage": f"{v} V"}).model.supply.voltage
        for v in (220, 230)
    ]
    assert link[0] < 320.0 < link[1]


def test_core_and_wire_give_the_transformer(bars: Machine) -> None:
    transformer = bars.transformer
    assert transformer.core is not None
    # L = mu0 mu_r A N^2/l by hand
    core = transformer.core
    expected = 4e-7 * pi * 1600 * 3.6e-4 * 22**2 / 0.110
    assert transformer.magnetising_inductance == pytest.approx(expected, rel=1e-9)
    # 0.48 T at 25 degC, 0.38 T at 100 degC, on a straight line at 80 degC
    assert transformer.saturation_flux == pytest.approx(0.48 - 0.10 * 55 / 75, rel=1e-9)
    assert (transformer.core_area, transformer.core_path) == (core.area, core.path)


def test_the_can_s_esr_is_that_at_the_resonance(bars: Machine) -> None:
    # ESR = R_s + tan(delta)/(2 pi f C) by hand
    frequency = bars.resonance(bars.coil.inductance)
    expected = 3e-3 + 4e-4 / (2 * pi * frequency * 0.22e-6)
    # the file's frequency is one round of iteration from the last inductance
    assert bars.tank.can_esr == pytest.approx(expected, rel=1e-3)


def test_measured_values_stand_over_a_geometry() -> None:
    changes = {"coil.inductance": '{ value = "1.2 uH", source = "measured" }', "coil.q": "60"}
    coil = load_machine(BARS, changes).model
    assert coil.coil.inductance == 1.2e-6
    omega = 2 * pi * coil.resonance(1.2e-6)
    # the resonance at which Q counts is found in two rounds
    assert coil.coil.resistance == pytest.approx(omega * 1.2e-6 / 60, rel=2e-3)
    # what the bar adds is scaled with the turns: with a larger coil it adds more
    plain = load_machine(BARS).model
    added = coil.load("hot-bar").inductance - coil.coil.inductance
    assert added < plain.load("hot-bar").inductance - plain.coil.inductance < 0.0


def test_the_switch_is_fitted_at_the_temperature_it_settles_at(loaded: Loaded[Machine]) -> None:
    note = loaded.origins["switch.channel.drain_resistance"].note
    celsius = float(note.split("of ")[1].split(" degC")[0])
    machine = loaded.model
    # By hand: T = ambient + I^2 R_on(T) (R_jc + R_pad + 4 R_heatsink) for the load that draws
    # most, R_on along the power law through the sheet's two points. Within the half kelvin of
    # rounding and what the currents move with R_on, whose share of the impedance is small.
    current = max(working_current(machine, name) for name in machine.workpieces)
    sheet = load_part(BARS.parents[1] / "parts" / "class-600v-planar.toml").model.on_resistance
    exponent = log(sheet.hot / sheet.cold) / log((sheet.hot_temperature + 273.15) / 298.15)
    resistance = sheet.cold * ((celsius + 273.15) / 298.15) ** exponent
    path = machine.switch.ratings.thermal_resistance + 0.35 + 4 * 0.15
    assert celsius == pytest.approx(30.0 + current**2 * resistance * path, abs=1.0)
    assert 31.0 < celsius < machine.switch.ratings.junction_temperature
    told = load_machine(BARS, {"switch.junction_temperature": "25 degC"}).model
    assert told.switch.channel.drain_resistance < machine.switch.channel.drain_resistance


def test_a_switch_may_be_one_line() -> None:
    short = load_machine(BARS, {"switch": "../parts/class-600v-planar.toml"}).model
    assert short.switch == load_machine(BARS).model.switch


# --- windings ------------------------------------------------------------------------------------


def primary_of(**more: str) -> Loaded[Machine]:
    changes = {f"transformer.primary.{key}": value for key, value in more.items()}
    return load_machine(BARS, changes)


def test_layers_of_solid_wire_count() -> None:
    """22 turns of 1.5 mm, 2.6 m at 80 degC: 31 mohm for direct current. The skin alone makes 1.8
    times of it, two layers in the window of 30 mm 8 to 11 times: Dowell's foil has 11.0, too much
    for wire this far apart (plane finite elements: `tests/reference/test_windings_fem.py`)."""
    found = primary_of(wire="1.5 mm", strands="1").model.transformer.primary_resistance
    direct = 2.13e-8 * 2.6 / (0.25 * pi * 1.5e-3**2)
    assert direct == pytest.approx(31.4e-3, rel=0.01)
    assert 8.0 * direct < found < 11.0 * direct
    thin = primary_of(wire="1.2 mm", strands="1").model.transformer.primary_resistance
    assert thin < 0.75 * found, "one layer has room for 22 turns of 1.2 mm"


def test_a_bundle_has_proximity_in_its_window() -> None:
    """1 + pi^2 w^2 mu0^2 N^2 n^2 d^6/(768 rho^2 b^2), worked here; 2 % for the resonance, about
    75 kHz, and the resistivity at 80 degC."""
    machine = load_machine(BARS).model
    direct = 2.131e-8 * 2.6 / (0.25 * pi * 0.1e-3**2 * 300)
    at = 2.0 * pi * machine.resonance(machine.coil.inductance)
    more = (pi * at * 4e-7 * pi * 22 * 300 * 0.1e-3**3 / (2.131e-8 * 30e-3)) ** 2 / 768
    assert 0.3 < more < 0.7
    found = machine.transformer.primary_resistance
    assert found == pytest.approx(direct * (1.0 + more), rel=0.02)


def test_what_is_not_known_of_a_winding_is_said(tmp_path: Path) -> None:
    # Measured leakage, no window.
    text = BARS.read_text(encoding="utf-8")
    begin, end = text.index("[transformer.window]"), text.index("[tank]")
    text = text[:begin] + text[end:]
    text = text.replace("secondary_turns = 1", 'secondary_turns = 1\nleakage_inductance = "8 uH"')
    shutil.copytree(BARS.parents[1] / "parts", tmp_path / "parts")
    (tmp_path / "m").mkdir()
    file = tmp_path / "m" / "machine.toml"
    file.write_text(text, encoding="utf-8")
    told = load_machine(file).warnings
    assert any("the strands' proximity is left out" in line for line in told)
    solid = {"transformer.primary.wire": "1.5 mm", "transformer.primary.strands": "1"}
    told = load_machine(file, solid).warnings
    assert any("one layer of touching turns is taken; two would have" in line for line in told)


def test_a_measured_leakage_counts_beside_a_window() -> None:
    both = load_machine(BARS, {"transformer.leakage_inductance": "8 uH"}).model.transformer
    assert both.leakage_inductance == 8e-6


# --- slips on the mains side ---------------------------------------------------------------------


@pytest.mark.parametrize(("key", "value", "says"), [
    ("supply.rectifier.mains_voltage", "325 V", "mains_voltage is rms: 325 V is the peak of 230 V"),
    ("supply.rectifier.mains_voltage", "170 V", "mains_voltage is rms: 170 V is the peak of 120 V"),
    ("supply.rectifier.bleeder", "470 ohm", "turns 225 W into heat"),
    ("supply.voltage", "230 V", "supply.voltage is 230 V, but 230 V mains, rms, charge a link to"),
])  # fmt: skip
def test_a_slip_on_the_mains_side_is_told(key: str, value: str, says: str) -> None:
    assert any(says in line for line in load_machine(BARS, {key: value}).warnings)
    assert not any("supply.rectifier" in line for line in load_machine(BARS).warnings)


@pytest.mark.parametrize(("key", "value", "says"), [
    ("supply.link.capacitance", "0 F", "must be above 0"),
    ("ratings.film.current", "10 V", "A"),
])  # fmt: skip
def test_what_no_link_or_rating_can_be(key: str, value: str, says: str) -> None:
    told = refused({key: value})
    assert len(told) == 1
    assert key in told[0]
    assert says in told[0]


# --- what cannot be ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (
            {"workpieces.cold-bar.inductance": "1 uH"},
            "workpieces.cold-bar: give either inductance as measured, or its geometry",
        ),
        (
            {"workpieces.cold-bar.geometry.material": "low-carbon-stel"},
            "workpieces.cold-bar.geometry.material: is not a known material did you mean "
            "low-carbon-steel?",
        ),
        (
            {"workpieces.cold-bar.geometry.diameter": "45 mm"},
            "workpieces.cold-bar.geometry.diameter: does not pass the coil's bore of 40 mm a piece "
            "beside the coil needs its position, one around it a wall",
        ),
        ({"coil.geometry.length": "60 mm"}, "coil.geometry: give either pitch, length or steps"),
        (
            {"coil.geometry.pitch": "6 mm"},
            "coil.geometry: turns of this tube would touch: pitch must be 2 % above tube",
        ),
        ({"coil.resistance": "9 mohm", "coil.q": "50"}, "coil: give either resistance or q"),
        (
            {
                "transformer.primary.layers": "1",
                "transformer.primary.wire": "1.5 mm",
                "transformer.primary.strands": "1",
            },
            "transformer.primary: layers: 22 turns of this wire need 2 layers in the window",
        ),
        (
            {"transformer.primary.wall": "0.1 mm"},
            "transformer.primary: give either strands (1 for solid wire) or wall (for a tube)",
        ),
        (
            {"transformer.primary.foil": "0.2 mm"},
            "transformer.primary: give either wire (with strands, or wall for a tube) or foil "
            "with width",
        ),
        (
            {"transformer.core_area": "3 cm^2"},
            "transformer: give either core_area or [transformer.core]",
        ),
        (
            {"transformer.core.inductance_factor": "2 uH"},
            "transformer.core: give either permeability or inductance_factor",
        ),
        (
            {"supply.rectifier.precharge.resistor": "47 ohm"},
            "supply.rectifier.precharge: give either resistor or lamp_power with lamp_voltage",
        ),
        ({"drive.voltage_on": "3 V"}, "drive.voltage_on: does not turn the switch on"),
        ({"cooling.water.bore": "4 mm"}, "cooling.water: bore goes with length"),
    ],
    ids=lambda x: next(iter(x)) if isinstance(x, dict) else "",
)
def test_one_way_for_each_quantity(changes: dict[str, str], says: str) -> None:
    assert refused(changes) == [says]


def test_a_part_file_that_is_not_there_is_named_at_its_line() -> None:
    with pytest.raises(InputError) as caught:
        load_machine(BARS, {"switch.part": "../parts/class-700v.toml"})
    problem = caught.value.problems[0]
    assert (problem.field, problem.value) == ("switch.part", "../parts/class-700v.toml")
    assert problem.rule == "part file: there is no such file"


def test_a_faulty_part_file_is_named_itself(tmp_path: Path) -> None:
    part = (BARS.parents[1] / "parts" / "class-600v-planar.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(part.replace("[gate_charge]", "[gate_chrage]"), "utf-8")
    text = BARS.read_text("utf-8").replace("../parts/class-600v-planar.toml", "mine.toml")
    (tmp_path / "machine.toml").write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        load_machine(tmp_path / "machine.toml")
    assert {Path(problem.file).name for problem in caught.value.problems} == {"mine.toml"}
    assert any("gate_charge" in problem.hint for problem in caught.value.problems)


def test_a_report_says_how_steel_is_followed(bars: Machine) -> None:
    told = set(not_modelled(bars)) - set(not_modelled(demo()))
    assert any("Hysteresis of the steel" in sentence for sentence in told)
