"""Formulas beside `simkit/parts/core.py` that only tests use."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from simkit.parts.inputs import not_negative, positive
from simkit.parts.ranged import Figure

if TYPE_CHECKING:
    pass
from simkit.parts.core import SaturableCore, Steinmetz, _fitted


def steinmetz_loss(material: Steinmetz, frequency: float, peak: float) -> Figure:
    """Core loss density with a sine flux: P = k f^alpha B^beta [W/m3].

    `frequency` f [Hz], `peak` flux density B [T]. ValueError for a frequency not above 0.
    Source: C. P. Steinmetz (1892), with a fitted exponent of frequency, as in E. C. Snelling,
    "Soft Ferrites" (recalled from memory). Range: the fit's frequencies, its temperature, no
    bias.
    """
    positive(frequency=frequency)
    not_negative(peak=peak)
    value = material.k * math.pow(frequency, material.alpha) * math.pow(peak, material.beta)
    return Figure(value, "W/m3", material.source, _fitted(material, frequency))


def optimum_swing(
    material_loss: float,
    exponent: float,
    volt_seconds: float,
    current: float,
    resistivity: float,
    window: tuple[float, float],
    core: tuple[float, float],
    mean_turn: float,
) -> float:
    """Peak flux density at which core and copper loss together are least [T].

    B = (rho lambda^2 I^2 MLT/(2 K_u W_A A_c^3 l_m beta K_fe))^(1/(beta+2)), with the core
    loss K_fe B^beta of the volume A_c l_m: `material_loss` K_fe [W/(m3 T^beta)] at the
    frequency of use, `exponent` beta [1], `volt_seconds` lambda of the positive half wave
    [V s], `current` the total rms current referred to the winding of lambda [A],
    `resistivity` [ohm m], `window` = (area W_A [m2], fill K_u [1]), `core` = (area A_c [m2],
    path l_m [m]), `mean_turn` MLT [m]. Source: Erickson and Maksimovic, "Fundamentals of
    Power Electronics", section 12.3.1, eqs 12.25 to 12.34. Range: copper loss without skin
    effect.
    """
    area, path = core
    space, fill = window
    positive(material_loss=material_loss, exponent=exponent, area=area, path=path, space=space)
    copper = resistivity * volt_seconds**2 * current**2 * mean_turn
    iron = 2.0 * fill * space * area**3 * path * exponent * material_loss
    return math.pow(copper / iron, 1.0 / (exponent + 2.0))


def incremental_inductance(core: SaturableCore, linkage: float) -> float:
    """d lambda/d i at a flux linkage [H]; source and range as for `excess_current`."""
    size = abs(linkage)
    rise = max(size - core.low, 0.0) - max(size - core.high, 0.0)
    return 1.0 / (1.0 / core.magnetising + 2.0 * core.bend * rise)
