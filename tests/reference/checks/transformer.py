"""Matching transformer and its core."""

from __future__ import annotations

import math

from simkit.parts.core import Steinmetz, igse_constant, square_loss
from simkit.parts.transformer import (
    bridge_fundamental,
    copper_resistivity,
    inductance_factor,
    layer_ratio,
    sine_flux,
    volt_second_flux,
    wire_ac_resistance,
    wire_dc_resistance,
)
from tests.oracles.core import optimum_swing, steinmetz_loss
from tests.reference.checks import Check

_DESIGN = "lambda 62.5 uV s, 8 A, K_fe 24.7 W/(cm3 T^2.6), fill 0.5, core of the example"
_ERICKSON = "R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics"
_PRINTED = "half of the last printed digit of three"


def _swing() -> float:
    """The example's optimum, its centimetres turned into metres."""
    window, core = (0.297e-4, 0.5), (0.635e-4, 3.15e-2)
    return optimum_swing(24.7e6, 2.6, 62.5e-6, 8.0, 1.724e-8, window, core, 4.42e-2)


def _skin_ratio(x: float) -> float:
    """AC over DC resistance of a wire with x = sqrt(2) radius/skin depth, at 100 kHz."""
    radius = x * math.sqrt(1.724e-8 / (math.pi * 1e5 * 4e-7 * math.pi)) / math.sqrt(2.0)
    ac = wire_ac_resistance(1.0, 2 * radius, 1.724e-8, 1e5).value
    return ac / wire_dc_resistance(1.0, 2 * radius, 1.724e-8)


def _published_igse(material: Steinmetz) -> float:
    """The closed approximation of the integral printed with the method."""
    rational = 0.2761 + 1.7061 / (material.alpha + 1.354)
    return material.k / (2 ** (material.beta + 1) * math.pi ** (material.alpha - 1) * rational)


_FERRITE = Steinmetz(1.5, 1.5, 2.5, 20e3, 300e3, "invented")
_EDDY = Steinmetz(1.0, 2.0, 2.0, 1.0, 1e6, "eddy currents alone")

CHECKS = (
    Check(
        "XFM-01a", "optimum peak flux density of a two-winding design [T]", _DESIGN,
        0.0858, 0.005, _PRINTED, f"{_ERICKSON}, section 12.3.1, eqs 12.25 to 12.34", _swing,
    ),
    Check(
        "XFM-01b", "turns at that flux density [1]", _DESIGN,
        5.74, 0.005, _PRINTED, f"{_ERICKSON}, section 12.3.1",
        lambda: volt_second_flux(62.5e-6, 1.0, 0.635e-4) / _swing(),
    ),
    Check(
        "XFM-06", "peak flux density with a sine voltage [T]", "230 V, 50 Hz, 500 turns, 10 cm2",
        2.072, 9e-4, "4.44 is 4.4429 rounded (6.5e-4), and half of the last digit given",
        "B = V/(4.44 f N A), textbook", lambda: sine_flux(230.0, 50.0, 500, 10e-4),
    ),
    Check(
        "INV-11a", "fundamental of a full bridge, peak [V]", "160 V link",
        203.7, 3e-4, "half of the last digit given", f"{_ERICKSON}, eq. 22.2",
        lambda: bridge_fundamental(160.0),
    ),
    Check(
        "INV-11b", "fundamental of a half bridge over its link voltage [1]", "1 V link",
        2 / math.pi, 1e-9, "exact form: round-off only", f"{_ERICKSON}, eq. 22.2",
        lambda: bridge_fundamental(1.0, half=True),
    ),
    Check(
        "XFM-10", "constant of the improved generalised Steinmetz equation [SI]",
        "k 1.5, alpha 1.5, beta 2.5", _published_igse(_FERRITE), 0.002,
        "the published form is a rational fit, within 0.15 % of the integral for alpha 0.5 to 3",
        "K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, IEEE COMPEL 2002 (recalled "
        "from memory)",
        lambda: igse_constant(_FERRITE),
    ),
    Check(
        "XFM-11", "eddy loss, square voltage over sine of equal swing [1]", "alpha = beta = 2",
        8 / math.pi**2, 1e-9, "exact for loss that goes with (dB/dt)^2: round-off only",
        "ratio of mean squares of the slopes of a triangle and a sine, textbook",
        lambda: square_loss(_EDDY, 1e5, 0.1).value / steinmetz_loss(_EDDY, 1e5, 0.1).value,
    ),
    Check(
        "XFM-12", "A_L of a gapless core [H]", "A_e 100 mm2, l_e 80 mm, mu_e 1800 (own figures)",
        2.827e-6, 0.001, "four digits worked out by hand from mu0 mu A/l",
        "A_L = mu0 mu_e A_e/l_e, IEC 60205 (recalled from memory)",
        lambda: inductance_factor(100e-6, 80e-3, 1800.0).value,
    ),
    Check(
        "XFM-13", "AC over DC resistance of round wire [1]", "x = 2",
        1.0782, 1e-3, "table of five digits, recalled", "NBS Circular 74, skin effect table "
        "(recalled from memory)", lambda: _skin_ratio(2.0),
    ),
    Check(
        "XFM-14", "AC over DC resistance of round wire [1]", "x = 5",
        2.043, 1e-3, "table of four digits, recalled", "NBS Circular 74, skin effect table "
        "(recalled from memory)", lambda: _skin_ratio(5.0),
    ),
    Check(
        "XFM-15", "AC over DC resistance of four thin layers of foil, less 1 [1]",
        "thickness/skin depth 0.3", (5 * 16 - 1) / 45 * 0.3**4, 0.01,
        "first term of the series; the next is of order 0.3^8",
        "W. G. Hurley, E. Gath, J. G. Breslin, IEEE Trans. Power Electronics 15 (2000) 369 "
        "(recalled from memory)",
        lambda: layer_ratio(0.3 * 0.208973e-3, 1.724e-8, 1e5, 4).value - 1.0,
    ),
    Check(
        "XFM-16", "resistivity of copper at 400 K over 300 K [1]", "annealed copper",
        2.402 / 1.725, 0.01, "a straight line against a table with a slight curve, to 400 K",
        "CRC Handbook, pure copper, 1e-8 ohm m (recalled from memory)",
        lambda: copper_resistivity(126.85).value / copper_resistivity(26.85).value,
    ),
)  # fmt: skip
