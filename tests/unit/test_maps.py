"""Maps: what varies, how it is drawn, what a sample says, and how the fast model is calibrated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simkit.errors import InputError
from simkit.parameters.machine import Machine
from simkit.parameters.varying import MapPlan, Vary, parse_vary
from simkit.run.cache import Store
from simkit.studies.inputs.loading import load_scenario
from simkit.studies.maps import study
from simkit.studies.maps.boundary import refined, share
from simkit.studies.maps.calibrate import predict
from simkit.studies.maps.result import document, probabilities
from simkit.studies.maps.space import LATIN_BLOCK, Space, draw, space_of
from simkit.studies.maps.statistics import importance, indices, probability, smooth
from simkit.studies.maps.study import Mapper
from tests.machines import DEMO, ROOT

Array = Any


def space(*vary: str, tolerances: bool = False) -> Space:
    scenario, machine = load_scenario(DEMO / "raise-supply.toml")
    asked = [parse_vary(text) for text in vary]
    return space_of(machine, scenario, MapPlan(tolerances=tolerances), asked)


# --- what varies


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("tank.cans=5 %", {"tolerance": 0.05, "spread": "uniform"}),
        ("tank.cans=5 % normal", {"tolerance": 0.05, "spread": "normal"}),
        ("drive.dead_time=0.4 us..1 us/9", {"low": "0.4 us", "high": "1 us", "steps": 9}),
        ("drive.dead_time=4e-7..1e-6", {"low": 4e-7, "high": 1e-6, "steps": None}),
    ],
)
def test_vary_is_read(text: str, wanted: dict[str, Any]) -> None:
    found = parse_vary(text)
    assert {name: getattr(found, name) for name in wanted} == wanted


@pytest.mark.parametrize("text", ["tank.cans", "=5 %", "tank.cans=lots", "tank.cans=150 %"])
def test_vary_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_vary(text)


def test_axes_read_units_and_keep_whole_numbers_whole() -> None:
    found = space("drive.dead_time=0.4 us..1 us", "tank.cans=10..30")
    time, cans = found.axes
    assert (time.low, time.high) == pytest.approx((0.4e-6, 1e-6))
    assert cans.value(0.51) == 20.0
    machine, _ = found.at(found.values((0.5, 0.51)))
    assert machine.tank.cans == 20
    assert machine.drive.dead_time == pytest.approx(0.7e-6)


def test_keys_that_vary_together_keep_their_ratio() -> None:
    found = space("coil.inductance+workpieces.steel-hot.inductance=10 %")
    machine, _ = found.at(found.values((1.0,)))
    assert machine.coil.inductance == pytest.approx(1.1 * 0.900e-6)
    assert machine.workpieces["steel-hot"].inductance == pytest.approx(1.1 * 0.825e-6)


def test_scenario_values_vary_too() -> None:
    found = space("scenario.events.0.duration=1 ms..4 ms")
    _, scenario = found.at(found.values((0.0,)))
    assert scenario.events[0].duration == pytest.approx(1e-3)


def test_tolerances_of_the_machine_file_vary_and_the_command_line_goes_first() -> None:
    found = space("supply.voltage=300 V..310 V", tolerances=True)
    by_name = {a.name: a for a in found.axes}
    assert by_name["supply.voltage"].source == "--vary"
    can = by_name["tank.can_capacitance"]  # 0.22 uF, 5 % in the shipped file
    assert (can.low, can.high) == pytest.approx((0.209e-6, 0.231e-6))
    assert can.source == "the machine file"


@pytest.mark.parametrize("text", ["tank.nothing=5 %", "tank.feed=5 %", "tank.cans=30..10"])
def test_keys_and_ranges_that_cannot_be_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        space(text)


def test_a_normal_spread_has_95_per_cent_in_its_band() -> None:
    (axis,) = space("tank.can_capacitance=5 % normal").axes
    values = np.array([axis.value(u) for u in (np.arange(2000) + 0.5) / 2000])
    inside = np.mean((values > 0.209e-6) & (values < 0.231e-6))
    # Two standard deviations hold 95.45 % of a normal distribution (any table); 2000 steps.
    assert inside == pytest.approx(0.9545, abs=0.002)


# --- samples


@pytest.mark.parametrize("kind", ["sobol", "latin-hypercube"])
def test_a_larger_sample_begins_with_a_smaller_one(kind: str) -> None:
    one = space("tank.can_capacitance=5 %", "drive.dead_time=10 %")
    assert np.array_equal(draw(one, kind, 100)[:40], draw(one, kind, 40))


def test_a_latin_hypercube_has_one_case_in_every_row_and_column() -> None:
    one = space("tank.can_capacitance=5 %", "drive.dead_time=10 %")
    cells = np.floor(draw(one, "latin-hypercube", LATIN_BLOCK) * LATIN_BLOCK).astype(int)
    for column in cells.T:  # the definition of a Latin hypercube
        assert sorted(column) == list(range(LATIN_BLOCK))


def test_a_full_factorial_has_every_combination() -> None:
    one = space("drive.dead_time=0.4 us..1 us/4", "tank.can_capacitance=0.2 uF..0.24 uF/3")
    points = {tuple(p) for p in draw(one, "full", 0).round(6).tolist()}
    assert len(points) == 12
    assert {(0.0, 0.0), (1.0, 1.0), (0.333333, 0.5)} <= points


# --- what a sample says


def test_probability_has_wilsons_interval() -> None:
    # (k + z^2/2 -+ z sqrt(k (n - k)/n + z^2/4))/(n + z^2), z = 1.959964 (Wilson 1927).
    k, n, z = 7, 120, 1.959964
    half = z * sqrt(k * (n - k) / n + z * z / 4)
    found = probability(k, 0, n)
    assert found.low == pytest.approx((k + z * z / 2 - half) / (n + z * z), rel=1e-5)
    assert found.high == pytest.approx((k + z * z / 2 + half) / (n + z * z), rel=1e-5)
    assert found.value == pytest.approx(7 / 120)


def test_undecided_cases_widen_the_interval_upwards_only() -> None:
    sure, unsure = probability(7, 0, 120), probability(7, 5, 120)
    assert unsure.low == sure.low
    assert unsure.high == probability(12, 0, 120).high


A, B = 7.0, 0.1


def ishigami(points: Array) -> Array:
    """sin x1 + a sin^2 x2 + b x3^4 sin x1 on (-pi, pi)^3."""
    x = pi * (2.0 * points - 1.0)
    return np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])


# Saltelli and others, Global Sensitivity Analysis, 2008 (recalled from memory); the variances
# follow by hand: V1 = (1 + b pi^4/5)^2/2, V2 = a^2/8, V13 = 8 b^2 pi^8/225.
V1, V2, V13 = 0.5 * (1 + B * pi**4 / 5) ** 2, A**2 / 8, 8 * B**2 * pi**8 / 225
FIRST = np.array([V1, V2, 0.0]) / (V1 + V2 + V13)
TOTAL = np.array([V1 + V13, V2, V13]) / (V1 + V2 + V13)


def test_sobol_indices_of_a_function_that_is_known() -> None:
    assert pytest.approx([0.3139, 0.4424, 0.0], abs=1e-4) == FIRST  # as the book prints them
    first, total = indices(ishigami, 3)
    # 0.03: the error of 2048 base points falls as 1/sqrt(2048) = 0.02.
    assert first == pytest.approx(FIRST, abs=0.03)
    assert total == pytest.approx(TOTAL, abs=0.03)


@pytest.mark.slow
def test_sobol_indices_from_cases_alone() -> None:
    from scipy.stats import qmc

    points = qmc.Sobol(3, rng=np.random.default_rng(3)).random(1024)
    found = importance(["x1", "x2", "x3"], points, ishigami(points))
    # 0.06: the smooth model through 1024 cases leaves some 2 % of the variance.
    assert [i.first_order for i in found] == pytest.approx(FIRST, abs=0.06)
    assert [i.total for i in found] == pytest.approx(TOTAL, abs=0.06)
    assert smooth(points, ishigami(points))(points[:5]) == pytest.approx(
        ishigami(points[:5]), abs=1e-3
    )


def test_rank_correlation_tells_the_direction() -> None:
    points = np.random.default_rng(5).random((60, 2))
    up, down = importance(["a", "b"], points, points[:, 0] ** 3 - 0.5 * points[:, 1])
    assert up.rank_correlation is not None
    assert down.rank_correlation is not None
    assert up.rank_correlation > 0.5 > 0.0 > down.rank_correlation


def test_too_few_cases_say_nothing_about_importance() -> None:
    points = np.random.default_rng(5).random((5, 2))
    assert {i.total for i in importance(["a", "b"], points, points[:, 0])} == {None}


# --- calibration and the two levels, on a made-up physics whose answer is known


def truth(units: Array) -> float:
    """Share of the made-up limit: curved, 15 % of the cube lies over it."""
    return float(0.6 + 0.4 * units[0] + 0.25 * units[1] ** 2 - 0.1 * units[0] * units[1])


def made_up(case: Mapping[str, Any]) -> dict[str, Any]:
    """The fast model is off by up to 20 %, smoothly."""
    machine = case["machine"]
    u = ((machine["tank"]["can_capacitance"] / 0.22e-6 - 0.95) / 0.1,
         (machine["drive"]["dead_time"] / 0.6e-6 - 0.9) / 0.2)  # fmt: skip
    ratio = truth(u)
    if case["level"] == "fast":
        off = 0.8 + 0.1 * u[0] + 0.05 * u[1] * u[0]
        return {"level": "fast", "limits": {"can_current_rms": ratio * off}, "forced": -5.0,
                "swing": 10.0}  # fmt: skip
    status = "over" if ratio > 1.0 else "ok"
    outcome = "over_limit" if ratio > 1.0 else "within_limits"
    row = {"ratio": ratio, "error": 0.0, "status": status}
    return {"level": "full", "outcome": outcome, "reason": "", "limits": {"can_current_rms": row}}


CALLS: list[str] = []


def counted(case: Mapping[str, Any]) -> dict[str, Any]:
    CALLS.append(case["level"])
    return made_up(case)


@pytest.fixture
def two() -> Space:
    return space("tank.can_capacitance=5 %", "drive.dead_time=10 %")


@pytest.fixture(autouse=True)
def made_up_work(monkeypatch: pytest.MonkeyPatch) -> None:
    CALLS.clear()
    monkeypatch.setattr(study, "work", counted)
    monkeypatch.setattr(study, "key_of", lambda case: str(hash(repr(case))))


def test_two_levels_tell_what_one_tells(two: Space) -> None:
    plain = Mapper(two).run("sobol", 200, full=True)
    CALLS.clear()
    quick = Mapper(two).run("sobol", 200)
    assert [p.over for p in quick.points] == [p.over for p in plain.points]
    assert CALLS.count("fast") == 200
    assert 0.05 * 200 <= CALLS.count("full") < 120
    # All that the calibration cannot tell from the limit were run in full.
    for p in quick.points:
        if p.method == "fast model":
            assert abs(p.worst - 1.0) > 0.01
    assert quick.checked is not None
    assert (quick.checked.cases, quick.checked.wrong) == (10, 0)
    assert probabilities(quick)["any limit"] == probabilities(plain)["any limit"]


def test_a_larger_sample_continues_a_smaller_one(two: Space, tmp_path: Path) -> None:
    store = Store(tmp_path)
    Mapper(two, store=store).run("sobol", 40, full=True)
    CALLS.clear()
    found = Mapper(two, store=store).run("sobol", 100, full=True)
    assert len(CALLS) == 60
    assert len(found.points) == 100


def test_a_quantity_without_a_value_is_never_told_by_the_fast_model(two: Space) -> None:
    units = draw(two, "sobol", 30)
    cases = [study.case_of(*two.at(two.values(u)), "fast") for u in units]
    fast = [made_up(c) for c in cases]
    full = {k: made_up(dict(cases[k], level="full")) for k in range(12)}
    assert not np.isnan(predict(units, fast, full)["can_current_rms"].ratio).any()
    full[3]["limits"]["can_current_rms"] = {"ratio": None, "error": None,
                                            "status": "not_evaluated"}  # fmt: skip
    found = predict(units, fast, full)["can_current_rms"]
    assert np.isnan(found.ratio).all()
    assert found.near.all()


def test_the_boundary_is_refined_where_it_runs(two: Space) -> None:
    wide = space("tank.can_capacitance=0.209 uF..0.231 uF/5", "drive.dead_time=0.54 us..0.66 us/5")
    mapper = Mapper(wide)
    cells, found = refined(mapper, mapper.run("full", 0, full=True), 3)
    # Area over the limit of the made-up physics, on a fine grid.
    line = (np.arange(400) + 0.5) / 400
    wanted = np.mean([[truth((u, v)) > 1.0 for u in line] for v in line])
    low, open_ = share(cells, "over_limit"), share(cells, "boundary")
    assert low <= wanted <= low + open_
    # The first grid leaves cells of 1/16 open along the boundary; three halvings an eighth.
    assert open_ < 0.08
    assert sum(share(cells, o) for o in ("over_limit", "within_limits", "boundary")) == (
        pytest.approx(1.0)
    )
    assert len(found.points) < 17 * 17 / 2 + 25, "not the whole fine grid"


def test_the_document_holds_every_case_once() -> None:
    scenario, machine = load_scenario(DEMO / "raise-supply.toml")
    one = space("tank.can_capacitance=5 %", "drive.dead_time=10 %")
    found = Mapper(one).run("sobol", 64)
    result = document(found, (), scenario, machine)
    assert result["cases"] == len(result["points"]) == 64
    assert result["verdict"] == "over_limit"
    chance = result["probabilities"]["can_current_rms"]
    assert chance["over"] == sum(p["over"] == ["can_current_rms"] for p in result["points"])


def test_the_shipped_map_can_be_drawn() -> None:
    scenario, machine = load_scenario(DEMO / "tolerances.toml")
    assert scenario.model.map is not None
    found = space_of(machine, scenario, scenario.model.map)
    assert {a.source for a in found.axes} == {"the machine file", "the scenario file"}
    other = [a.name for a in found.axes if a.name.startswith("workpieces.")]
    assert all("steel-full-power" in name for name in other), "pieces that take no part stay out"
    for corner in (0.0, 1.0):
        found.at(found.values([corner] * len(found.axes)))


def test_a_vary_table_says_its_width_one_way() -> None:
    with pytest.raises(ValueError, match="give either tolerance"):
        Vary(keys=("tank.cans",))


@pytest.mark.slow
def test_a_tolerance_on_the_mains_moves_all_that_follows_from_it() -> None:
    """The link's voltage is the mains' peak less two diodes, so it moves by sqrt(2) of them."""
    path = ROOT / "scenarios" / "bar-heating" / "draw-out.toml"
    scenario, machine = load_scenario(path)
    assert machine.origins["supply.rectifier.mains_voltage"].tolerance

    def rebuilt(more: Mapping[str, str]) -> Machine:
        return load_scenario(path, more)[1].model

    found = space_of(machine, scenario, MapPlan(), (), rebuilt)
    at = [a.keys for a in found.axes].index(("supply.rectifier.mains_voltage",))
    middle = [a.nominal for a in found.axes]
    high = [a.high if k == at else a.nominal for k, a in enumerate(found.axes)]
    before, after = (found.at(v)[0].supply for v in (middle, high))
    assert before.rectifier is not None
    assert after.rectifier is not None
    more = after.rectifier.mains_voltage - before.rectifier.mains_voltage
    assert more > 5.0
    assert after.voltage - before.voltage == pytest.approx(sqrt(2.0) * more, rel=1e-6)


def test_a_key_that_only_scenarios_have_needs_no_word_before_it() -> None:
    scenario, machine = load_scenario(DEMO / "pull-out-hot.toml")
    for key in ("start.margin", "scenario.start.margin"):
        asked = [parse_vary(f"{key}=2 %..6 %")]
        found = space_of(machine, scenario, MapPlan(tolerances=False), asked)
        assert [a.keys for a in found.axes] == [("scenario.start.margin",)]
        assert found.at((0.03,))[1].start.margin == 0.03


def test_without_a_tolerance_written_those_of_the_sources_are_taken_and_said() -> None:
    scenario, machine = load_scenario(DEMO / "pull-out-hot.toml")
    bare = replace(
        machine, origins={k: replace(o, tolerance=None) for k, o in machine.origins.items()}
    )
    found = space_of(bare, scenario, MapPlan())
    assert {a.keys[0] for a in found.axes} >= {"coil.inductance", "workpieces.steel-hot.resistance"}
    assert all(a.source.startswith("assumed: ") for a in found.axes)
    assert "workpieces.graphite-crucible.resistance" not in {a.keys[0] for a in found.axes}
