"""Saturating steel as a power law: the surface impedance in closed form.

The package marches steel through time (`simkit.parts.steel`); this is what it is held against where
permeability falls as a power of the field.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simkit.parts.magnetics import MU0, Real, saturated_permeability


def saturation_exponent(
    field: Real | float, initial: float, rayleigh: float, saturation: float
) -> Real:
    """How steeply permeability falls with the field, n = -d ln(mu_r)/d ln(H) [1].

    From `saturated_permeability` in closed form (arguments, errors, source as there); 0
    where it rises. Between 0 (linear) and 1 (saturated). Range as for
    `saturated_permeability`.
    """
    mu = saturated_permeability(field, initial, rayleigh, saturation)
    if saturation == 0.0 or initial == 1.0:
        return np.zeros_like(mu)
    strength = np.abs(np.asarray(field, dtype=np.float64))
    weak = initial - 1.0 + rayleigh * strength
    slope = MU0 / saturation - rayleigh / weak**2
    return np.asarray(np.clip(strength * (mu - 1.0) ** 2 * slope / mu, 0.0, 1.0))


def saturation_factor(exponent: Real | float) -> NDArray[np.complex128]:
    """Surface impedance of saturating steel over that of linear steel with mu_r(H_s) [1].

    Where mu_r goes as H^-n the field falls as (1 - x/l)^(a + j b) instead of exponentially:
    a = 2/n, b = sqrt(a^2 - a), l = delta sqrt((2 a - 1) b/2), and the impedance is
    rho (a + j b)/l against rho (1 + j)/delta. `exponent` n [1], 0 to 1; 1.37 and 0.97 for
    resistance and reactance at n = 1. Source: L. R. Neiman (1949) as used in S. Lupi,
    "Fundamentals of Electroheat" (2017), chapter 6 (recalled from memory); the general n is
    the same solution. Range: fundamental of the field, flat surface, permeability of the
    peaks; a law that is no power of H is taken by its slope at the surface.
    """
    n = np.maximum(np.asarray(exponent, dtype=np.float64), 1e-6)
    a = 2.0 / n
    b = np.sqrt(a * a - a)
    length = np.sqrt((2.0 * a - 1.0) * b / 2.0)
    return np.asarray((a + 1j * b) / length / (1.0 + 1.0j))
