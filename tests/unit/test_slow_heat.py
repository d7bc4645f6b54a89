"""Bodies that warm while the last state goes on, and what is at its limit first.

Outside: each body's heat balance by scipy's integrator, Ohm's law for heat, sums by hand.
"""

from __future__ import annotations

from math import inf, nan
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simkit.circuit.profile import Profile
from simkit.measure.series import Series
from simkit.parts.slow_heat import Body, time_to_limit, warming
from simkit.rehearsal.findings import SlowFact
from simkit.rehearsal.mains_limits import over_the_mains
from simkit.rehearsal.slow_parts import (
    bodies,
    body_figures,
    density_at,
    lasting_densities,
    lasting_flux,
)
from simkit.studies.inputs.loading import load_machine
from simkit.studies.scenario.view import _heating
from simkit.verbs.run import first_limit
from tests.machines import ROOT, demo, varied

TIMES = np.array([1e-3, 10.0, 600.0, 9e4])
"""The stays that a builder asks for: at once, ten seconds, ten minutes, for good [s]."""


def body(**more: Any) -> Body:
    values: dict[str, Any] = {
        "part": "tank capacitor", "around": 30.0, "before": 4.0, "last": 20.0, "time": 400.0,
        "limit": 45.0, "error": 0.1,
    }  # fmt: skip
    return Body(**(values | more))


def test_one_curve_by_integration() -> None:
    """P - (T - T_a)/R = C dT/dt, R = 8 K/W, C = 50 J/K, 2.5 W after 0.5 W: 1 % of the rise."""
    done = solve_ivp(
        lambda t, x: [(2.5 - x[0] / 8.0) / 50.0], (0.0, 9e4), [0.5 * 8.0], t_eval=TIMES,
        rtol=1e-9, atol=1e-9, method="BDF",
    )  # fmt: skip
    assert warming(body(), TIMES) - 30.0 == pytest.approx(done.y[0], rel=0.01)
    reached = solve_ivp(
        lambda t, x: [(2.5 - x[0] / 8.0) / 50.0], (0.0, 9e4), [4.0], rtol=1e-9, atol=1e-9,
        events=lambda t, x: x[0] - 15.0, method="BDF",
    )  # fmt: skip
    assert time_to_limit(body()) == pytest.approx(float(reached.t_events[0][0]), rel=0.001)


def test_without_a_heat_capacity_the_hotter_at_once() -> None:
    assert warming(body(time=None), TIMES) == pytest.approx(50.0)
    assert warming(body(time=None, last=1.0), TIMES) == pytest.approx(34.0)
    assert time_to_limit(body(time=None)) == 0.0


def test_never_at_once_and_unknown() -> None:
    assert time_to_limit(body(last=14.9)) == inf
    assert time_to_limit(body(before=16.0, last=1.0)) == 0.0
    assert time_to_limit(body(limit=nan)) == inf
    assert time_to_limit(body(limit=nan, time=None)) == inf


def found(machine: Any, currents: tuple[float, float]) -> dict[str, Body]:
    """Bodies at the coil's, the primary's and a can's current, settled and last [A]."""
    loads = [
        {"coil_current_rms": 20.0 * i, "can_current_rms": i, "primary_current_rms": i,
         "secondary_current_rms": 22.0 * i} for i in currents
    ]  # fmt: skip
    point = SimpleNamespace(frequency_hz=80e3)
    flux = Series("core", "flux_peak", "T", np.zeros(1), np.array([0.1]))
    line = SimpleNamespace(events=())
    whole: Any = SimpleNamespace(machine=machine, before=point, after=point, series=(flux,),
                                 line=line)  # fmt: skip
    return {b.part: b for b in bodies(whole, loads, 0.01)}


def test_what_the_bar_heater_warms() -> None:
    """Ohm's law for heat. A can: I^2 (R_s + tan d/(2 pi f C)) 8 K/W, 10 A at 80 kHz, no bus: 5.4 K;
    windings: (R_1 + R_2 22^2) I^2 4 K/W; the water's wall over the inlet and below boiling."""
    machine = load_machine(ROOT / "scenarios" / "bar-heating" / "machine.toml").model
    machine = varied(machine, {"tank.bus": None})
    parts = found(machine, (1.0, 10.0))
    esr = 3e-3 + 4e-4 / (2.0 * np.pi * 80e3 * 0.22e-6)
    assert parts["tank capacitor"].last == pytest.approx(100.0 * esr * 8.0)
    assert parts["tank capacitor"].before == pytest.approx(esr * 8.0)
    assert parts["tank capacitor"].time == pytest.approx(400.0)
    wound = machine.transformer
    ohms = wound.primary_resistance + 484.0 * wound.secondary_resistance
    assert parts["windings"].last == pytest.approx(100.0 * ohms * 4.0)
    assert 18.0 < parts["coil's wall"].settled < parts["coil's wall"].limit < 101.0
    assert parts["core"].settled > 30.0
    rows = {f.quantity: f for f in body_figures(list(parts.values()), machine)}
    assert rows["can_temperature"].rating == pytest.approx(45.0)
    assert rows["winding_temperature"].rating == pytest.approx(130.0)
    # Beyond its limit it is over.
    assert found(machine, (1.0, 25.0))["tank capacitor"].settled > 45.0


def test_a_machine_that_says_nothing_of_it_has_no_body() -> None:
    machine = load_machine(ROOT / "scenarios" / "copper-casting" / "machine.toml").model
    assert set(found(machine, (1.0, 10.0))) == {"core", "coil's wall"}
    silent = varied(machine, {"cooling.water": None, "transformer.core_loss": None})
    assert found(silent, (1.0, 10.0)) == {}


def test_the_line_on_the_terminal() -> None:
    never = {"part": "core", "settles_at_degc": 40.0, "limit_degc": 110.0, "time_to_limit_s": None}
    soon = {**never, "part": "windings", "time_to_limit_s": 43.2}
    assert first_limit({"if_it_went_on": [never]}) == first_limit({}) == ""
    told = first_limit({"if_it_went_on": [soon, never]})
    assert told == "if the last state goes on: windings at its limit after 43.2 s"
    soon["time_to_limit_s"] = 0.0
    assert first_limit({"if_it_went_on": [soon]}).endswith("at its limit by the end of it")


def test_the_time_to_temperature_is_told_in_a_sentence() -> None:
    facts = (SlowFact("power into the piece", 800.0, "W", ""),
             SlowFact("time to the target", 412.0, "s", "to 700 degC"))  # fmt: skip
    assert _heating(facts) == "The charge takes 412 s to 700 degC."
    never = SlowFact("time to the target", None, "s", "the losses eat the power at 610 degC")
    assert _heating((never,)).startswith("The charge never comes to its temperature: the losses")
    assert _heating(facts[:1]) == ""


def test_the_piece_gets_the_mean_of_the_mains_period() -> None:
    """A link that follows the mains, 1 uF: half of the crest's power, the mean of a squared sine;
    without a rectifier all of it."""
    machine = load_machine(ROOT / "scenarios" / "bar-heating" / "machine.toml").model
    point = SimpleNamespace(input_power_w=1500.0, supply_voltage_v=np.sqrt(2.0) * 230.0)
    small = varied(machine, {"supply.link.capacitance": 1e-6})
    bare = varied(machine, {"supply.rectifier": None})
    for subject, share in ((small, 0.5), (bare, 1.0)):
        line = SimpleNamespace(voltage=Profile(subject.supply.voltage), end=1e-3)
        whole: Any = SimpleNamespace(machine=subject, before=point, after=point, line=line)
        assert over_the_mains(whole) == pytest.approx(share, abs=0.02)


def test_a_core_grows_warm_by_what_lasts_not_by_one_cycle() -> None:
    """Settled at 0.10 T, one cycle of 0.30 T as the gates go off, 0.02 T after: the settled flux
    and the last one, the largest of three cycles; without an event the settled state is all."""
    times = np.arange(8) * 1e-5
    values = np.array([0.09, 0.10, 0.10, 0.30, 0.05, 0.02, 0.01, 0.02])
    course = (Series("core", "flux_peak", "T", times, values),)
    assert lasting_flux(course, 2.5e-5) == (0.10, 0.02)
    assert lasting_flux(course, np.inf) == (0.30, 0.02)
    assert lasting_flux(course, -1.0) == (0.02, 0.02)
    # So does what each volume of it loses: the kick of one cycle is no loss density.
    machine = demo()
    known = lasting_densities(machine, course, (80e3, 80e3), 2.5e-5)
    assert max(known) == density_at(machine, 0.10, 80e3)
    known = lasting_densities(machine, course, (80e3, 80e3), np.inf)
    assert max(known) == density_at(machine, 0.30, 80e3)
    assert 0.0 < density_at(machine, 0.10, 80e3) < 0.2 * density_at(machine, 0.30, 80e3)
