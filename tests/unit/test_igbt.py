"""The IGBT's laws against closed forms and an independent integrator; fits against their sheets."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.data import scenario_folder
from simkit.errors import InputError
from simkit.figures.table import figure
from simkit.measure.periodic import Cycle
from simkit.measure.waveforms import Waves
from simkit.parameters.switch import Bipolar
from simkit.parts import igbt
from simkit.parts.igbt_fit import fit_igbt, saturation_at
from simkit.parts.switches import load_part, saturation_loss
from simkit.studies.inputs.loading import load_machine
from tests.slowly import first_quick
from tests.waves import waves

PARTS = scenario_folder() / "parts"
CLASSES = sorted(p.stem for p in PARTS.glob("igbt-*.toml"))
PLAIN = Bipolar(
    knee_voltage=0.9, knee_current=30.0, emission=1.5, lifetime=0.4e-6, transit_time=1.6e-6,
    reach_voltage=9e4,
)  # fmt: skip
"""A base so wide that no voltage narrows it by more than a tenth."""
NARROWING = PLAIN.model_copy(update={"reach_voltage": 1200.0, "transit_time": 6e-6})


def test_the_gain_is_that_of_charge_control() -> None:
    """dQ/dt = 0: Q = tau I_mos and I_bip = Q/T give I_bip/I_mos = tau/T."""
    assert igbt.gain(PLAIN, 0.0) == pytest.approx(0.4 / 1.6, rel=1e-12)


@pytest.mark.parametrize("share", [0.05, 0.2, 0.6])
@pytest.mark.parametrize("voltage", [100.0, 400.0])
def test_the_transit_time_for_a_share_leaves_that_share(share: float, voltage: float) -> None:
    narrowed = float(igbt.base_share(NARROWING, voltage))
    transit = igbt.transit_time_for(NARROWING.lifetime, share, narrowed)
    made = NARROWING.model_copy(update={"transit_time": transit})
    assert igbt.tail_share(made, voltage) == pytest.approx(share, rel=1e-9)


def test_the_base_narrows_by_the_depletion_law() -> None:
    """Half of the reach voltage leaves (1 - sqrt(1/2))^2 = 0.086 of the squared width (abrupt
    junction, textbook); the smoothing adds less than a hundredth of the whole."""
    expected = (1.0 - math.sqrt(0.5)) ** 2
    assert float(igbt.base_share(NARROWING, 600.0)) == pytest.approx(expected, abs=0.02)
    assert float(igbt.base_share(NARROWING, 0.0)) == pytest.approx(1.0, abs=1e-9)
    falling = igbt.base_share(NARROWING, np.linspace(0.0, 700.0, 50))
    assert (np.diff(falling) < 0.0).all()


@pytest.mark.parametrize("capacitance", [5e-9, 20e-9, 80e-9])
def test_a_snubbed_tail_s_energy_is_the_integral(capacitance: float) -> None:
    """scipy's integrator on the same two laws, written anew here."""
    link, current, b = 400.0, 30.0, NARROWING
    charge = current * b.lifetime / (1.0 + b.lifetime / b.transit_time)

    def flow(time: float, volts: float) -> float:
        width = 1.0 - math.sqrt(min(max(volts, 0.0) / 1200.0, 0.64) + 1e-3) + math.sqrt(1e-3)
        return charge * math.exp(-time / b.lifetime) / (b.transit_time * width**2)

    def slopes(time: float, y: list[float]) -> list[float]:
        rising = y[0] < link
        return [(current - flow(time, y[0])) / capacitance * rising, y[0] * flow(time, y[0])]

    end = capacitance * link / current + 8.0 * b.lifetime
    found = solve_ivp(slopes, (0.0, end), [0.0, 0.0], max_step=2e-9, rtol=1e-8)
    got = igbt.snubbed_tail_energy(b, link, current, capacitance)
    assert got == pytest.approx(found.y[1, -1], rel=5e-3)


def test_a_capacitor_spares_most_of_the_tail() -> None:
    """What K. Wang et al., "Comparative study of switching losses of IGBTs under hard-switching,
    zero-voltage-switching and zero-current-switching" (abstract read) measured: zero-voltage
    switching takes more than half of the loss away."""
    clamped = igbt.tail_energy(NARROWING, 400.0, 30.0)
    assert igbt.snubbed_tail_energy(NARROWING, 400.0, 30.0, 60e-9) < 0.5 * clamped


@pytest.mark.parametrize("name", first_quick(CLASSES, 2))
@pytest.mark.parametrize("celsius", [25.0, 150.0])
def test_a_fit_returns_the_saturation_voltage(name: str, celsius: float) -> None:
    part = load_part(PARTS / f"{name}.toml").model
    switch = fit_igbt(part, celsius).switch
    assert switch.bipolar is not None
    for point in (p for p in part.saturation if p.junction_temperature == celsius):
        got = igbt.saturation_voltage(
            switch.channel, switch.bipolar, point.gate_voltage, point.collector_current
        )
        assert got == pytest.approx(point.voltage, rel=0.02)


@pytest.mark.parametrize("name", first_quick(CLASSES, 2))
def test_a_class_saturates_as_its_short_circuit_rating_allows(name: str) -> None:
    """At 15 V: four to ten times the rated current where a short circuit is rated, fifteen at most
    where none is (common practice, no source). Square law of the channel, fed by half of the rated
    voltage; both temperatures."""
    part = load_part(PARTS / f"{name}.toml").model
    most = 15.0 if part.ratings.short_circuit_time is None else 10.0
    for celsius in (25.0, 150.0):
        switch = fit_igbt(part, celsius).switch
        assert switch.bipolar is not None
        channel, gain = (
            switch.channel,
            igbt.gain(switch.bipolar, 0.5 * switch.ratings.drain_voltage),
        )
        fed = 0.5 * channel.transconductance * (15.0 - channel.threshold) ** 2
        assert 4.0 < fed * (1.0 + gain) / part.ratings.collector_current < most


def test_only_the_slow_classes_are_rated_for_a_short_circuit() -> None:
    """What the test before tells apart is there."""
    rated = [n for n in CLASSES if load_part(PARTS / f"{n}.toml").model.ratings.short_circuit_time]
    assert rated == ["igbt-1200v-75a-slow", "igbt-600v-50a-slow"]


def test_a_tail_grows_and_lasts_with_temperature() -> None:
    part = load_part(PARTS / "igbt-600v-50a-slow.toml").model
    cold, warm, hot = (fit_igbt(part, t).tail for t in (25.0, 90.0, 150.0))
    assert cold.decay < warm.decay < hot.decay
    assert cold.share < warm.share < hot.share


def test_saturation_goes_straight_between_the_temperatures() -> None:
    part = load_part(PARTS / "igbt-600v-40a-fast.toml").model
    middle = saturation_at(part, 87.5)[1].voltage
    assert middle == pytest.approx(0.5 * (1.9 + 2.3), rel=1e-12)


def test_conduction_loss_has_a_knee_and_a_slope() -> None:
    """V = V_k + r I over a half sine every other half period: V_k I_mean + r I_rms^2."""
    part = load_part(PARTS / "igbt-600v-40a-fast.toml").model
    slope = (1.9 - 1.5) / 20.0
    knee = 1.5 - slope * 20.0
    loss = saturation_loss(part, 15.0)(25.0)
    assert loss == pytest.approx(knee * 15.0 * 2.0 / math.pi + slope * 225.0, rel=1e-12)


# --- files of one kind with keys of the other ----------------------------------------------------


def changed(tmp_path: Path, name: str, old: str, new: str) -> Path:
    path = tmp_path / "mine.toml"
    text = (PARTS / f"{name}.toml").read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def test_an_on_resistance_on_an_igbt_names_what_it_has(tmp_path: Path) -> None:
    table = "[on_resistance]\ncold = 0.1\n\n[transfer]"
    path = changed(tmp_path, "igbt-600v-40a-fast", "[transfer]", table)
    with pytest.raises(InputError, match=r"on_resistance.*than igbt.*\[\[saturation\]\]"):
        load_part(path)


def test_a_saturation_voltage_on_a_mosfet_names_what_it_has(tmp_path: Path) -> None:
    table = "[[saturation]]\nvoltage = 2\n\n[transfer]"
    path = changed(tmp_path, "class-600v-planar", "[transfer]", table)
    with pytest.raises(InputError, match=r"saturation.*than mosfet.*\[on_resistance\]"):
        load_part(path)


def test_an_unknown_kind_is_refused(tmp_path: Path) -> None:
    path = changed(tmp_path, "igbt-600v-40a-fast", 'kind = "igbt"', 'kind = "thyristor"')
    with pytest.raises(InputError, match="kind: must be mosfet or igbt; written: thyristor"):
        load_part(path)


def test_an_energy_below_what_the_channel_needs_is_said(tmp_path: Path) -> None:
    path = changed(tmp_path, "igbt-600v-40a-fast", 'energy = "0.5 mJ"', 'energy = "0.05 mJ"')
    fitted = fit_igbt(load_part(path).model)
    assert any("E_off of 0.05 mJ at 25 degC is less than" in s for s in fitted.contradictions)


# --- figures of the kind --------------------------------------------------------------------------


def hand_made(current: float, volts: float) -> Waves:
    """A switch that carries a current [A] under a voltage [V] from 1 to 4 us; 325 V of link."""
    machine = load_machine(scenario_folder() / "tube-bending" / "machine.toml").model
    time = np.linspace(0.0, 10e-6, 2001)
    during = (time > 1e-6) & (time < 4e-6)
    given = {
        "p": 325.0,
        "xq1__di": np.where(during, volts, 0.0),
        "i1": np.where(during, current, 0.0),
    }
    inner = {f"xq{k}__{n}": 0.0 for k in (1, 2) for n in ("dj", "db")}
    return waves(machine, time, **given, **inner)


def of_first(name: str, found: Waves) -> float:
    measured = figure(name).measured
    assert measured is not None
    return float(measured.values(found, (Cycle(0.0, 10e-6),))["Q1"].max())


def test_current_under_voltage_counts_and_without_it_does_not() -> None:
    assert of_first("switched_current_peak", hand_made(80.0, 300.0)) == pytest.approx(80.0)
    assert of_first("switched_current_peak", hand_made(80.0, 100.0)) == 0.0


def test_a_short_circuit_lasts_as_long_as_both_are_high() -> None:
    """Above the 150 A of the class's pulsed rating for 3 us: under the whole link, and under the
    half and third of it that a switch of a shorted leg has; on, at a few volts, it is none."""
    for volts in (300.0, 162.5, 100.0):
        held = of_first("short_circuit_time", hand_made(200.0, volts))
        assert held == pytest.approx(3e-6, rel=0.01)
    assert of_first("short_circuit_time", hand_made(100.0, 300.0)) == 0.0
    assert of_first("short_circuit_time", hand_made(200.0, 8.0)) == 0.0


def test_the_figures_of_the_kind_have_its_ratings_and_no_other_kind_has_them() -> None:
    igbts = load_machine(scenario_folder() / "tube-bending" / "machine.toml").model
    mosfets = load_machine(scenario_folder() / "chisel-brazing" / "machine.toml").model
    for name, bound in (("switched_current_peak", 0.8 * 150.0), ("short_circuit_time", 10e-6)):
        record = figure(name)
        assert record.limit is not None
        found = record.limit(igbts)
        assert found is not None
        assert found.value == pytest.approx(bound)
        assert not record.there(mosfets)


# --- the machine ---------------------------------------------------------------------------------


def test_the_shipped_machine_is_of_igbts_fitted_where_they_work() -> None:
    machine = load_machine(scenario_folder() / "tube-bending" / "machine.toml")
    switch = machine.model.switch
    assert switch.kind == "igbt"
    assert switch.bipolar is not None
    assert machine.origins["switch.bipolar.lifetime"].source == "fitted"
    part = load_part(PARTS / "igbt-600v-50a-slow.toml").model
    cold, hot = (t.tail_decay for t in part.turn_off)
    assert cold < switch.bipolar.lifetime < hot


def test_a_resistor_for_the_fast_models_drops_the_saturation_voltage() -> None:
    switch = load_machine(scenario_folder() / "tube-bending" / "machine.toml").model.switch
    assert switch.bipolar is not None
    current = 0.5 * switch.ratings.drain_current
    volts = igbt.saturation_voltage(switch.channel, switch.bipolar, 15.0, current)
    assert igbt.conducting_resistance(switch, 15.0) * current == pytest.approx(volts, rel=1e-9)


@pytest.mark.parametrize("name", CLASSES)
def test_a_weak_gate_still_has_a_resistance_for_the_fast_model(name: str) -> None:
    """A driver's supply that has sunk is a situation of every machine: the large class cannot
    carry half of its rating there, and is told at what it can. It falls as the gate rises."""
    made = fit_igbt(load_part(PARTS / f"{name}.toml").model).switch
    threshold = made.channel.threshold
    ohms = [igbt.conducting_resistance(made, threshold + more) for more in (1.0, 2.0, 4.0, 9.5)]
    assert ohms == sorted(ohms, reverse=True)
    assert 0.0 < ohms[-1] < 0.3
    with pytest.raises(ValueError, match="below the threshold"):
        igbt.conducting_resistance(made, threshold - 1.0)
