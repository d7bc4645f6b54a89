"""Formulas beside `simkit/parts/cooling.py` that only tests use."""

from __future__ import annotations

from simkit.parts.cooling import water_density, water_heat_capacity
from simkit.parts.inputs import positive


def needed_flow(power: float, rise: float, inlet: float) -> float:
    """Flow that keeps the rise to a given value: P/(rho c_p rise) [m3/s].

    `power` [W], `rise` [K], `inlet` [degC]; ValueError for a rise not above 0. Source, range
    as for `coolant_rise`.
    """
    positive(rise=rise)
    return power / (water_density(inlet).value * water_heat_capacity(inlet).value * rise)
