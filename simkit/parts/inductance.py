"""Handbook formulae for coils and leads: current sheet, round wire, parallel pair.

Nagaoka's coefficient and Rosa's corrections for the coil, two conductors side by side for
the leads, Medhurst's fit for the self-capacitance and his table for the proximity effect.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simkit.parts.ranged import Figure, out_of_range

MU0 = 4e-7 * math.pi


def nagaoka_coefficient(diameter: float, length: float) -> float:
    """Inductance of a short current sheet over that of the same piece of a long one [1].

    K = 4/(3 pi k') ((k'/k)^2 (K(k) - E(k)) + E(k) - k), k^2 = D^2/(D^2 + l^2), k' = l/D k,
    with `diameter` D and `length` l [m], K and E the complete elliptic integrals.
    ValueError for values not above 0. Source: H. Nagaoka, J. Coll. Sci. Tokyo 27 (1909)
    art. 6; E. B. Rosa and F. W. Grover, Bulletin of the Bureau of Standards 8 (1912) 119.
    Exact for a cylindrical sheet of any shape.
    """
    from scipy.special import ellipe, ellipk

    if not (diameter > 0.0 and length > 0.0):
        raise ValueError(f"diameter {diameter:g} m and length {length:g} m must be above 0")
    k2 = diameter**2 / (diameter**2 + length**2)
    k, other = math.sqrt(k2), math.sqrt(1.0 - k2)
    first, second = float(ellipk(k2)), float(ellipe(k2))
    return 4.0 / (3.0 * math.pi * other) * ((1.0 - k2) / k2 * (first - second) + second - k)


def sheet_inductance(turns: float, diameter: float, length: float) -> float:
    """Inductance of a cylindrical current sheet [H].

    L = mu0 N^2 pi D^2/(4 l) K, with `turns` N [1], `diameter` D and `length` l [m], K from
    `nagaoka_coefficient` (errors, source and range as there).
    """
    area = math.pi / 4.0 * diameter**2
    return MU0 * turns**2 * area / length * nagaoka_coefficient(diameter, length)


def rosa_spacing(wire: float, pitch: float) -> float:
    """Rosa's A: self-inductance of a round turn against a turn of the sheet [1].

    A = ln(1.7452 d/p), with `wire` diameter d and `pitch` p [m]. Source: Rosa and Grover,
    Bulletin of the Bureau of Standards 8 (1912), eq. 80 and table 7 (recalled from memory).
    Range: current spread evenly over the wire.
    """
    return math.log(1.7452 * wire / pitch)


def rosa_count(turns: float) -> float:
    """Rosa's B: mutual inductance of turns against that of strips of the sheet [1].

    Sum over pairs of turns of ln of their distance, against the geometric mean distance of
    the strips: B = -(2/N) sum (N - n)(ln n - ln g_n), g_n the mean distance of two lines of
    length 1 at n. Source: Rosa and Grover, Bulletin of the Bureau of Standards 8 (1912),
    section 7 and table 8 (recalled from memory). Range: N at least 1; a fractional N is
    interpolated between whole ones.
    """
    low, part = int(turns), turns - int(turns)
    if part > 1e-9:
        return (1.0 - part) * rosa_count(low) + part * rosa_count(low + 1)
    n = np.arange(1, low, dtype=np.float64)

    def area(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(0.5 * x**2 * np.log(np.maximum(x, 1e-300)))

    # Second difference of the twofold integral of ln x: mean of ln over both strips.
    mean = area(n + 1) - 2.0 * area(n) + area(n - 1) - 1.5
    return float(2.0 / low * np.sum((low - n) * (np.log(n) - mean)))


def round_wire_inductance(turns: float, diameter: float, pitch: float, wire: float) -> Figure:
    """Inductance of a single-layer coil of round wire, current spread evenly [H].

    L = L_sheet - mu0 N D/2 (A + B) with `turns` N [1], mean `diameter` D, `pitch` and `wire`
    diameter [m]; sheet length N times pitch. Source: Rosa and Grover 1912 as in
    `rosa_spacing` and `rosa_count`. Range: pitch and wire small against D (to 1/3), at low
    frequency; with thick tube at high frequency the current moves inwards and L is lower by
    up to a tenth or more.
    """
    sheet = sheet_inductance(turns, diameter, turns * pitch)
    less = MU0 * turns * diameter / 2.0 * (rosa_spacing(wire, pitch) + rosa_count(turns))
    notes = out_of_range("pitch/diameter", pitch / diameter, 0.0, 1 / 3)
    return Figure(sheet - less, "H", "Rosa and Grover 1912", notes)


def pair_inductance(length: float, spacing: float, diameter: float) -> Figure:
    """Inductance of two round leads side by side, there and back, at high frequency [H].

    L = (mu0 l/pi) arcosh(s/d): `length` l of one lead, `spacing` s middle to middle and
    `diameter` d [m]; the crowding of current on the facing sides is in it. 0 for no leads.
    ValueError when they touch. Source: any text on transmission lines, e.g. W. R. Smythe,
    "Static and Dynamic Electricity", section 2.11 through L C = mu0 eps0 (recalled from
    memory). Range: length at least 3 spacings, skin thin against d.
    """
    if length == 0.0:
        return Figure(0.0, "H", "two-wire line")
    if spacing <= diameter:
        raise ValueError(f"spacing {spacing:g} m must exceed the diameter {diameter:g} m")
    notes = out_of_range("lead length/spacing", length / spacing, 3.0, math.inf)
    value = MU0 * length / math.pi * math.acosh(spacing / diameter)
    return Figure(value, "H", "two-wire line", notes)


def filament_mutual(length: float, distance: float) -> float:
    """Mutual inductance of two equal parallel filaments [H].

    M = (mu0 l/2 pi)(asinh(l/d) - sqrt(1 + d^2/l^2) + d/l), `length` l, `distance` d [m].
    Source: F. W. Grover, "Inductance Calculations" (1946), chapter 5 (recalled from memory).
    Exact.
    """
    ratio = distance / length
    return MU0 * length / (2 * math.pi) * (math.asinh(1 / ratio) - math.sqrt(1 + ratio**2) + ratio)


def axial_return_inductance(length: float, diameter: float, wire: float) -> Figure:
    """Inductance of the coil's axial current and the lead that returns along it [H].

    A helix carries its current once along its length; with the lead laid back beside it
    that makes a loop, M(l, D/2) + M(l, d/2) - 2 M(l, D/2 + d), with M from
    `filament_mutual`, a cylinder's own mean distance its radius (Grover, chapter 3).
    `length` l and mean `diameter` D of the coil, `wire` d [m]. Range: return lead at the
    winding, one tube's diameter outside it; leads that leave from both ends belong to the
    circuit instead. Source: as named.
    """
    radius = diameter / 2.0
    value = (
        filament_mutual(length, radius)
        + filament_mutual(length, wire / 2)
        - 2.0 * filament_mutual(length, radius + wire)
    )
    return Figure(value, "H", "Grover 1946, mean distances")


def self_capacitance(length: float, diameter: float) -> Figure:
    """Self-capacitance of a single-layer coil with one end grounded [F].

    C = (11.26 l/D + 8 + 27 sqrt(D/l)) D pF with `length` l and `diameter` D in metres.
    Source: R. G. Medhurst, Wireless Engineer 24 (1947) 35 and 80, fit to his table
    (recalled from memory). Range: l/D 0.1 to 50; within 5 % of his measurements.
    """
    shape = length / diameter
    value = (11.26 * shape + 8.0 + 27.0 / math.sqrt(shape)) * diameter * 1e-12
    return Figure(value, "F", "Medhurst 1947", out_of_range("length/diameter", shape, 0.1, 50.0))


_MEDHURST_SHAPE = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 2.0, 4.0, 6.0, 8.0, 10.0)
_MEDHURST_PITCH = (1.0, 1.111, 1.25, 1.429, 1.667, 2.0, 2.5, 3.333, 5.0, 10.0)
_MEDHURST = (
    (5.31, 3.73, 2.74, 2.12, 1.74, 1.44, 1.20, 1.16, 1.07, 1.02),
    (5.45, 3.84, 2.83, 2.20, 1.77, 1.48, 1.29, 1.19, 1.08, 1.02),
    (5.65, 3.99, 2.97, 2.28, 1.83, 1.54, 1.33, 1.21, 1.08, 1.03),
    (5.80, 4.11, 3.10, 2.38, 1.89, 1.60, 1.38, 1.22, 1.10, 1.03),
    (5.80, 4.17, 3.20, 2.44, 1.92, 1.64, 1.42, 1.23, 1.10, 1.03),
    (5.55, 4.10, 3.17, 2.47, 1.94, 1.67, 1.45, 1.24, 1.10, 1.03),
    (4.10, 3.36, 2.74, 2.32, 1.98, 1.74, 1.50, 1.28, 1.13, 1.04),
    (3.54, 3.05, 2.60, 2.27, 2.01, 1.78, 1.54, 1.32, 1.15, 1.04),
    (3.31, 2.92, 2.60, 2.29, 2.03, 1.80, 1.56, 1.34, 1.16, 1.04),
    (3.20, 2.90, 2.62, 2.34, 2.08, 1.81, 1.57, 1.34, 1.165, 1.04),
    (3.23, 2.93, 2.65, 2.27, 2.10, 1.83, 1.58, 1.35, 1.17, 1.04),
)


def medhurst_proximity(length: float, diameter: float, pitch: float, wire: float) -> Figure:
    """AC resistance of a coil over that of its wire stretched, by measurement [1].

    Interpolated in l/D and p/d in Medhurst's table; `length`, `diameter`, `pitch`, `wire`
    diameter [m]. Source: R. G. Medhurst, Wireless Engineer 24 (1947) 35, table VIII (read
    second-hand, in a public transcription). Range: coils of about 30 turns and more of solid
    wire, skin thin against the wire, l/D 0 to 10, p/d 1 to 10; with a handful of turns it is
    too high, as each turn has fewer neighbours.
    """
    shape, spread = length / diameter, pitch / wire
    rows = [float(np.interp(spread, _MEDHURST_PITCH, row)) for row in _MEDHURST]
    notes = out_of_range("length/diameter", shape, 0.0, 10.0)
    notes += out_of_range("pitch/wire", spread, 1.0, 10.0)
    notes += out_of_range("turns", length / pitch, 30.0, math.inf)
    return Figure(float(np.interp(shape, _MEDHURST_SHAPE, rows)), "1", "Medhurst 1947", notes)
