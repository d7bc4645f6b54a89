"""Formulas beside `simkit/parts/thermal.py` that only tests use."""

from __future__ import annotations

import math
from collections.abc import Sequence

from simkit.parts.inputs import positive
from simkit.parts.thermal import Foster, Stack, thermal_impedance


def foster_fit(times: Sequence[float], impedances: Sequence[float]) -> Foster:
    """The Foster network through points of a data-sheet curve.

    Non-negative least squares on relative deviations, with time constants laid out four to a
    decade from a third of the first point to three times the last; stages that get nothing
    are dropped. `times` [s] and `impedances` [K/W] rise. ValueError for fewer than two points
    or points that do not rise. Source: own choice; method of C. L. Lawson, R. J. Hanson
    (1974). Range: between the first and the last point; `residue` says how well it fits.
    """
    import numpy as np
    from scipy.optimize import nnls

    t, z = np.asarray(times, dtype=float), np.asarray(impedances, dtype=float)
    rising = len(t) == len(z) >= 2 and bool(np.all(np.diff(t) > 0) and np.all(np.diff(z) > 0))
    if not rising or t[0] <= 0.0 or z[0] <= 0.0:
        raise ValueError("the curve needs two or more points above 0, both columns rising")
    count = 1 + math.ceil(4 * math.log10(9.0 * t[-1] / t[0]))
    constants = np.geomspace(t[0] / 3.0, 3.0 * t[-1], count)
    share = -np.expm1(-t[:, None] / constants)
    found, _ = nnls(share / z[:, None], np.ones(len(t)))
    kept = found > 0.0
    residue = float(np.max(np.abs(share @ found / z - 1.0)))
    return Foster(tuple(found[kept].tolist()), tuple(constants[kept].tolist()), residue)


def time_to_rise(network: Foster, power: float, rise: float) -> float:
    """Time until a step of loss has raised the junction by `rise` over the case [s].

    Z(t) = rise/P, by halving; inf when the steady rise stays below, 0 for no rise. `power`
    [W], `rise` [K]. ValueError for a power not above 0. Source, range as for `junction_rise`.
    """
    positive(power=power)
    if rise <= 0.0:
        return 0.0
    if power * network.resistance <= rise:
        return math.inf
    low, high = 0.0, max(network.times)
    while power * thermal_impedance(network, high) < rise:
        high *= 2.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        reached = power * thermal_impedance(network, middle) >= rise
        low, high = (low, middle) if reached else (middle, high)
    return high


def pulsed_rise(network: Foster, power: float, on_time: float, period: float) -> float:
    """Highest rise of the junction over the case with repeated pulses of loss [K].

    P sum of R (1 - exp(-t_on/tau))/(1 - exp(-T/tau)). `power` in the pulse [W], `on_time`
    [s], `period` [s]. ValueError unless 0 < on_time <= period. Source: geometric sum of the
    step responses, textbook. Exact for the network, settled.
    """
    positive(on_time=on_time, period=period)
    if on_time > period:
        raise ValueError(f"on_time is {on_time:g} s; it must not exceed the period {period:g} s")
    stages = zip(network.resistances, network.times, strict=True)
    parts = (r * math.expm1(-on_time / tau) / math.expm1(-period / tau) for r, tau in stages)
    return power * sum(parts)


def heatsink_for(stack: Stack, loss: float, limit: float) -> float:
    """The largest heatsink resistance that keeps the junction at `limit` [degC] [K/W].

    ((limit - T_a)/P - R_jc - R_pad)/n; negative when no heatsink is enough. `loss` of each
    switch [W]. ValueError for a loss not above 0. Source, range as for `steady_junction`.
    """
    positive(loss=loss)
    room = (limit - stack.ambient) / loss
    return (room - stack.junction_case - stack.pad) / stack.switches
