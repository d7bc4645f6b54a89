"""What the finite-element table holds: coils and pieces, as lengths and as skin depths.

Frequency 50 kHz throughout; the resistivity is set so that the skin has the depth wanted. Copper
at 1.72e-8 ohm m. Nothing of the package is imported here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FREQUENCY = 50e3
COPPER = 1.72e-8
MU0 = 4e-7 * math.pi


@dataclass(frozen=True)
class Wound:
    """A coil: middles of its turns (r, z) and the tube's radius [m]."""

    turns: tuple[tuple[float, float], ...]
    tube_radius: float


def _helix(radius: float, levels: list[float]) -> tuple[tuple[float, float], ...]:
    return tuple((radius, z) for z in levels)


COILS = {
    "helix": Wound(_helix(25e-3, [9e-3 * (k - 2) for k in range(5)]), 3e-3),
    # From a turn to the next: 7, 7, 10, 14 mm; the middle of the outermost turns is z = 0.
    "uneven": Wound(_helix(25e-3, [-19e-3, -12e-3, -5e-3, 5e-3, 19e-3]), 3e-3),
    "two layers": Wound(
        _helix(24.5e-3, [7e-3 * (k - 1.5) for k in range(4)])
        + _helix(31e-3, [7e-3 * (k - 1.5) for k in range(4)]),
        2.5e-3,
    ),
    "flat": Wound(tuple((12.5e-3 + 7e-3 * k, 0.0) for k in range(5)), 2.5e-3),
    "inner": Wound(_helix(12.5e-3, [7e-3 * (k - 2.5) for k in range(6)]), 2.5e-3),
}


@dataclass(frozen=True)
class Case:
    """A piece in a coil: lengths [m], skin depth [m] at its permeability [1]."""

    coil: str
    diameter: float
    length: float
    wall: float | None
    depth: float
    mu_r: float = 1.0
    at: float = 0.0

    @property
    def resistivity(self) -> float:
        """rho = pi f mu0 mu_r delta^2 [ohm m]."""
        return math.pi * FREQUENCY * MU0 * self.mu_r * self.depth**2

    @property
    def name(self) -> str:
        """As it stands in the table."""
        wall = "" if self.wall is None else f" wall {1e3 * self.wall:g}"
        magnetic = "" if self.mu_r == 1.0 else f" mu_r {self.mu_r:g}"
        at = "" if self.at == 0.0 else f" at {1e3 * self.at:g}"
        size = f"{1e3 * self.diameter:g} x {1e3 * self.length:g}{wall}"
        return f"{self.coil}: {size}, depth {1e3 * self.depth:g}{magnetic}{at}"


def _row(
    coil: str, diameter: float, length: float, depths: list[float], wall: float | None = None,
    mu_r: float = 1.0, at: float = 0.0,
) -> list[Case]:  # fmt: skip
    thick = None if wall is None else 1e-3 * wall
    return [
        Case(coil, 1e-3 * diameter, 1e-3 * length, thick, 1e-3 * depth, mu_r, 1e-3 * at)
        for depth in depths
    ]


# Millimetres. Helix: bore 44, so that 13.2 fills 0.3 of it and 41.8 fills 0.95.
CASES: tuple[Case, ...] = (
    *_row("helix", 22.0, 80.0, [0.22, 0.55, 1.1, 2.2, 4.4, 8.8, 16.5, 33.0]),
    *_row("helix", 39.6, 3.0, [0.3, 0.75, 1.9, 4.5]),
    *_row("helix", 39.6, 10.0, [0.5, 1.5, 5.0]),
    *_row("helix", 39.6, 25.0, [0.6, 1.25, 3.75]),
    *_row("helix", 13.2, 13.0, [0.3, 0.65, 1.3, 3.0]),
    *_row("helix", 13.2, 40.0, [0.4, 1.0]),
    *_row("helix", 41.8, 60.0, [0.4, 1.0, 3.0, 10.0]),
    *_row("helix", 30.0, 40.0, [0.2, 0.6, 1.0, 2.0, 6.0], wall=2.0),
    *_row("helix", 40.0, 50.0, [1.0, 3.0, 10.0], wall=6.0),
    *_row("helix", 36.0, 6.0, [0.3, 1.0, 3.0], wall=4.0),
    *_row("helix", 22.0, 40.0, [0.5, 2.0], at=25.0),
    *_row("helix", 16.0, 80.0, [0.135], mu_r=44.0),
    *_row("helix", 16.0, 80.0, [0.064], mu_r=200.0),
    *_row("helix", 16.0, 80.0, [0.5, 1.5], mu_r=20.0),
    *_row("helix", 39.6, 3.0, [0.2, 0.6], mu_r=20.0),
    *_row("helix", 39.6, 10.0, [0.2], mu_r=60.0),
    *_row("helix", 30.0, 40.0, [0.2, 0.8], wall=2.0, mu_r=30.0),
    # Short against the skin, though thin: ends and corners count there.
    *_row("helix", 13.2, 13.0, [0.025, 0.06]),
    *_row("helix", 13.2, 13.0, [0.3], mu_r=20.0),
    *_row("helix", 39.6, 25.0, [0.6], mu_r=20.0),
    *_row("helix", 22.0, 40.0, [0.5], mu_r=20.0, at=25.0),
    *_row("helix", 13.2, 13.0, [0.1], mu_r=60.0),
    *_row("uneven", 22.0, 60.0, [0.5, 2.0]),
    *_row("two layers", 22.0, 60.0, [0.5, 2.0]),
    *_row("flat", 80.0, 5.0, [0.3, 1.5, 5.0], at=10.0),
    *_row("flat", 80.0, 5.0, [0.2], mu_r=50.0, at=10.0),
    *_row("inner", 50.0, 40.0, [0.5, 2.0], wall=8.0),
    *_row("inner", 50.0, 40.0, [0.2], wall=8.0, mu_r=40.0),
)
