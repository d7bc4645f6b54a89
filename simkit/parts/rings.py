"""Axisymmetric fields of coaxial rings of current: the method behind coil and workpiece.

Everything conducting or magnetic is replaced by rings of current in free space. A coil turn
and a workpiece with a thin skin become a sheet of rings on their surface; a workpiece whose
skin is thick, and that is not magnetic, becomes rings that fill its cross-section. Solved are

    surface ring:  A_phi = mu0 tau H_t + V/(j omega 2 pi r)
    volume ring:   A_phi = -rho J/(j omega)

with A_phi the vector potential of all rings, H_t the tangential field just outside the
surface, tau the depth that carries the flux (see `skin.flux_depth`), V the voltage around a
turn of the coil (zero for a workpiece) and J the current density. This is the impedance
boundary condition of Leontovich in an indirect boundary-element form (S. V. Yuferev,
N. Ida, "Surface Impedance Boundary Conditions", CRC Press 2010; recalled from memory).
Directions: t = n x phi, so that t is +z on the side of a rod.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

MU0 = 4e-7 * np.pi
Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

# Four-point Gauss-Legendre rule on [-1, 1]: even, so that it never meets a ring's own centre.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_PAIR = np.polynomial.legendre.leggauss(2)[0]
GROWTH = 1.45  # of a cell over its outer neighbour: a decay over one skin depth is met by five


@dataclass(frozen=True)
class Sheet:
    """Rings on a surface; all arrays have one entry per segment.

    Fields
    ------
    r, z : middle of the segment [m]
    tr, tz : unit vector along the segment, n x phi with n outward [1]
    width : length of the segment [m]
    bend : curvature of the surface it stands for, 0 when flat [1/m]
    """

    r: Real
    z: Real
    tr: Real
    tz: Real
    width: Real
    bend: Real


@dataclass(frozen=True)
class Block:
    """Rings that fill a rectangular cross-section; one entry per ring.

    Fields
    ------
    r, z : middle of the cell [m]
    height, thickness : size of the cell along z and r [m]
    """

    r: Real
    z: Real
    height: Real
    thickness: Real


def loop_potential(r: Real, z: Real, radius: Real, at: Real) -> Real:
    """Vector potential A_phi of circular loops, per ampere [Wb/(m A)].

    A = mu0/(pi k) sqrt(a/r) ((1 - k^2/2) K - E), k^2 = 4 a r/((a + r)^2 + (z - at)^2).
    `r`, `z`: where [m]; `radius`, `at`: the loop's [m]; broadcast together. Source: W. R.
    Smythe, "Static and Dynamic Electricity", section 7.10 (recalled from memory). Valid off
    the wire, r > 0.
    """
    from scipy.special import ellipe, ellipk

    k2 = 4.0 * radius * r / ((radius + r) ** 2 + (z - at) ** 2)
    shape = (1.0 - 0.5 * k2) * ellipk(k2) - ellipe(k2)
    return np.asarray(MU0 / np.pi * np.sqrt(radius / (r * k2)) * shape, dtype=np.float64)


def loop_field(r: Real, z: Real, radius: Real, at: Real) -> tuple[Real, Real]:
    """Field H_r, H_z of circular loops, per ampere [1/m].

    Arguments and source as for `loop_potential`; valid off the wire, r > 0.
    """
    from scipy.special import ellipe, ellipk

    h = z - at
    far = (radius + r) ** 2 + h**2
    near = (radius - r) ** 2 + h**2
    k2 = 4.0 * radius * r / far
    first, second = ellipk(k2), ellipe(k2)
    scale = 1.0 / (2.0 * np.pi * np.sqrt(far))
    radial = scale * h / r * (-first + (radius**2 + r**2 + h**2) / near * second)
    axial = scale * (first + (radius**2 - r**2 - h**2) / near * second)
    return np.asarray(radial), np.asarray(axial)


def polyline(points: list[tuple[float, float]], counts: list[int], grade: float = 1.0) -> Sheet:
    """A surface through `points` (r, z) [m], each edge cut into `counts` segments.

    `grade` 1 makes equal segments; 0 makes them shrink as a cosine towards both corners,
    where the surface current peaks. The points run so that n x phi points along the edge.
    Source: geometry. Exact for straight edges.
    """
    starts: list[Real] = []
    for (p, q), count in zip(pairwise(points), counts, strict=True):
        even = np.linspace(0.0, 1.0, count + 1)
        share = grade * even + (1.0 - grade) * 0.5 * (1.0 - np.cos(np.pi * even))
        edge = np.array(p) + np.outer(share, np.subtract(q, p))
        starts.append(np.hstack([edge[:-1], edge[1:]]))
    ends = np.vstack(starts)
    delta = ends[:, 2:] - ends[:, :2]
    width = np.hypot(delta[:, 0], delta[:, 1])
    middle = 0.5 * (ends[:, :2] + ends[:, 2:])
    along = delta / width[:, None]
    return Sheet(middle[:, 0], middle[:, 1], along[:, 0], along[:, 1], width, 0.0 * width)


def circle(radius: float, at: float, tube: float, count: int) -> Sheet:
    """The surface of a round tube bent into a ring, in `count` segments of equal length.

    `radius` of the ring, `at` its position, `tube` the tube's radius [m]. The polygon is
    made so large that its perimeter is the circle's. Source: geometry. Range: 20 segments;
    more change L by less than 0.2 % and R by less than 1 %.
    """
    angle = 2.0 * np.pi * (np.arange(count + 1) / count)
    corner = tube * (np.pi / count) / np.sin(np.pi / count)
    # n x phi turns the outward normal (cos, sin) into (-sin, cos): counter-clockwise in (r, z).
    points = [
        (radius + corner * float(np.cos(one)), at + corner * float(np.sin(one))) for one in angle
    ]
    flat = polyline(points, [1] * count)
    return replace(flat, bend=np.full(count, 1.0 / tube))


def joined(sheets: list[Sheet]) -> Sheet:
    """Several sheets as one, in order.

    Lengths in [m]. Source: geometry. Exact.
    """
    parts = [np.concatenate([getattr(s, name) for s in sheets]) for name in Sheet.__annotations__]
    return Sheet(*parts)


def graded(low: float, high: float, fine: float, most: float, both: bool) -> Real:
    """Edges of cells from `low` to `high` [m], `fine` at the upper end and growing inwards.

    Each cell is GROWTH times its neighbour, up to `most`; with `both` the lower end is a surface
    too. Source: geometry. Exact.
    """
    room = 0.5 * (high - low) if both else high - low
    steps = [min(fine, room)]
    while sum(steps) < room:
        steps.append(min(GROWTH * steps[-1], max(most, fine)))
    inwards = np.concatenate(([0.0], np.cumsum(steps))) * (room / sum(steps))
    if both:
        return np.concatenate((low + inwards, (high - inwards)[-2::-1]))
    return np.asarray((high - inwards)[::-1])


def block(radii: Real, levels: Real) -> Block:
    """A cross-section as cells between edges in radius and along the axis [m].

    Source: geometry. Exact.
    """
    r, z = np.meshgrid(0.5 * (radii[1:] + radii[:-1]), 0.5 * (levels[1:] + levels[:-1]))
    thickness, height = np.meshgrid(np.diff(radii), np.diff(levels))
    return Block(r.ravel(), z.ravel(), height.ravel(), thickness.ravel())


def _source_points(rings: Sheet | Block) -> tuple[Real, Real, Real]:
    """Radii, positions and shares of the filaments that stand for each ring."""
    if isinstance(rings, Sheet):
        half = 0.5 * rings.width[:, None] * _NODES[None, :]
        radii = rings.r[:, None] + half * rings.tr[:, None]
        return radii, rings.z[:, None] + half * rings.tz[:, None], 0.5 * _WEIGHTS
    across, along = (grid.ravel() for grid in np.meshgrid(_PAIR, _PAIR))
    radii = rings.r[:, None] + 0.5 * across[None, :] * rings.thickness[:, None]
    levels = rings.z[:, None] + 0.5 * along[None, :] * rings.height[:, None]
    return radii, levels, np.full(4, 0.25)


def _own_potential(rings: Sheet) -> Real:
    """A_phi at a segment's middle from its own current, per ampere [Wb/(m A)].

    mu0/(2 pi) (ln(8 r/g) - 2), g = w/(2 e) the geometric mean distance of a strip of width w
    from its middle. Valid for g much less than r.
    """
    apart = rings.width / (2.0 * np.e)
    # Close to the axis the logarithm would turn negative; such rings carry next to nothing.
    return np.asarray(MU0 / (2 * np.pi) * np.maximum(np.log(8 * rings.r / apart) - 2.0, 0.05))


def _mean_log(x: Real, y: Real, half_x: Real, half_y: Real) -> Real:
    """Mean of ln(distance) from a point to all points of a rectangle [1].

    `x`, `y` from its middle, half sides [m]. The integral of the logarithm in closed form:
    F = x y (ln(x^2 + y^2) - 3)/2 + (x^2 atan(y/x) + y^2 atan(x/y))/2, over the corners.
    """
    total = np.zeros(np.broadcast_shapes(x.shape, half_x.shape))
    for one in (1.0, -1.0):
        for two in (1.0, -1.0):
            a, b = x + one * half_x, y + two * half_y
            square = np.maximum(a * a + b * b, 1e-60)
            # atan(a/b) = +-pi/2 - atan(b/a): one of them serves both.
            turn = np.arctan(b / np.where(a == 0.0, 1e-30, a))
            other = np.sign(a * b) * (0.5 * np.pi) - turn
            part = 0.5 * (a * b * (np.log(square) - 3.0) + a * a * turn + b * b * other)
            total += one * two * part
    return np.asarray(total / (4.0 * half_x * half_y))


def _block_potential(at: Block, source: Block) -> Real:
    """A_phi at the middle of each cell, per ampere in each cell [Wb/(m A)].

    Near a cell A goes as -mu0/(2 pi) ln(distance): that part is integrated in closed form over
    the rectangle, what is left by two points each way.
    """
    radii, levels, share = _source_points(source)
    matrix = np.zeros((len(at.r), len(source.r)))
    r, z = at.r[:, None], at.z[:, None]
    for k, part in enumerate(share):
        radius, level = radii[None, :, k], levels[None, :, k]
        apart = np.hypot(r - radius, z - level)
        matrix += part * (loop_potential(r, z, radius, level) + MU0 / (2 * np.pi) * np.log(apart))
    half_r, half_z = 0.5 * source.thickness[None], 0.5 * source.height[None]
    near = _mean_log(r - source.r[None], z - source.z[None], half_r, half_z)
    return np.asarray(matrix - MU0 / (2 * np.pi) * near)


def potential_matrix(at: Sheet | Block, source: Sheet | Block) -> Real:
    """A_phi at the middle of each ring of `at`, per ampere in each of `source` [Wb/(m A)].

    Source: `loop_potential`, summed over points of each ring. Range: rings thin against their
    radius.
    """
    if isinstance(at, Block) and isinstance(source, Block):
        return _block_potential(at, source)
    radii, levels, share = _source_points(source)
    here = (at.r[:, None, None], at.z[:, None, None])
    matrix = loop_potential(*here, radii[None], levels[None]) @ share
    if at is source and isinstance(source, Sheet):
        np.fill_diagonal(matrix, _own_potential(source))
    return np.asarray(matrix)


def tangential_matrix(at: Sheet, source: Sheet | Block) -> Real:
    """H_t just outside each segment of `at`, per ampere in each ring of `source` [1/m].

    A segment's own current adds -1/(2 width), the jump of the tangential field, and -b/(4 pi)
    where it stands for an arc of curvature b: all around a circle these are the 1/(2 n) of its
    field that n flat segments leave out. Source: `loop_field`; Ampere's law on a circle. Range
    as for `potential_matrix`.
    """
    radii, levels, share = _source_points(source)
    field = loop_field(at.r[:, None, None], at.z[:, None, None], radii[None], levels[None])
    matrix = at.tr[:, None] * (field[0] @ share) + at.tz[:, None] * (field[1] @ share)
    if at is source:
        matrix[np.diag_indices(len(at.r))] -= 0.5 / at.width + at.bend / (4.0 * np.pi)
    return np.asarray(matrix)
