"""Steel in a strong field and through the Curie point.

The permeability that matters for the skin is the ratio of the peaks at the surface,
mu_r = B_peak/(mu0 H_peak), so that a saturated bar is treated as a linear one with the
permeability of its surface field, and the two are iterated together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MU0 = 4e-7 * np.pi
KELVIN = 273.15
Real = NDArray[np.float64]


def saturated_permeability(
    field: Real | float, initial: float, rayleigh: float, saturation: float
) -> Real:
    """Relative permeability at the peak field H, weak to saturated [1].

    mu_r = 1 + 1/(1/(mu_i - 1 + nu H) + mu0 H/Bs): Rayleigh's law in a weak field, Froehlich's
    B = mu0 H + Bs H/(H + Hk) in a strong one, joined by adding their reluctivities; with
    nu = 0 it is Froehlich's law alone, Hk = Bs/(mu0 (mu_i - 1)).
    `field` H [A/m, peak], `initial` permeability mu_i [1], `rayleigh` nu [m/A], `saturation`
    Bs [T]. ValueError for mu_i < 1, nu < 0 or Bs < 0. Source: Froehlich (1881), Kennelly
    (1891) and Rayleigh (1887) as given in R. M. Bozorth, "Ferromagnetism" (1951), chapter 11
    (recalled from memory); joining them is ours. Range: peak values, no hysteresis loop; the
    weak field is the least certain, as permeability there depends on the steel's history.
    """
    if initial < 1.0 or rayleigh < 0.0 or saturation < 0.0:
        raise ValueError(
            f"initial permeability {initial:g} must be at least 1, rayleigh {rayleigh:g} m/A "
            f"and saturation {saturation:g} T at least 0"
        )
    strength = np.abs(np.asarray(field, dtype=np.float64))
    if saturation == 0.0 or initial == 1.0:
        return np.ones_like(strength)
    reluctance = 1.0 / (initial - 1.0 + rayleigh * strength) + MU0 * strength / saturation
    return np.asarray(1.0 + 1.0 / reluctance)


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


def spontaneous_magnetisation(celsius: float, curie: float, shape: float, power: float) -> float:
    """Saturation magnetisation over its value at absolute zero [1].

    m = (1 - s t^(3/2) - (1 - s) t^p)^(1/3), t = T/T_C in kelvin; 0 above the Curie point.
    `celsius` and `curie` [degC], `shape` s and `power` p [1]: iron 0.35 and 4. Source:
    M. D. Kuz'min, Physical Review Letters 94 (2005) 107204, eq. 2 and table (recalled from
    memory). Range: absolute zero to the Curie point; no magnetising field.
    """
    reduced = (celsius + KELVIN) / (curie + KELVIN)
    if reduced >= 1.0:
        return 0.0
    cube = 1.0 - shape * reduced**1.5 - (1.0 - shape) * reduced**power
    return float(max(cube, 0.0) ** (1.0 / 3.0))


def saturation_at(
    celsius: float, saturation_20: float, curie: float, shape: float, power: float
) -> float:
    """Saturation flux density of the metal at a temperature [T].

    Bs(T) = Bs(20 degC) m(T)/m(20 degC) with m from `spontaneous_magnetisation`; arguments,
    source and range as there, `saturation_20` in [T].
    """
    cold = spontaneous_magnetisation(20.0, curie, shape, power)
    if cold == 0.0:
        return 0.0
    return saturation_20 * spontaneous_magnetisation(celsius, curie, shape, power) / cold
