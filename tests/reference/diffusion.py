"""Steel in a sine field, marched through time: the reference for saturated surfaces.

Flat surface, depth x: dB/dt = rho d2H/dx2 with H = H0 sin(omega t) at x = 0. The state is B in
cells, H is had from it by inverting the curve in a table, and an ODE solver of variable order
(LSODA of SciPy, banded) does the time. The answer is the fundamental of the flux per metre, so
that no field at the surface needs to be differentiated. Nothing of simkit is imported: the curve
comes as a function.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

MU0 = 4e-7 * np.pi


def flux_depth(
    permeability: Callable[[np.ndarray], np.ndarray],
    field: float,
    resistivity: float,
    frequency: float,
    cells: int = 90,
    periods: float = 3.5,
) -> complex:
    """Fundamental of the flux per metre over mu0 H0, as tau with A = mu0 tau H [m].

    `permeability`: mu_r = B/(mu0 H) at fields [A/m]; `field` H0 [A/m, peak].
    """
    omega = 2 * np.pi * frequency
    skin = np.sqrt(2 * resistivity / (omega * MU0 * permeability(np.array([field]))[0]))
    # Even to 2.5 skin depths, where a saturated front ends, then wider.
    even = int(0.75 * cells)
    width = (
        np.concatenate((np.full(even, 2.5 / even), 2.5 / even * 1.25 ** np.arange(1, 24))) * skin
    )
    middle = np.cumsum(width) - 0.5 * width
    gap = np.diff(middle, prepend=0.0)  # the first is half a cell from the surface
    strength = np.concatenate(([0.0], np.geomspace(1e-3, 4 * field, 4000)))
    curve = MU0 * permeability(strength) * strength

    def inside(b: np.ndarray) -> np.ndarray:
        return np.sign(b) * np.interp(np.abs(b), curve, strength)

    def change(t: float, b: np.ndarray) -> np.ndarray:
        h = np.concatenate(([field * np.sin(omega * t)], inside(b), [0.0]))
        flow = resistivity * np.diff(h) / np.append(gap, width[-1])
        return np.diff(flow) / width

    last = np.linspace(periods - 1.0, periods, 801) / frequency
    found = solve_ivp(
        change, (0.0, last[-1]), np.zeros(len(width)), "LSODA", last, lband=1, uband=1,
        rtol=1e-5, atol=1e-6, max_step=0.01 / frequency,
    )  # fmt: skip
    assert found.success, found.message
    flux, angle = found.y.T @ width, omega * last
    # A whole period, so that the flux that the start left deep inside falls out; H is a sine.
    in_phase = np.trapezoid(flux * np.sin(angle), angle) / np.pi
    behind = np.trapezoid(flux * np.cos(angle), angle) / np.pi
    return complex(in_phase, behind) / (MU0 * field)
