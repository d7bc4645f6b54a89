"""Output charge of switches."""

from __future__ import annotations

from simkit.parts.charge import output_charge
from tests.oracles.charge import (
    charge_equivalent,
    energy_equivalent,
    hard_turn_on_energy,
    junction_capacitance,
    junction_from_point,
    output_energy,
)
from tests.reference.checks import Check

# The laws are limits for v >> V0: a built-in potential of 1 uV leaves them to 1e-4 at 300 V.
_FAR = junction_from_point(100e-12, 300.0, potential=1e-6)
_LIMIT = "the law is a limit for v >> V0; what is left at v/V0 = 3e8 is sqrt(V0/v) = 6e-5"
_BOOK = "R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics"
_JUNCTION = "abrupt junction, 100 pF at 300 V"

CHECKS = (
    Check(
        "ZVS-01", "output capacitance far above V0 [F]", f"{_JUNCTION}, at 75 V",
        200e-12, 1e-3, _LIMIT, f"{_BOOK}, eqs 4.38 and 4.39: C goes with 1/sqrt(v)",
        lambda: junction_capacitance(_FAR, 75.0),
    ),
    Check(
        "ZVS-02a", "stored energy [J]", _JUNCTION, 2 / 3 * 100e-12 * 300.0**2, 1e-3, _LIMIT,
        f"{_BOOK}, eq. 4.44: (2/3) C V^2", lambda: output_energy(_FAR, 300.0),
    ),
    Check(
        "ZVS-02b", "energy-equivalent capacitance over C(V) [1]", _JUNCTION, 4 / 3, 1e-3, _LIMIT,
        f"{_BOOK}, eq. 4.44", lambda: energy_equivalent(_FAR, 300.0) / 100e-12,
    ),
    Check(
        "ZVS-03", "hard turn-on energy of a constant capacitance [J]", "1 nF, 320 V",
        51.2e-6, 1e-12, "exact form: round-off only", f"{_BOOK}, eq. 4.42: C V^2/2",
        lambda: hard_turn_on_energy(1e-9, 320.0),
    ),
    Check(
        "ZVS-04a", "output charge [C]", _JUNCTION, 2 * 100e-12 * 300.0, 1e-3, _LIMIT,
        "integral of the square-root law: 2 C V", lambda: output_charge(_FAR, 300.0),
    ),
    Check(
        "ZVS-04b", "charge-equivalent capacitance over C(V) [1]", _JUNCTION, 2.0, 1e-3, _LIMIT,
        "integral of the square-root law", lambda: charge_equivalent(_FAR, 300.0) / 100e-12,
    ),
)  # fmt: skip
