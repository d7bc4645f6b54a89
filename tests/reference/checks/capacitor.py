"""Film capacitors."""

from __future__ import annotations

from simkit.parts.capacitor import Can, can_loss, capacitor_voltage, loss_factor
from tests.oracles.capacitor import capacitance_at
from tests.reference.checks import Check

# Our own class values of a polypropylene can, 0.33 uF.
_CAN = Can(0.33e-6, 1e-4, 0.5e-3, 0.0, 250.0, 10.0, 10.0, 20.0)
_SUM = "tan d = tan d_0 + omega C R_s, IEC 61071 (recalled from memory)"

CHECKS = (
    Check(
        "CAP-01",
        "loss factor where metal and dielectric lose alike, over the dielectric's [1]",
        "0.33 uF, dielectric 1e-4, 0.5 mohm of metal, at 1e-4/(2 pi C R_s) = 96.458 kHz",
        2.0, 1e-4, "the frequency is given to five digits", _SUM,
        lambda: loss_factor(_CAN, 96.458e3) / 1e-4,
    ),
    Check(
        "CAP-04",
        "drift of capacitance over 100 K, magnitude [1]",
        "polypropylene, 0 to 100 degC",
        0.025, 0.25, "the trade gives 200 to 300 ppm/K, linear, negative",
        "common practice, no source: polypropylene film",
        lambda: capacitance_at(1.0, 0.0).value - capacitance_at(1.0, 100.0).value,
    ),
    Check(
        "CAP-05",
        "rms voltage of a capacitor [V]",
        "10 A rms, 100 kHz, 0.33 uF",
        48.229, 2e-5, "half of the last digit given, 5 digits",
        "V = I/(2 pi f C), computed apart from the project",
        lambda: capacitor_voltage(10.0, 100e3, 0.33e-6),
    ),
    Check(
        "CAP-05b",
        "heat of a can, from V^2 2 pi f C tan(delta) [W]",
        "10 A rms, 100 kHz, 0.33 uF, loss factor 2e-4 in all",
        48.2288**2 * 2 * 3.14159265 * 1e5 * 0.33e-6 * 2e-4, 1e-5,
        "two exact forms of one power; the voltage is given to 6 digits",
        "power of a lossy capacitor, IEC 61071 (recalled from memory)",
        lambda: can_loss(Can(0.33e-6, 2e-4, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0), 100e3, 10.0),
    ),
)  # fmt: skip
