"""Steel in a strong field and through the Curie point.

The curve is that of peaks, mu_r = B_peak/(mu0 H_peak), taken as B(H) at every moment by `steel`.
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
