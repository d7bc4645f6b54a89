"""The doubt of a load beyond its method's range, in a rehearsal's figures."""

from __future__ import annotations

import pytest

from simkit.parameters.coil import LoadDoubt
from simkit.parameters.machine import Machine
from simkit.rehearsal.load_doubt import load_share
from tests.machines import demo

LOAD = "steel-hot"


def machine(doubt: LoadDoubt | None) -> Machine:
    made = demo()
    piece = made.workpieces[LOAD].model_copy(update={"doubt": doubt})
    return made.model_copy(update={"workpieces": {**made.workpieces, LOAD: piece}})


def share(doubt: LoadDoubt | None, names: tuple[str, ...] = (LOAD,)) -> float:
    made = machine(doubt)
    piece = made.workpieces[LOAD]
    return load_share(made, names, made.resonance(piece.inductance), 325.0)


def test_measured_loads_and_loads_within_range_add_nothing() -> None:
    assert share(None) == 0.0
    assert share(LoadDoubt(resistance=0.3, inductance=0.1, beyond=False)) == 0.0
    assert share(LoadDoubt(resistance=0.3, inductance=0.1, beyond=True), ("empty",)) == 0.0


def test_at_resonance_the_current_goes_as_one_over_r() -> None:
    """A series tank at resonance: I = U/R. 10 % less R is at most 11 % more current; the
    winding and the switches, which are in the same loop, leave half of it and more."""
    found = share(LoadDoubt(resistance=0.1, inductance=0.0, beyond=True))
    assert 0.05 < found <= 0.1112


def test_a_doubt_on_l_detunes() -> None:
    """1 % of L is half a per cent of f0; with a loaded Q of about 20 that is well felt."""
    found = share(LoadDoubt(resistance=0.0, inductance=0.01, beyond=True))
    assert 0.005 < found < 0.2


@pytest.mark.parametrize("beyond", [0.02, 0.2])
def test_more_doubt_more_share(beyond: float) -> None:
    small, large = (
        share(LoadDoubt(resistance=r, inductance=0.01, beyond=True)) for r in (beyond, 2 * beyond)
    )
    assert small < large
