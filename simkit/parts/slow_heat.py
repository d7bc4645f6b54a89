"""Parts that warm as one body each: can, core, winding, the water's wall."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from simkit.parts.inputs import not_negative

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Body:
    """One body that a loss heats and its surroundings cool.

    Fields
    ------
    part : its name
    around : what cools it [degC]
    before, last : its rise in the settled state and with the last state for good [K]
    time : R C, None where nobody said [s]
    limit : nan where nobody said [degC]
    error : of its last temperature [K]
    """

    part: str
    around: float
    before: float
    last: float
    time: float | None
    limit: float
    error: float

    def __post_init__(self) -> None:
        not_negative(before=self.before, last=self.last)

    @property
    def settled(self) -> float:
        """With the last state for good [degC]."""
        return self.around + self.last


def warming(body: Body, time: Array) -> Array:
    """Its temperature after `time` [s] of the last state: T_a + dT + (dT_0 - dT) exp(-t/RC) [degC].

    Without a heat capacity the hotter of nothing and endless. Source: heat balance of one body.
    Range: constant resistance and capacity.
    """
    if body.time is None:
        return np.full(len(time), body.around + max(body.before, body.last))
    gap = (body.before - body.last) * np.exp(-np.asarray(time) / body.time)
    return np.asarray(body.around + body.last + gap)


def time_to_limit(body: Body) -> float:
    """How long the last state may go on until it is at its limit [s]; inf for never.

    t = RC ln((dT - dT_0)/(dT - dT_limit)). Source and range: as `warming`.
    """
    allowed = body.limit - body.around
    if not isfinite(allowed):  # nobody gave a limit
        return inf
    if body.before >= allowed:
        return 0.0
    if body.last < allowed:
        return inf
    if body.time is None:
        return 0.0
    with np.errstate(divide="ignore"):
        share = np.divide(body.last - body.before, body.last - allowed)
    return float(body.time * np.log(share))
