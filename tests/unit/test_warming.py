"""The electro-thermal loop, with a settled run worked out by hand in place of the engine.

Outside: the balance T = T_a + R_th (I^2 R_0 ((T + 273.15)/(T_0 + 273.15))^n + P_0) solved by
scipy's brentq in the test; the loop of `parts/thermal.py` is another way to the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from simkit.circuit.timeline import timeline
from simkit.measure.series import Series
from simkit.parameters.machine import Load, Machine
from simkit.parts.warming import warmed_machine
from simkit.rehearsal.warming import NEAR, expected, hottest, warmed
from simkit.scout import operating
from simkit.scout.operating import operating_point
from tests.machines import demo, scenario, varied

WARM = {"switch.warming": {"junction_temperature": 25.0, "resistance_exponent": 2.3}}
CHANNEL = 1.0 / (18.0 * (12.0 - 4.0))


def resistance(machine: Machine) -> float:
    return machine.switch.channel.drain_resistance + CHANNEL


def test_resistance_follows_the_power_law() -> None:
    """2.3: at 125 degC 1.95 times 25 degC's, (398.15/298.15)^2.3 worked out here."""
    cold = varied(demo(), WARM)
    assert resistance(warmed_machine(cold, 125.0)) / resistance(cold) == pytest.approx(
        (398.15 / 298.15) ** 2.3
    )
    # There and back again is the same switch.
    back = warmed_machine(warmed_machine(cold, 125.0), 25.0)
    assert resistance(back) == pytest.approx(resistance(cold))


def test_without_figures_it_is_refused() -> None:
    with pytest.raises(ValueError, match="does not say"):
        warmed_machine(varied(demo(), {"switch.warming": None}), 100.0)


@dataclass
class Run:
    """A settled run whose loss is I^2 R + rest in each of four switches."""

    current: float
    rest: float
    count: int = 0

    def __call__(self, machine: Machine) -> Any:
        self.count += 1
        loss = np.array([self.current**2 * resistance(machine) + self.rest])
        series = [Series(f"Q{k}", "loss", "W", np.zeros(1), loss) for k in range(1, 5)]

        class Stretch:
            pass

        stretch: Any = Stretch()
        stretch.series = series
        return stretch


def balance(current: float, rest: float) -> float:
    machine = varied(demo(), WARM)
    thermal = 0.30 + 0.35 + 4 * 0.15

    def gap(celsius: float) -> float:
        ohms = resistance(machine) * ((celsius + 273.15) / 298.15) ** 2.3
        return 30.0 + thermal * (current**2 * ohms + rest) - celsius

    return float(brentq(gap, 25.0, 150.0))


@pytest.mark.parametrize(("current", "rest"), [(5.0, 3.0), (10.0, 15.0), (14.0, 5.0)])
def test_the_loop_finds_the_balance(current: float, rest: float) -> None:
    run = Run(current, rest)
    machine, found, last = warmed(varied(demo(), WARM), run)
    assert found.balanced
    # NEAR between the rounds, over one less the loop's gain of up to a half: 4 K.
    assert found.switch_at_c == pytest.approx(balance(current, rest), abs=2 * NEAR)
    assert machine.switch.warming is not None
    assert machine.switch.warming.junction_temperature == found.switch_at_c
    # The run handed over is the last one, on that machine: its loss gives the temperature told.
    assert hottest(machine, last) == found.settled_junction_c
    assert found.rounds == run.count <= 5


def test_a_runaway_is_said_and_not_followed() -> None:
    """30 A: 78 W cold in each switch alone are 97 K, and more with each kelvin: no balance below
    150 degC, where the switch is taken and the loop says so."""
    _, found, _ = warmed(varied(demo(), WARM), Run(30.0, 0.0))
    assert not found.balanced
    assert found.switch_at_c == 150.0
    assert found.settled_junction_c > 150.0


def test_it_begins_where_it_is_told_and_then_needs_one_run() -> None:
    """Told the balance itself, and told a temperature far off: the same in the end."""
    wanted = balance(10.0, 15.0)
    run = Run(10.0, 15.0)
    _, found, _ = warmed(varied(demo(), WARM), run, wanted)
    assert (found.rounds, run.count, found.balanced) == (1, 1, True)
    _, other, _ = warmed(varied(demo(), WARM), Run(10.0, 15.0), 140.0)
    assert other.rounds > 1
    assert other.settled_junction_c == pytest.approx(found.settled_junction_c, abs=NEAR)


def test_beyond_the_rating_it_begins_at_the_rating() -> None:
    _, found, _ = warmed(varied(demo(), WARM), Run(30.0, 0.0), 400.0)
    assert (found.switch_at_c, found.rounds) == (150.0, 1)


def test_the_fast_model_expects_the_balance_of_its_own_loss() -> None:
    """T = T_a + R_th P(T) with the fast model's P, by brentq here; two rounds come within 2 K."""
    machine = varied(demo(), WARM)
    line = timeline(machine, scenario(settled=3e-4, tail=1e-4))
    load = Load(inductance=line.inductance.first, resistance=line.resistance.first)

    def gap(celsius: float) -> float:
        trial = warmed_machine(machine, celsius)
        loss = operating_point(trial, load, line.frequency.first).bridge_loss
        return 30.0 + (0.30 + 0.35 + 4 * 0.15) * loss / 4 - celsius

    assert expected(machine, line) == pytest.approx(brentq(gap, 25.0, 150.0), abs=NEAR)


def test_where_the_fast_model_has_no_answer_the_file_s_temperature_counts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(operating, "CONVERGED", -1.0)
    machine = varied(demo(), WARM)
    line = timeline(machine, scenario(settled=3e-4, tail=1e-4))
    assert expected(machine, line) == 25.0
