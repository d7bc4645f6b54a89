"""AC resistance of a winding in the window of a transformer: skin and proximity together.

The field in the window runs along the layers, is zero on one side of the winding and N I/h on the
other (the core takes up no ampere-turns). Foil that fills the height is Dowell's case. Round wire
and tube are solved as rows of round conductors, exact in two dimensions. In a bundle each strand
is a wire in the mean square of the window's field.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simkit.parameters.transformer import Winding
from simkit.parts.inputs import positive
from simkit.parts.ranged import Figure, out_of_range
from simkit.parts.skin import MU0, skin_depth, tube_impedance, wire_ratio
from simkit.parts.transformer import copper_resistivity, layer_ratio

ROOM = 0.02
"""Least share of a round conductor's pitch that is not copper [1]: varnish."""
SPREAD = 1.1
"""Layers of round wire lie this many diameters apart [1]: varnish and a tape."""
ORDERS = 12
"""Multipoles of each conductor [1]: to a thousandth up to a gap of a twentieth of the pitch."""
IMAGES = 400
"""Conductors of a row summed to either side [1]."""
THICK = 10.0
"""Skin depths from which a tube's wall is as good as solid [1]."""
Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


def round_as_foil(diameter: float, pitch: float) -> float:
    """Thickness of the foil that stands for round wire in Dowell's method [m].

    (pi/4)^(3/4) d sqrt(d/p): square wire of equal section, its resistivity spread over the
    `pitch` p [m]; `diameter` d [m]. Source: P. L. Dowell, Proc. IEE 113 (1966) 1387 (recalled from
    memory). Range: wires that nearly touch, d to one skin depth; beyond it `row_ratio`.
    """
    positive(diameter=diameter, pitch=pitch)
    return math.pow(0.25 * math.pi, 0.75) * diameter * math.sqrt(diameter / pitch)


def bundle_ratio(
    strand: float, strands: int, turns: float, height: float, resistivity: float, frequency: float
) -> Figure:
    """AC over DC resistance of a winding of twisted strands in a window [1].

    F = F_skin + G n^2 N^2: each `strand` of diameter d [m] in the mean square of the window's
    field, that of `turns` N [1] of n `strands` [1] over the `height` b [m], a third of (N I/b)^2.
    For d below the skin depth 1 + pi^2 omega^2 mu0^2 N^2 n^2 d^6/(768 rho^2 b^2). `resistivity`
    [ohm m], `frequency` [Hz]. ValueError for values not above 0. Source: C. R. Sullivan, IEEE
    Trans. Power Electronics 14 (1999) 283, eq. 2; J. A. Ferreira for the round strand at any
    frequency (both recalled from memory). Range: strands that share the current alike (twisted),
    the bundle's own field within the window's; d up to 2 skin depths.
    """
    positive(strand=strand, strands=strands, turns=turns, height=height)
    depth = skin_depth(resistivity, frequency)
    alone = wire_ratio(0.5 * strand, resistivity, frequency).real
    # Eddy loss of a wire across a field, over its value at low frequency.
    radius, k = 0.5 * strand, np.sqrt(-2.0j) / depth
    share = complex(_mirror(radius, math.inf, k, 1)[0])
    low = (radius / depth) ** 2 / 4.0
    weak = math.pi**2 * (2.0 * math.pi * frequency * MU0 * turns * strands / height) ** 2
    thin = weak * strand**6 / (768.0 * resistivity**2)
    value = alone + thin * share.imag / low
    notes = out_of_range("strand/skin depth", strand / depth, 0.0, 2.0)
    return Figure(value, "1", "C. R. Sullivan, IEEE TPEL 14 (1999) 283", notes)


def foil_ratio(thickness: float, layers: int, resistivity: float, frequency: float) -> Figure:
    """AC over DC resistance of foil that fills the window's height: `transformer.layer_ratio` [1].

    `thickness` [m], `layers` [1], `resistivity` [ohm m], `frequency` [Hz]. Source and range as
    there.
    """
    return layer_ratio(thickness, resistivity, frequency, layers)


def row_ratio(
    diameter: float,
    pitch: float,
    layers: int,
    resistivity: float,
    frequency: float,
    wall: float | None = None,
    between: float | None = None,
) -> Figure:
    """AC over DC resistance of layers of round wire or tube in a window [1].

    Each layer is an endless row at its `pitch`, layers `between` apart (the pitch where None)
    [m]; every conductor of `diameter` and `wall` (None: solid) [m] carries the same current, the
    field is zero on one side. Multipoles on each conductor, lattice sums of the rows. `layers`
    [1], `resistivity` [ohm m], `frequency` [Hz]. ValueError for conductors that overlap. Source:
    Lord Rayleigh, Phil. Mag. 34 (1892) 481, for the rows; Bessel solution inside. Range: exact in
    two dimensions; windings that fill the height between walls of ferrite.
    """
    positive(diameter=diameter, pitch=pitch, layers=layers)
    apart = between or pitch
    if pitch <= diameter or apart <= diameter:
        raise ValueError(f"conductors of {diameter:g} m overlap at a pitch of {pitch:g} m")
    radius, thick = 0.5 * diameter, wall or 0.5 * diameter
    if thick > THICK * skin_depth(resistivity, frequency) or thick >= 0.999 * radius:
        thick = math.inf
    k = np.sqrt(-2.0j) / skin_depth(resistivity, frequency)
    mirror = _mirror(radius, thick, k, ORDERS)
    field = _fields(radius, pitch, apart, layers, mirror)
    order = np.arange(1, ORDERS + 1)
    # Poynting's vector over each surface, A_n and radius times its slope, per ampere peak.
    at, slope = field * (1.0 - mirror), order * field * (1.0 + mirror)
    omega = 2.0 * math.pi * frequency
    lost = 0.5 * omega * math.pi / MU0 * -(at * slope.conj()).imag.sum()
    alone = tube_impedance(radius, min(thick, radius), resistivity, frequency).real
    inner = radius - min(thick, radius) if wall else 0.0
    direct = resistivity / (math.pi * (radius**2 - inner**2))
    value = (alone + 2.0 * lost / layers) / direct
    return Figure(value, "1", "rows of round conductors, two-dimensional field")


def winding_resistance(
    winding: Winding, turns: int, height: float | None, frequency: float
) -> Figure:
    """AC resistance of a winding of `turns` [1] in a window of `height` [m] (None: unknown) [ohm].

    R_dc times `foil_ratio`, `bundle_ratio` or `row_ratio`, `frequency` [Hz]. Without a height only
    the skin effect is known; of solid wire and tube one layer, turns touching, is taken, and a note
    says what two would be. ValueError for layers that do not hold the turns. Source: as there.
    Range: as there; leads outside the window, which have skin effect alone, count as in it.
    """
    copper = copper_resistivity(winding.temperature).value
    direct = copper * winding.length / winding.section
    found = _ratio_of(winding, turns, height, copper, frequency)
    return Figure(direct * found.value, "ohm", found.source, found.outside)


def _ratio_of(
    winding: Winding, turns: int, height: float | None, copper: float, frequency: float
) -> Figure:
    if winding.foil is not None:
        layers = turns if winding.layers is None else winding.layers
        return foil_ratio(winding.foil, layers, copper, frequency)
    assert winding.wire is not None
    if (winding.strands or 1) > 1:
        if height is not None:
            return bundle_ratio(
                winding.wire, winding.strands or 1, turns, height, copper, frequency
            )
        alone = wire_ratio(0.5 * winding.wire, copper, frequency).real
        note = "the strands' proximity is left out: it needs [transformer.window]"
        return Figure(alone, "1", "Bessel solution of a round wire", (note,))
    return _rounds(winding, turns, height, copper, frequency)


def _rounds(
    winding: Winding, turns: int, height: float | None, copper: float, frequency: float
) -> Figure:
    assert winding.wire is not None
    least = winding.wire * (1.0 + ROOM)
    apart = SPREAD * winding.wire

    def rows(pitch: float, layers: int) -> Figure:
        return row_ratio(winding.wire or 0.0, pitch, layers, copper, frequency, winding.wall, apart)

    if height is None:
        one, two = (rows(least, n) for n in (1, 2))
        note = (
            "without [transformer.window] one layer of touching turns is taken; two would have "
            f"{two.value / one.value:.2g} times the resistance"
        )
        return Figure(one.value, "1", one.source, (note,))
    fewest = math.ceil(turns * least / height - 1e-9)
    layers = winding.layers or fewest
    if fewest > layers:
        raise ValueError(f"layers: {turns} turns of this wire need {fewest} layers in the window")
    return rows(height / math.ceil(turns / layers), layers)


def _mirror(radius: float, wall: float, k: complex, orders: int) -> Complex:
    """What a conductor answers to a field r^n cos(n theta), over it at its surface, negative [1].

    Solid: -J_(n+1)/J_(n-1) at k a; a tube by matching r^n in its bore.
    """
    from scipy.special import hankel2, jv, jve

    n = np.arange(1.0, orders + 1.0)
    x = k * radius
    if math.isinf(wall):
        return np.asarray(-jve(n + 1, x) / jve(n - 1, x))
    y = k * (radius - wall)

    # Hankel's function of the second kind falls inwards less steeply than it is scaled for walls
    # of up to `THICK` skin depths.
    def slope(z: complex) -> Complex:
        return np.asarray(hankel2(n - 1, z) - n / z * hankel2(n, z))

    def first(z: complex) -> Complex:
        return np.asarray(jv(n - 1, z) - n / z * jv(n, z))

    mix = (n * jv(n, y) / y - first(y)) / (slope(y) - n * hankel2(n, y) / y)
    value = jv(n, x) + mix * hankel2(n, x)
    derivative = x * (first(x) + mix * slope(x))
    return np.asarray(-(n * value - derivative) / (n * value + derivative))


def _fields(radius: float, pitch: float, apart: float, layers: int, mirror: Complex) -> Complex:
    """Field on each conductor, A_n at its surface by layer and order, per ampere [V s/m].

    c = background + sum over rows of T d, d = -mirror c; all lengths in radii.
    """
    n = np.arange(1, ORDERS + 1)
    p, q = pitch / radius, apart / radius
    size = layers * ORDERS
    matrix, right = np.eye(size, dtype=complex), np.zeros(size, dtype=complex)
    unit = MU0 / (2.0 * math.pi)
    top = np.arange(1, 2 * ORDERS + 1)
    for to in range(layers):
        here = slice(to * ORDERS, (to + 1) * ORDERS)
        # The even field that leaves nothing on the first side: N I/(2 h).
        right[here][0] -= MU0 * layers / (2.0 * p)
        for by in range(layers):
            sums = _row_sums((to - by) * q, p, top)
            sign = (-1.0) ** n
            right[here] += unit * sign / n * sums[n - 1]
            pairs = np.array([[math.comb(a + b - 1, b) for a in n] for b in n], dtype=float)
            shift = sign[:, None] * pairs * sums[(n[:, None] + n[None, :]) - 1]
            matrix[here, by * ORDERS : (by + 1) * ORDERS] += shift * mirror[None, :]
    return np.asarray(np.linalg.solve(matrix, right).reshape(layers, ORDERS))


def _row_sums(x: float, pitch: float, powers: NDArray[np.int64]) -> Real:
    """Sum of (x - j k p)^-s over a row, the point itself left out, real by symmetry [1]."""
    k = np.arange(1, IMAGES + 1)
    z = x - 1j * pitch * k
    sums = np.array([2.0 * (z**-s).real.sum() for s in powers])
    if x:
        sums += float(x) ** -powers.astype(float)
        sums[0] = math.pi / pitch / math.tanh(math.pi * x / pitch)
        sums[1] = (math.pi / pitch / math.sinh(math.pi * x / pitch)) ** 2
    else:
        sums[0], sums[1] = 0.0, -2.0 * (math.pi**2 / 6.0) / pitch**2
    return sums
