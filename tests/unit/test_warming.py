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

from simkit.measure.series import Series
from simkit.parameters.machine import Machine
from simkit.parts.warming import warmed_machine
from simkit.studies.rehearsal.warming import NEAR, hottest, warmed
from tests.machines import demo, varied

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
