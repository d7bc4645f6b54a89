"""Formulas beside `simkit/parts/heating.py` that only tests use."""

from __future__ import annotations

import math

from simkit.parts.inputs import positive


def insulation_resistance(length: float, inner: float, outer: float, conductivity: float) -> float:
    """Thermal resistance of a cylindrical wall: ln(r_o/r_i)/(2 pi k l) [K/W].

    `length` l, radii `inner` r_i and `outer` r_o [m], `conductivity` k [W/(m K)]. ValueError
    when r_o does not exceed r_i. Source: Fourier's law, textbook. Range: ends left out.
    """
    positive(length=length, inner=inner, conductivity=conductivity)
    if outer <= inner:
        raise ValueError(f"outer is {outer:g} m; it must exceed inner, {inner:g} m")
    return math.log(outer / inner) / (2.0 * math.pi * conductivity * length)


def furnace_power(energy: float, time: float, efficiency: float) -> float:
    """Power at the supply for a melt: E/(t eta) [W].

    `energy` the charge takes up [J], `time` [s], `efficiency` from supply to charge, above 0
    to 1 [1]. ValueError otherwise. Source: definition. Exact.
    """
    positive(time=time, efficiency=efficiency)
    if efficiency > 1.0:
        raise ValueError(f"efficiency is {efficiency:g}; it must be at most 1")
    return energy / (time * efficiency)
