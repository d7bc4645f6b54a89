"""Reverse recovery of the lumped-charge diode: rows RR-* of the published checks."""

from __future__ import annotations

from collections.abc import Callable

from simkit.parts import diode
from tests.reference.checks import Check

MODEL = (
    "Lauritzen and Ma, IEEE Trans. Power Electronics 6(2), 1991, pp. 188-191; figure from the "
    "root of q_E = 0 along the ramp, by bisection (SciPy brentq), independent of this package"
)
TAIL = "exponential decay, elementary; definitions of t_rr: JEDEC JESD77-B and JESD282-B"
TRIANGLE = "Rashid, Power Electronics, 3rd ed., example 2.1 (recalled from memory)"
INPUTS = "I_F 10 A, 100 A/us, tau 1 us, T_M 0.2 us"
DIGITS = "the figure is printed to four or five digits; the root is found to 1e-7"


def ramp() -> diode.RampRecovery:
    return diode.ramp_recovery(10.0, 100e6, 1e-6, 0.2e-6)


def row(end: str, quantity: str, expected: float, compute: Callable[[], float]) -> Check:
    return Check(f"RR-03{end}", quantity, INPUTS, expected, 0.005, DIGITS, MODEL, compute)


SHORT = 0.999
"""What is given of the triangle's figure: an abrupt diode is a limit no fit can reach."""


def nearly_abrupt(charge: float | None = None, peak: float | None = None) -> dict[str, float]:
    """Figures of the diode fitted to t_rr = 3 us and one other figure at 30 A/us."""
    given = diode.Given(100.0, 30e6, "25 %", time=3e-6, charge=charge, peak=peak)
    return diode.figures(given, diode.fit_recovery(given).diode)


NEARLY = (
    "the fit is given 99.9 % of the triangle's other figure, since the abrupt diode is its limit; "
    "by the relation between the two that leaves up to 0.2 %"
)

CHECKS = (
    row("a", "T1, start of the ramp to the peak [s]", 340.47e-9, lambda: ramp().storage_end),
    row("b", "I_RM [A]", 24.047, lambda: ramp().peak),
    row("c", "tau_rr [s]", 166.67e-9, lambda: ramp().decay),
    row("d", "t_a [s]", 240.47e-9, lambda: ramp().rise),
    row("e", "Q_rr [C]", 6.8991e-6, lambda: ramp().charge),
    row("f", "t_rr to 10 % [s]", 624.2e-9, lambda: ramp().time("10 %")),
    row("g", "t_rr to 25 % [s]", 471.5e-9, lambda: ramp().time("25 %")),
    row("h", "t_rr by the 90/25 % line [s]", 553.6e-9, lambda: ramp().time("90/25 line")),
    Check(
        "RR-02",
        "I_RM from the closed form a (tau - tau_rr)(1 - exp(-T1/tau)) [A]",
        INPUTS,
        100e6 * (1e-6 - 1e-6 / 6) * (1 - 2.718281828459045**-0.34047),
        2e-5,
        "T1 is printed to five digits, the root and the closed form are the same equation",
        "Lauritzen and Ma 1991, closed form recalled from memory",
        lambda: ramp().peak,
    ),
    Check(
        "RR-07a",
        "I_RM from t_rr and Q_rr of an abrupt recovery [A]",
        "t_rr 3 us, 30 A/us",
        90.0,
        0.005,
        NEARLY,
        TRIANGLE,
        lambda: nearly_abrupt(charge=SHORT * 135e-6)["peak"],
    ),
    Check(
        "RR-07b",
        "Q_rr from t_rr and I_RM of an abrupt recovery [C]",
        "t_rr 3 us, 30 A/us",
        135e-6,
        0.005,
        NEARLY,
        TRIANGLE,
        lambda: nearly_abrupt(peak=SHORT * 90.0)["charge"],
    ),
    Check(
        "RR-10a",
        "tail to 10 % over tau_rr [1]",
        "exponential decay",
        2.3026,
        1e-4,
        "printed to five digits",
        TAIL,
        lambda: diode.TAIL["10 %"],
    ),
    Check(
        "RR-10b",
        "tail to 25 % over tau_rr [1]",
        "exponential decay",
        1.3863,
        1e-4,
        "printed to five digits",
        TAIL,
        lambda: diode.TAIL["25 %"],
    ),
    Check(
        "RR-10c",
        "tail by the 90/25 % line over tau_rr [1]",
        "exponential decay",
        1.8790,
        1e-4,
        "printed to five digits",
        TAIL,
        lambda: diode.TAIL["90/25 line"],
    ),
    Check(
        "RR-01",
        "1/tau_rr = 1/tau + 1/T_M [1/s]",
        "tau 1 us, T_M 0.2 us",
        6e6,
        1e-12,
        "arithmetic",
        "Lauritzen and Ma, IEEE Trans. Power Electronics 6(2), 1991, p. 190 (recalled from memory)",
        lambda: 1.0 / diode.decay_time(1e-6, 0.2e-6),
    ),
)
