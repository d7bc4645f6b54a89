"""Rectifier, link, precharge and discharge."""

from __future__ import annotations

import math

from simkit.parts.precharge import tungsten_ratio
from simkit.parts.supply import (
    approximate_mean,
    approximate_ripple,
    discharge_voltage,
    rectifier_resistive,
    residual_voltage,
    settling_time,
    stored_energy,
    surge_current,
    surge_time,
)
from tests.reference.checks import Check

_RASHID = "M. H. Rashid, Power Electronics"
_MALVINO = "A. P. Malvino, D. J. Bates, Electronic Principles, 7th ed., example 4-7"
_LAST = "half of the last digit given"
_RC = "charging of an RC circuit, computed apart from the project"
_LANGMUIR = "H. A. Jones, I. Langmuir, General Electric Review 30 (1927) 310, resistivity table"
_POWER_LAW = "the power law of lamp practice is an approximation of the table to 5 %"
_TRANSFORMER = "120 V mains, 5:1 centre-tapped, 5 kohm, 100 uF, ideal diodes"


def _half_secondary() -> float:
    """Peak of one half of the secondary in the rectifier example [V]."""
    return math.sqrt(2.0) * 120.0 / 5.0 / 2.0


CHECKS = (
    Check(
        "REC-01", "mean of a smoothed rectifier, textbook approximation [V]",
        "169.7 V peak, 60 Hz, 500 ohm, 175 uF", 161.62, 2e-4,
        "the example rounds the peak to four digits", f"{_RASHID}, 4th ed., example 3.12",
        lambda: approximate_mean(169.7, 60.0, 500.0, 175e-6).value,
    ),
    Check(
        "REC-05a", "link of a full-wave rectifier [V]", _TRANSFORMER,
        17.0, 0.03, "half of the last of two printed digits", _MALVINO,
        lambda: rectifier_resistive(_half_secondary(), 60.0, 5e3, 100e-6).mean,
    ),
    Check(
        "REC-05b", "its ripple, exact solution, peak to peak [V]", _TRANSFORMER,
        0.28, 0.07,
        "the printed figure is I/(2 f C), too large by the share of the half period in which "
        "the diode conducts: arccos(1 - ripple/peak)/pi = 5.6 %",
        _MALVINO, lambda: rectifier_resistive(_half_secondary(), 60.0, 5e3, 100e-6).ripple,
    ),
    Check(
        "REC-05c", "its ripple, textbook approximation, peak to peak [V]", _TRANSFORMER,
        0.28, 0.005, "half of the last digit printed", _MALVINO,
        lambda: approximate_ripple(17.0 / 5e3, 60.0, 100e-6), absolute=True,
    ),
    Check(
        "REC-07a", "capacitor voltage after 2 us [V]", "220 V, 44 ohm, 0.1 uF",
        139.64, 5e-5, _LAST, f"{_RASHID}, example 2.4",
        lambda: discharge_voltage(220.0, 44.0, 0.1e-6, 2e-6),
    ),
    Check(
        "REC-07b", "energy of the capacitor [J]", "220 V, 0.1 uF",
        2.42e-3, 1e-6, "exact form: round-off only", f"{_RASHID}, example 2.4",
        lambda: stored_energy(0.1e-6, 220.0),
    ),
    Check(
        "REC-08a", "peak current into an empty capacitor through L [A]", "220 V, 80 uH, 20 uF",
        110.0, 1e-9, "exact form: round-off only", f"{_RASHID}, example 2.6",
        lambda: surge_current(220.0, 80e-6, 20e-6),
    ),
    Check(
        "REC-08b", "length of that current [s]", "80 uH, 20 uF",
        125.66e-6, 5e-5, _LAST, f"{_RASHID}, example 2.6",
        lambda: surge_time(80e-6, 20e-6),
    ),
    Check(
        "REC-09a", "time to charge to 95 % [s]", "47 ohm, 1000 uF",
        140.8e-3, 4e-4, _LAST, _RC, lambda: settling_time(47.0, 1e-3, 0.05),
    ),
    Check(
        "REC-09b", "energy into the charging resistor [J]", "325 V, 1000 uF",
        52.81, 1e-4, _LAST, _RC, lambda: stored_energy(1e-3, 325.0),
    ),
    Check(
        "SAF-04", "voltage left after the allowed time with the bleeder just sufficient [V]",
        "325 V, 1000 uF, 2959.6 ohm (5 s/(C ln(325/60)))", 60.0, 1e-4,
        "the bleeder is given to five digits",
        "IEC 60204-1, clause 6.2.4: 60 V within 5 s (read in an unofficial translation)",
        lambda: discharge_voltage(
            325.0, 2959.6, 1e-3, residual_voltage(325.0, 1e-3, 2959.6).allowed
        ),
    ),
    Check(
        "LMP-01", "resistivity of tungsten, 1000 K over 300 K [1]", "power 1.2",
        24.93 / 5.65, 0.05, _POWER_LAW, f"{_LANGMUIR} (recalled from memory)",
        lambda: tungsten_ratio(1000.0),
    ),
    Check(
        "LMP-02", "resistivity of tungsten, 2000 K over 300 K [1]", "power 1.2",
        56.67 / 5.65, 0.05, _POWER_LAW, f"{_LANGMUIR} (recalled from memory)",
        lambda: tungsten_ratio(2000.0),
    ),
    Check(
        "LMP-03", "resistivity of tungsten, 3000 K over 300 K [1]", "power 1.2",
        92.04 / 5.65, 0.05, _POWER_LAW, f"{_LANGMUIR} (recalled from memory)",
        lambda: tungsten_ratio(3000.0),
    ),
)  # fmt: skip
