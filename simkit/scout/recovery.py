"""Peak of a body diode's reverse current, for the fast model's estimate of a switch's peak."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.scout.plant import Array


@dataclass(frozen=True)
class Recovery:
    """Body diode for the estimate of the switch's peak: slope [A/s], lifetime and transit [s]."""

    slope: float
    lifetime: float
    transit_time: float

    def peak(self, forward: Array) -> Array:
        """Peak reverse current [A] after a ramp from a forward current [A].

        I_RM = a (tau - tau_rr) (1 - exp(-T1/tau)), T1 = (I_F + I_RM)/a, 1/tau_rr = 1/tau + 1/T_M
        (Lauritzen and Ma, IEEE Trans. Power Electronics 6(2), 1991; recalled from memory),
        iterated: the map shrinks every error by (tau - tau_rr)/tau or more.
        """
        tau, ramp = self.lifetime, self.slope
        height = ramp * (tau - 1.0 / (1.0 / tau + 1.0 / self.transit_time))
        peak = np.zeros_like(forward)
        for _ in range(200):
            peak = height * -np.expm1(-(forward + peak) / (ramp * tau))
        return peak
