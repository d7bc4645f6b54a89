"""A workpiece, crucible or charge as rings of current, with what its equations need.

Two ways: rings on the surface, whose skin is answered by a flux depth (`skin`, `steel`), or rings
that fill the cross-section. The surface is an approximation for thin skins: at square corners it
leaves out what the skin cuts short, 0.3 to 0.5 times depth over half the length of R. So what is
not magnetic is filled as soon as its depth is more than THIN of radius, wall or half length. What
is magnetic stays a surface, with a stated doubt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from simkit.parts.materials import Material
from simkit.parts.ranged import out_of_range
from simkit.parts.rings import MU0, Block, Complex, Real, Sheet, block, graded, polyline
from simkit.parts.skin import bore_flux_depth, rod_flux_depth, skin_depth, wavenumber
from simkit.parts.steel import Answer, Steel, flux_depths

THIN = 0.004
"""Depth over half length, radius or wall up to which rings on the surface serve what is not
magnetic [1]. Around a corner a surface's own impedance says too little: what a short piece takes is
up to 8 % low by it, where rings through the section are within 1 % (finite elements, tests)."""
SIMPLE, MOST = 0.05, 700
"""Up to that depth over the same, a section that takes more rings than this keeps its surface: such
pieces are long, and a surface is within 2 % of finite elements while their ends lie clear [1]."""
CELL = 0.2
"""Outermost cell of a filled section over the skin depth [1]."""
RANGE = 0.45, 0.3, 0.1
"""Depth over radius, wall and half length up to which magnetic surfaces serve [1]."""
LAYERS = 400
"""Points from surface to core at which a temperature between them is taken."""


@dataclass(frozen=True)
class Piece:
    """Shape of a workpiece or crucible, a cylinder on the coil's axis.

    Fields
    ------
    diameter : outer [m]
    length : [m]
    wall : of a tube open at both ends [m]; None for a solid rod
    """

    diameter: float
    length: float
    wall: float | None

    def __post_init__(self) -> None:
        if not (self.diameter > 0.0 and self.length > 0.0):
            raise ValueError(
                f"diameter {self.diameter:g} m and length {self.length:g} m must be above 0"
            )
        if self.wall is not None and not 0.0 < self.wall < self.diameter / 2:
            raise ValueError(f"wall {self.wall:g} m must be between 0 and the radius")

    @property
    def radius(self) -> float:
        """Outer radius [m]."""
        return self.diameter / 2

    @property
    def bore(self) -> float:
        """Radius of the bore [m]; 0 for a rod."""
        return 0.0 if self.wall is None else self.radius - self.wall

    @property
    def thickness(self) -> float:
        """Wall, or radius of a rod [m]."""
        return self.radius - self.bore


@dataclass(frozen=True)
class Charge:
    """What is inside a tube or crucible, on the same axis.

    Fields
    ------
    piece : its shape
    material : its material
    temperature : [degC]
    offset : its middle above the middle of what holds it [m]
    """

    piece: Piece
    material: Material
    temperature: float
    offset: float


@dataclass(frozen=True)
class Shape:
    """A piece as rings at a place; `filled` is the depth its cells are made for.

    Fields
    ------
    piece : its dimensions
    at : its middle from the coil's [m]
    grain : longest cell along the axis [m]
    filled : skin depth [m] where rings fill the section; None for rings on the surface
    """

    piece: Piece
    at: float
    grain: float
    filled: float | None

    def rings(self) -> Sheet | Block:
        """The rings themselves."""
        return self._surface() if self.filled is None else self._section(self.filled)

    def _surface(self) -> Sheet:
        """Segments on the surface, finer towards the corners."""
        piece = self.piece
        low, high = self.at - piece.length / 2, self.at + piece.length / 2
        step = self.grain if piece.wall is None else min(self.grain, 0.7 * piece.wall)
        most = 60 if piece.wall is None else 120
        along = int(np.clip(round(piece.length / step), 24, most))
        if piece.wall is None:
            # The axis itself carries nothing; a hair beside it keeps the logarithms finite.
            axis = 1e-6 * piece.radius
            points = [(axis, low), (piece.radius, low), (piece.radius, high), (axis, high)]
            return polyline(points, [14, along, 14], grade=0.2)
        inner = piece.bore
        points = [
            (inner, low), (piece.radius, low), (piece.radius, high), (inner, high), (inner, low),
        ]  # fmt: skip
        return polyline(points, [8, along, 8, along], grade=0.5)

    def _section(self, depth: float) -> Block:
        """Cells through the section, finer towards every surface."""
        piece, fine = self.piece, CELL * depth
        across = min(fine, piece.thickness / 6)
        radii = graded(
            piece.bore, piece.radius, across, piece.thickness / 3, piece.wall is not None
        )
        along = min(fine, piece.length / 8)
        low, high = self.at - piece.length / 2, self.at + piece.length / 2
        return block(radii, graded(low, high, along, self.grain, True))


@dataclass(frozen=True)
class Body:
    """One piece as rings, with what its equations need; arrays have one entry per ring.

    Fields
    ------
    shape : its rings' recipe
    frequency : [Hz]
    steel : its material in the skin
    warnings : what was outside a table
    """

    shape: Shape
    frequency: float
    steel: Steel
    warnings: tuple[str, ...]

    @cached_property
    def rings(self) -> Sheet | Block:
        """Its rings."""
        return self.shape.rings()

    @property
    def piece(self) -> Piece:
        """What it is made from."""
        return self.shape.piece

    @property
    def resistivity(self) -> float:
        """At the surface [ohm m]."""
        return self.steel.resistivity[0]

    @property
    def magnetic(self) -> bool:
        """Whether any of it is."""
        return self.steel.initial > 1.0 and max(self.steel.saturation) > 0.0

    def permeability(self, field: Real) -> Real:
        """mu_r at the surface of every ring at its field [1]; 1 for volume rings."""
        return self.steel.permeability(field)

    def depths(self, field: Real) -> Complex:
        """The own term of every ring for `ringsystem.solve_bodies`, at its field [A/m, peak]."""
        if isinstance(self.rings, Block):
            omega = 2.0 * math.pi * self.frequency
            section = self.rings.height * self.rings.thickness
            inside = self.piece.radius - self.rings.r
            rho = np.interp(inside, self.steel.depth, self.steel.resistivity)
            return np.asarray(rho / (1j * omega * MU0 * section))
        linear = self._linear_depths(field)
        if not self.magnetic:
            return linear
        mu_r, known = self.permeability(field), (self.resistivity, self.frequency)
        if self.piece.wall is None:
            solved = rod_flux_depth(self.piece.radius, *known, mu_r)
        else:
            solved = np.asarray(np.sqrt(mu_r) / wavenumber(*known))
        return np.asarray(self._table.at(field) * linear / solved)

    @cached_property
    def _table(self) -> Answer:
        """The side of a rod, or a flat wall, in time; other faces differ as in linear steel."""
        radius = self.piece.radius if self.piece.wall is None else math.inf
        return flux_depths(self.steel, self.frequency, radius)

    def _linear_depths(self, field: Real) -> Complex:
        """tau of every segment with the mu_r of its field: Bessel on the sides, flat ends [m]."""
        assert isinstance(self.rings, Sheet)
        mu_r, piece = self.permeability(field), self.piece
        known = self.resistivity, self.frequency
        depths = np.asarray(np.sqrt(mu_r) / wavenumber(*known))
        side, inside = self.rings.tz > 0.5, self.rings.tz < -0.5
        depths[side] = rod_flux_depth(piece.radius, *known, mu_r[side])
        if piece.wall is not None:
            depths[inside] = bore_flux_depth(piece.bore, *known, mu_r[inside])
        return depths

    def loss_resistance(self, depths: Complex, currents: Complex, field: Complex) -> float:
        """Twice its loss for 1 A peak in the coil [ohm].

        Per ring: rho 2 pi r/S of its current where it fills; omega mu0 Im(-tau) of the field
        over its surface else (the real part of E H*). `depths` as solved with, `currents` [A/A],
        `field` [1/m].
        """
        scale = 2.0 * math.pi * self.frequency * MU0
        if isinstance(self.rings, Block):
            ohms = scale * np.abs(depths) * 2.0 * np.pi * self.rings.r
            return float(ohms @ np.abs(currents) ** 2)
        area = 2.0 * np.pi * self.rings.r * self.rings.width
        return float(scale * (-depths.imag * area) @ np.abs(field) ** 2)

    def unsettled(self) -> tuple[str, ...]:
        """A note when the steel's march did not settle."""
        if isinstance(self.rings, Block) or not self.magnetic or self._table.settled:
            return ()
        return ("the steel's B(H) did not settle in every step of the march through time",)


def _steel(material: Material, piece: Piece, surface: float, core: float) -> Steel:
    """The material from the surface inwards; T(r) a parabola between surface and core [degC].

    That is where steady heat from a thin skin ends up as the piece warms evenly: dT/dr goes as r.
    """
    if surface == core:
        depth, celsius = np.zeros(1), np.array([surface])
    else:
        depth = piece.thickness * np.linspace(0.0, 1.0, LAYERS) ** 2
        celsius = core + (surface - core) * (1.0 - depth / piece.thickness) ** 2
    table, magnetism = material.resistivity, material.magnetism
    resistivity = np.interp(celsius, table.celsius, table.values)
    saturation = [0.0 if magnetism is None else magnetism.saturation_at(t) for t in celsius]
    magnetic = magnetism is not None and max(saturation) > 0.0
    return Steel(
        tuple(depth.tolist()),
        tuple(resistivity.tolist()),
        tuple(saturation),
        magnetism.initial_permeability if magnetism and magnetic else 1.0,
        magnetism.rayleigh if magnetism and magnetic else 0.0,
    )


def body_of(
    piece: Piece,
    material: Material,
    temperature: float,
    frequency: float,
    at: float,
    grain: float,
    core: float | None = None,
    reach: float = math.inf,
) -> Body:
    """A piece at a place `at` [m] of the axis, as rings on its surface or through its section.

    `temperature` of its surface and `core` of its middle [degC], `frequency` [Hz], `grain` the
    longest cell along the axis [m], `reach` from the coil's middle to where its field is spent [m]:
    rings fill a section up to there. Source: the head of this module. Range: as there.
    """
    steel = _steel(material, piece, temperature, temperature if core is None else core)
    # To two digits: pieces a little warmer share their matrices.
    depth = float(f"{skin_depth(steel.resistivity[0], frequency):.1e}")
    if steel.initial == 1.0 and _filled(piece, depth, grain, reach):
        shape = Shape(*_within(piece, at, reach), grain, depth)
    else:
        shape = Shape(piece, at, grain, None)
    noted = material.resistivity.at(temperature, f"resistivity of {material.name}")
    return Body(shape, frequency, steel, noted.outside)


def _filled(piece: Piece, depth: float, grain: float, reach: float) -> bool:
    """Whether rings fill the section; the same wherever along its way the piece is."""
    least = min(piece.length / 2, piece.thickness)
    if not THIN * least < depth <= SIMPLE * least:
        return depth > THIN * least
    whole = replace(piece, length=min(piece.length, 2.0 * reach))
    return len(Shape(whole, 0.0, grain, depth).rings().r) <= MOST


def _within(piece: Piece, at: float, reach: float) -> tuple[Piece, float]:
    """The part of a piece that lies within reach, and its middle [m]; what lies beyond sees 1 % of
    the field and less, and takes a ten thousandth of the heat."""
    low, high = at - piece.length / 2, at + piece.length / 2
    shortest = 0.1 * piece.length
    low, high = max(low, min(-reach, high - shortest)), min(high, max(reach, low + shortest))
    if high - low >= 0.999 * piece.length:
        return piece, at
    return replace(piece, length=high - low), 0.5 * (low + high)


def surface_depth(body: Body, mu_r: float) -> float:
    """Skin depth at the surface of a body, for a permeability there [m].

    Source: `skin.skin_depth`. Range: as there.
    """
    return skin_depth(body.resistivity, body.frequency, mu_r)


def range_notes(body: Body, depth: float) -> tuple[str, ...]:
    """Notes where a magnetic surface has too thick a skin, `depth` [m].

    Source: comparison with finite elements (tests). Range: filled bodies need none.
    """
    if isinstance(body.rings, Block):
        return ()
    piece, (rod, wall, half) = body.piece, RANGE
    notes = out_of_range("skin depth/half length", 2.0 * depth / piece.length, 0.0, half)
    if piece.wall is None:
        return notes + out_of_range("skin depth/radius", depth / piece.radius, 0.0, rod)
    return notes + out_of_range("skin depth/wall", depth / piece.wall, 0.0, wall)
