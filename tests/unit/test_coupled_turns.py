"""A shorted turn, against the whole winding's impedance matrix solved by numpy.

Source: Kirchhoff's laws. The turns are the ports of a network whose inductance matrix is
L1 ((1 - k) I + k J); the test writes the equations down loop by loop and inverts the matrix, the
tool has a closed form. Both are exact: round-off is all that may lie between (1e-9).
"""

from __future__ import annotations

import numpy as np
import pytest

from simkit.parts.coupled_turns import shorted_turn

WHOLE, RESISTANCE, FREQUENCY = 0.945e-6, 0.050, 80e3


def by_matrix(turns: int, coupling: float, contact: float) -> tuple[float, float]:
    """L and R at the ends: a loop through all turns but the last and the contact, and a loop
    through the last turn and the contact."""
    own = WHOLE / (turns + turns * (turns - 1) * coupling)
    matrix = own * ((1.0 - coupling) * np.eye(turns) + coupling * np.ones((turns, turns)))
    impedance = 2j * np.pi * FREQUENCY * matrix + RESISTANCE / turns * np.eye(turns)
    # Columns: which turns a loop current runs through.
    loops = np.zeros((turns, 2))
    loops[:-1, 0], loops[-1, 1] = 1.0, 1.0
    mesh = loops.T @ impedance @ loops + contact * np.array([[1.0, -1.0], [-1.0, 1.0]])
    seen = 1.0 / np.linalg.inv(mesh)[0, 0]
    return float(seen.imag / (2.0 * np.pi * FREQUENCY)), float(seen.real)


@pytest.mark.situation("effect", "shorted-turn", "piece-touches-coil")
@pytest.mark.parametrize("contact", [0.0, 5e-3, 0.05, 1.0])
@pytest.mark.parametrize(("turns", "coupling"), [(5, 0.4), (3, 0.6), (12, 0.1)])
def test_a_shorted_turn_is_the_winding_with_one_turn_bridged(
    turns: int, coupling: float, contact: float
) -> None:
    seen = shorted_turn(WHOLE, RESISTANCE, turns, coupling, FREQUENCY, contact)
    assert seen == pytest.approx(by_matrix(turns, coupling, contact), rel=1e-9)


@pytest.mark.situation("absence", "shorted-turn", "piece-touches-coil")
def test_a_contact_that_does_not_conduct_changes_nothing() -> None:
    """1 Mohm beside a turn of some tens of milliohms: a part in ten million is left."""
    seen = shorted_turn(WHOLE, RESISTANCE, 5, 0.4, FREQUENCY, 1e6)
    assert seen == pytest.approx((WHOLE, RESISTANCE), rel=1e-6)


@pytest.mark.situation("effect", "shorted-turn")
def test_a_turn_without_resistance_takes_its_square_of_coupling() -> None:
    """L = L'(1 - k^2) with k^2 = M^2/(L' L1): the closed secondary of textbooks. 1e-6: R is a
    millionth of the reactance here."""
    own = WHOLE / (5 * (1 + 4 * 0.4))
    left, mutual = 4 * own * (1 + 3 * 0.4), 4 * 0.4 * own
    square = mutual**2 / (left * own)
    seen, _ = shorted_turn(WHOLE, 1e-7, 5, 0.4, FREQUENCY)
    assert seen == pytest.approx(left * (1.0 - square), rel=1e-6)
