"""The start of a whole run: modes made up here and told back, a seed there and back.

Outside: y_m = a + d mu^m + (-1)^m r b is written out with numbers of the test's own.
"""

from __future__ import annotations

from dataclasses import astuple, replace

import numpy as np
import pytest

from simkit.circuit.values import Seed
from simkit.rehearsal.settled_state import _missing, less, states_of, turned
from tests.machines import TOPOLOGIES, still, topology

SEED = Seed(
    link_voltage=320.0, primary_current=-12.0, load_current=-260.0, coil_current=-262.0,
    tank_voltage=31.0, blocking_voltage=2.5,
)  # fmt: skip


@pytest.mark.parametrize("parts", TOPOLOGIES, ids="-".join)
def test_a_seed_told_as_states_comes_back(parts: tuple[str, str, str]) -> None:
    machine = topology(*parts)
    states = states_of(machine, still(machine, 4.0, frequency=80e3))
    wanted = SEED
    if machine.tank.feed == "loop":  # there the coil's current is the load's
        wanted = replace(wanted, coil_current=wanted.load_current)
    if "blocking_voltage" not in states.net.states:
        wanted = replace(wanted, blocking_voltage=0.0)
    found = states.seed(states.of(wanted), SEED)
    assert astuple(found) == pytest.approx(astuple(wanted))


def test_the_energy_is_half_the_square_of_the_states() -> None:
    """The bank's C V^2 / 2, written out."""
    machine = topology("full", "loop", "ideal")
    states = states_of(machine, still(machine, 4.0, frequency=80e3))
    alone = states.of(Seed(link_voltage=320.0, tank_voltage=31.0))
    assert 0.5 * alone @ alone == pytest.approx(0.5 * machine.tank.capacitance * 31.0**2)


def test_what_is_missing_is_told_apart_from_what_stays_and_from_the_rest() -> None:
    """A tank that forgets a tenth in each half period and turns by 0.3 rad, and a pair that swings
    once in 60 of them; r is 0.7 of what is expected."""
    rates = np.array([0.9 * np.exp(0.3j), np.exp(0.1j) * -1.0 * 0.999])
    a, d, b = (
        np.array([3.0 + 1.0j, 0.2j]),
        np.array([0.4 - 0.1j, 0.05]),
        np.array([0.0, 0.3 + 0.1j]),
    )
    m = np.arange(7)[:, None]
    turns, aside = rates**m, (-1.0) ** m * b
    folded = a + d * turns + 0.7 * aside
    # The modes of real states come in pairs, which makes r real.
    both = [np.concatenate((x, x.conj()), axis=-1) for x in (folded, turns, aside)]
    missing, rest = _missing(*both)
    assert missing[:2] == pytest.approx(d, rel=0.01)
    assert rest == pytest.approx(0.7, rel=0.01)


def test_half_a_period_later_all_but_the_link_has_turned() -> None:
    other = turned(SEED, 3)
    assert (other.link_voltage, other.primary_current, other.blocking_voltage) == (
        320.0,
        12.0,
        -2.5,
    )
    assert turned(other, 1) == SEED == turned(SEED, 2)
    assert less(SEED, 0.5).blocking_voltage == 2.0
