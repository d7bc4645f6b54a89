"""Skin effect in flat, round and tubular conductors.

Every function takes plain SI values. The Bessel functions are evaluated in their scaled
forms, so that a conductor of any size against the skin depth stays in range.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
from numpy.typing import NDArray

from simkit.parts.ranged import Figure, out_of_range

MU0 = 4e-7 * math.pi
Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (value > 0.0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value:g}; it must be greater than 0")


def skin_depth(resistivity: float, frequency: float, mu_r: float = 1.0) -> float:
    """Depth at which the current density has fallen to 1/e [m].

    delta = sqrt(rho/(pi f mu0 mu_r)), with `resistivity` [ohm m], `frequency` [Hz] and
    relative permeability `mu_r` [1]. Raises ValueError for values not above 0. Source:
    W. R. Smythe, "Static and Dynamic Electricity", chapter 10 (recalled from memory). Exact
    for a half space with linear material.
    """
    _positive(resistivity=resistivity, frequency=frequency, mu_r=mu_r)
    return math.sqrt(resistivity / (math.pi * frequency * MU0 * mu_r))


def wavenumber(resistivity: float, frequency: float, mu_r: float = 1.0) -> complex:
    """k = (1 + j)/delta, the decay of the field into the metal [1/m].

    Arguments, errors, source and range as for `skin_depth`.
    """
    return (1.0 + 1.0j) / skin_depth(resistivity, frequency, mu_r)


def wire_ratio(radius: float, resistivity: float, frequency: float, mu_r: float = 1.0) -> complex:
    """Internal impedance of a solid round wire over its DC resistance [1].

    Z/R0 = (k a/2) I0(k a)/I1(k a). The real part is the rise of resistance; the imaginary
    part is omega L_int/R0. `radius` a [m], `resistivity` [ohm m], `frequency` [Hz], `mu_r`
    [1]; ValueError for values not above 0. Source: NBS Circular 74 (1937), section on skin
    effect (recalled from memory). Exact for a straight wire alone.
    """
    _positive(radius=radius)
    x = wavenumber(resistivity, frequency, mu_r) * radius
    return 0.5 * x * _in(0, x) / _in(1, x)


def wire_resistance(radius: float, resistivity: float, frequency: float) -> float:
    """AC resistance per metre of a solid round wire [ohm/m]: `wire_ratio` times DC.

    Source and range as for `wire_ratio`.
    """
    ratio = wire_ratio(radius, resistivity, frequency)
    return ratio.real * resistivity / (math.pi * radius**2)


def wire_internal_inductance(radius: float, resistivity: float, frequency: float) -> float:
    """Inductance per metre inside a solid round wire [H/m]; mu0/(8 pi) at low frequency.

    L = Im(Z)/omega with Z from `wire_ratio`; arguments, errors, source and range as there.
    """
    ratio = wire_ratio(radius, resistivity, frequency)
    dc = resistivity / (math.pi * radius**2)
    return ratio.imag * dc / (2.0 * math.pi * frequency)


def tube_impedance(
    radius: float, wall: float, resistivity: float, frequency: float, mu_r: float = 1.0
) -> complex:
    """Internal impedance per metre of a round tube with its current on the outside [ohm/m].

    Z = (k rho/(2 pi a)) (I0(ka) K1(kb) + K0(ka) I1(kb))/(I1(ka) K1(kb) - K1(ka) I1(kb)), with
    outer radius a = `radius` and inner radius b = a - `wall` [m]: no field in the bore, as
    no current flows there. `resistivity` [ohm m], `frequency` [Hz], `mu_r` [1]. ValueError
    when the wall is not within the radius. Source: S. A. Schelkunoff, Bell System Technical
    Journal 13 (1934) 532, eq. 75 (recalled from memory). Exact for a straight tube alone.
    """
    _positive(radius=radius, wall=wall)
    if wall > radius:
        raise ValueError(f"wall is {wall:g} m; it must not exceed the radius {radius:g} m")
    k = wavenumber(resistivity, frequency, mu_r)
    outer = k * radius
    if wall > 0.999999 * radius:
        return k * resistivity * _in(0, outer) / (2 * math.pi * radius * _in(1, outer))
    inner = k * (radius - wall)
    # Scaled functions: what is left over is exp(-2 wall/delta) on the terms of the bore.
    shrink = cmath.exp(-2.0 * (outer - inner))
    above = _in(0, outer) * _kn(1, inner) + shrink * _kn(0, outer) * _in(1, inner)
    below = _in(1, outer) * _kn(1, inner) - shrink * _kn(1, outer) * _in(1, inner)
    return k * resistivity / (2.0 * math.pi * radius) * above / below


def rod_flux_depth(radius: float, resistivity: float, frequency: float, mu_r: Real) -> Complex:
    """Depth that carries the flux of a rod in an axial field: A = mu0 tau H at its surface [m].

    tau = (mu_r/k) I1(k a)/I0(k a), a = `radius` [m], for each permeability in the array
    `mu_r`; the mean complex permeability of the section is 2 tau/a. `resistivity` [ohm m],
    `frequency` [Hz]. Source: S. Lupi, "Fundamentals of Electroheat" (2017), chapter 6, in
    Kelvin functions. Exact for a long rod.
    """
    from scipy.special import ive

    k = wavenumber(resistivity, frequency) * np.sqrt(mu_r)
    return np.asarray(mu_r / k * ive(1, k * radius) / ive(0, k * radius))


def bore_flux_depth(radius: float, resistivity: float, frequency: float, mu_r: Real) -> Complex:
    """As `rod_flux_depth`, for the inside of a bore in thick metal [m].

    tau = (mu_r/k) K1(k b)/K0(k b), b = `radius` of the bore [m]. Source: the decaying
    solution of the same equation. Exact for a long bore and a wall of many skin depths.
    """
    from scipy.special import kve

    k = wavenumber(resistivity, frequency) * np.sqrt(mu_r)
    return np.asarray(mu_r / k * kve(1, k * radius) / kve(0, k * radius))


def long_rod_power(
    radius: float, length: float, resistivity: float, frequency: float, field: float
) -> float:
    """Power in a rod that is not magnetic, in a uniform axial field [W].

    P = pi a l Re(E H*) = pi a l omega mu0 H^2 Im(-tau) with tau from `rod_flux_depth`;
    `field` H [A/m, peak], `radius` and `length` [m]. Source: S. Lupi, "Fundamentals of
    Electroheat" (2017), eq. 6.17. Exact for a slice of a long rod in a long coil.
    """
    _positive(radius=radius, length=length)
    tau = complex(rod_flux_depth(radius, resistivity, frequency, np.ones(1))[0])
    omega = 2.0 * math.pi * frequency
    return math.pi * radius * length * omega * MU0 * field**2 * -tau.imag


def _in(order: int, x: complex) -> complex:
    """exp(-x) I_order(x) [1]; scipy's scaling leaves the phase in, so it is taken out."""
    from scipy.special import ive

    return complex(ive(order, np.complex128(x))) * cmath.exp(-1j * x.imag)


def _kn(order: int, x: complex) -> complex:
    """exp(x) K_order(x) [1]."""
    from scipy.special import kve

    return complex(kve(order, np.complex128(x)))


def thin_wall_resistance(
    diameter: float, wall: float, resistivity: float, frequency: float
) -> Figure:
    """AC resistance per metre of a tube, the ring of one skin depth or the wall [ohm/m].

    R = rho/(pi t (D - t)), t = min(delta, wall), with outer `diameter` D and `wall` [m],
    `resistivity` [ohm m], `frequency` [Hz]. Source: common practice, no source; the exact
    form is `tube_impedance`. Range: D at least 8 skin depths (then within 2 % for a wall of
    3 skin depths or more; up to 9 % too high for a wall between 1 and 2).
    """
    depth = skin_depth(resistivity, frequency)
    layer = min(depth, wall)
    value = resistivity / (math.pi * layer * (diameter - layer))
    notes = out_of_range("diameter/skin depth", diameter / depth, 8.0, math.inf)
    return Figure(value, "ohm/m", "ring of one skin depth, common practice", notes)
