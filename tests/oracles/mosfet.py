"""Formulas beside `simkit/parts/mosfet.py` that only tests use."""

from __future__ import annotations

from simkit.parameters.switch import Channel


def drain_source_charge(channel: Channel, drain_voltage: float) -> float:
    """Charge of C_ds at a drain voltage, CJO VJ ((1 + V/VJ)^(1-M) - 1)/(1-M) [C].

    Source: integral of `drain_source_capacitance` by hand; range as there.
    """
    rest = 1.0 - channel.junction_grading
    ratio = 1.0 + drain_voltage / channel.junction_potential
    scale = channel.output_capacitance_zero * channel.junction_potential / rest
    return float(scale * (ratio**rest - 1.0))
