"""Formulas beside `simkit/parts/capacitor.py` that only tests use."""

from __future__ import annotations

from simkit.parts.inputs import positive
from simkit.parts.ranged import Figure, out_of_range


def capacitance_at(capacitance: float, celsius: float, drift: float = -2.5e-4) -> Figure:
    """Capacitance at a temperature: C (1 + drift (T - 20 degC)) [F].

    `capacitance` at 20 degC [F], `celsius` [degC], `drift` [1/K]. The default is
    polypropylene's: linear and negative, 2.5 % over 100 K (common practice, no source).
    ValueError for a capacitance not above 0. Range: -40 to 105 degC.
    """
    positive(capacitance=capacitance)
    notes = out_of_range("temperature", celsius, -40.0, 105.0, "degC")
    value = capacitance * (1.0 + drift * (celsius - 20.0))
    return Figure(value, "F", "linear drift of polypropylene film", notes)
