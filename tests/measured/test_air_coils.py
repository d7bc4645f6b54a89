"""Small air coils against a hobbyist's readings: handbook inductance and two leads of 15 mm.

Fewer than 6 turns are mostly leads and are left out. 8 %: the leads' length is a guess.
"""

from __future__ import annotations

import pytest

from simkit.parts.inductance import round_wire_inductance
from tests.measured.data import AIR_COILS, DRILL, WIRE

LEADS = 24e-9  # two straight wires of 15 mm, 0.8 nH a millimetre: common practice, no source


@pytest.mark.parametrize(("turns", "measured"), [row for row in AIR_COILS if row[0] >= 6])
def test_inductance(turns: int, measured: float) -> None:
    coil = round_wire_inductance(turns, DRILL + WIRE, WIRE, WIRE).value
    assert coil + LEADS == pytest.approx(measured * 1e-9, rel=0.08)
