"""Lumped-charge diode with soft recovery: what a ramp turn-off gives, and the fit from it.

Model, with q_E the charge at the junction and q_M the charge stored in the middle:

    i = (q_E - q_M) / T_M,    dq_M/dt + q_M / tau = (q_E - q_M) / T_M

Steady forward conduction stores q_M = tau I_F. When the current falls along a ramp of slope a,
q_E reaches zero at T1; from there the reverse current only decays. Source of model and solution:
Lauritzen and Ma, "A simple diode model with reverse recovery", IEEE Trans. Power Electronics
6(2), 1991, pp. 188-191, equations 1 to 12 (equation numbers recalled from memory; every
solution here is derived from the two lines above and tested against their integration).

Range of validity: the ramp must be straight from I_F to the peak, and conduction must have lasted
several tau before. The model keeps one charge: a real diode's snap-off at the end of its stored
charge, and the change of tau with injection, are outside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, expm1, log, sqrt
from typing import Literal

import numpy as np

Definition = Literal["10 %", "25 %", "90/25 line"]
"""How the end of t_rr is found; each after the peak of the reverse current.

* "10 %", "25 %": the reverse current has fallen to that share of its peak
  (JEDEC JESD77-B, JESD282-B, "reverse recovery time", alternative 3: a specified low value);
* "90/25 line": the straight line through the points at 90 % and at 25 % of the peak reaches zero
  (the same, alternative 2; points as in IEC 60747-8, recalled from memory).
"""
DEFINITIONS: tuple[Definition, ...] = ("10 %", "25 %", "90/25 line")
TAIL = {"10 %": log(10.0), "25 %": log(4.0), "90/25 line": log(1 / 0.9) + log(3.6) * 0.9 / 0.65}
"""Time from the peak to the end of t_rr over the decay time constant [1]."""


@dataclass(frozen=True)
class RampRecovery:
    """Recovery after a ramp turn-off.

    Fields
    ------
    forward_current : I_F before the ramp [A]
    slope : di/dt, positive [A/s]
    storage_end : T1, from the ramp's start to the peak [s]
    peak : I_RM, positive [A]
    rise : t_a, zero crossing to peak [s]
    decay : tau_rr, time constant after the peak [s]
    """

    forward_current: float
    slope: float
    storage_end: float
    peak: float
    rise: float
    decay: float

    @property
    def charge(self) -> float:
        """Q_rr, reverse current from zero crossing to its end at infinity [C].

        Q_rr = I_RM t_a / 2 + I_RM tau_rr.
        """
        return self.peak * (0.5 * self.rise + self.decay)

    def time(self, definition: Definition) -> float:
        """t_rr, zero crossing to the end that the definition names [s].

        t_rr = t_a + k tau_rr, k = ln 10, ln 4, or ln(1/0.9) + (0.9/0.65) ln 3.6.
        """
        return self.rise + TAIL[definition] * self.decay


def stored_charge(time: float, forward: float, slope: float, lifetime: float) -> float:
    """Charge q_M while the current falls as i = I_F - a t, from steady conduction [C].

    q_M = a tau (I_F/a + tau - t - tau exp(-t/tau)), the solution of dq/dt = i - q/tau with
    q(0) = tau I_F.

    Parameters: time t since the ramp began [s], forward I_F [A], slope a [A/s], lifetime
    tau [s]. Valid until the junction blocks (t <= T1). Source: Lauritzen and Ma 1991, their
    charge equation.
    """
    ramp = forward / slope - time
    return slope * lifetime * (ramp - lifetime * expm1(-time / lifetime))


def decay_time(lifetime: float, transit_time: float) -> float:
    """Time constant of the reverse current after its peak, 1/tau_rr = 1/tau + 1/T_M [s].

    Parameters: lifetime tau [s], transit_time T_M [s]. Source: Lauritzen and Ma 1991. Exact
    for the model.
    """
    return 1.0 / (1.0 / lifetime + 1.0 / transit_time)


def ramp_recovery(
    forward: float, slope: float, lifetime: float, transit_time: float
) -> RampRecovery:
    """Recovery of a lumped-charge diode turned off by a straight ramp.

    T1 is the root of q_E = q_M + T_M i = 0, that is of a (T1 - I_F/a) T_M = q_M(T1).

    Parameters: forward I_F [A], slope a = -di/dt [A/s], lifetime tau [s], transit_time T_M
    [s], all positive. Source: Lauritzen and Ma 1991. Range: a straight ramp from steady
    conduction, held through the recovery.
    """
    from scipy.optimize import brentq

    start = forward / slope

    def junction_charge(time: float) -> float:
        charge = stored_charge(time, forward, slope, lifetime)
        return (charge - slope * (time - start) * transit_time) / (lifetime * forward)

    # q_M never exceeds tau I_F, so that the peak is below tau I_F / T_M.
    latest = start + lifetime * start / transit_time
    end = float(brentq(junction_charge, start, latest, xtol=1e-7 * start, rtol=1e-13))
    rise = end - start
    return RampRecovery(forward, slope, end, slope * rise, rise, decay_time(lifetime, transit_time))


@dataclass(frozen=True)
class LumpedCharge:
    """Diode values from a fit.

    Fields
    ------
    lifetime : tau [s]
    transit_time : T_M [s]
    """

    lifetime: float
    transit_time: float


def from_peak_and_decay(forward: float, slope: float, peak: float, decay: float) -> LumpedCharge:
    """tau and T_M that give a peak and a decay time constant after a ramp.

    I_RM = a (tau - tau_rr) (1 - exp(-T1/tau)) with T1 = (I_F + I_RM)/a, solved for tau; then
    1/T_M = 1/tau_rr - 1/tau (Lauritzen and Ma 1991, recalled from memory; the root of q_E = 0).
    The right side grows from 0 at tau = tau_rr towards I_F + I_RM, so there is one root always.

    Parameters: forward I_F [A], slope a [A/s], peak I_RM [A], decay tau_rr [s]. Source: as
    named. Range: any positive figures; the ramp as for `ramp_recovery`.
    """
    from scipy.optimize import brentq

    storage = (forward + peak) / slope

    def excess(log_ratio: float) -> float:
        # tau = tau_rr (1 + e^x): both tau near tau_rr and tau far above it are reached.
        lifetime = decay * (1.0 + exp(log_ratio))
        return slope * (lifetime - decay) * -expm1(-storage / lifetime) / peak - 1.0

    ratio = exp(float(brentq(excess, -40.0, 40.0, xtol=1e-12)))
    lifetime = decay * (1.0 + ratio)
    return LumpedCharge(lifetime, lifetime / ratio)


@dataclass(frozen=True)
class Given:
    """What a data sheet says of one recovery: any two of the three figures, or all.

    Fields
    ------
    forward_current : I_F [A]
    slope : di/dt, positive [A/s]
    definition : how the end of t_rr was found
    time : t_rr [s], None when not given
    charge : Q_rr without the charge of the output capacitance [C], None when not given
    peak : I_RM [A], None when not given
    """

    forward_current: float
    slope: float
    definition: Definition
    time: float | None = None
    charge: float | None = None
    peak: float | None = None


def fit_pair(given: Given, leave_out: str) -> LumpedCharge | None:
    """Diode values from two of the three figures, or None when no diode has both.

    A pair gives the triangle and tail of the reverse current in closed form, with t_a = I/a and
    t_rr = t_a + k tau_rr, Q_rr = I t_a/2 + I tau_rr:
    * I_RM and t_rr: tau_rr = (t_rr - I/a)/k;
    * I_RM and Q_rr: tau_rr = Q/I - t_a/2;
    * t_rr and Q_rr: the root of (1/2 - 1/k) I^2/a + (t_rr/k) I - Q = 0 with 0 < I < a t_rr.

    Parameters: leave_out is the figure not used: "time", "charge" or "peak". Units [s],
    [C], [A]. Source: the model of `ramp_recovery`, integrated by hand. Range as there.
    """
    slope, tail = given.slope, TAIL[given.definition]
    time, charge, peak = given.time, given.charge, given.peak
    if leave_out == "peak":
        peak = _peak_of(slope, tail, time or 0.0, charge or 0.0)
        decay = ((time or 0.0) - peak / slope) / tail if peak else 0.0
    elif leave_out == "charge":
        decay = ((time or 0.0) - (peak or 0.0) / slope) / tail
    else:
        decay = (charge or 0.0) / (peak or 1.0) - 0.5 * (peak or 0.0) / slope
    if not peak or decay <= 0.0:
        return None
    return from_peak_and_decay(given.forward_current, slope, peak, decay)


def _peak_of(slope: float, tail: float, time: float, charge: float) -> float | None:
    """Peak of the reverse current that has both t_rr and Q_rr; None when none has [A]."""
    square, linear = (0.5 - 1.0 / tail) / slope, time / tail
    if not 0.0 < charge < 0.5 * slope * time**2:
        return None
    if abs(square) * charge < 1e-9 * linear**2:
        return charge / linear
    root = sqrt(linear**2 + 4.0 * square * charge)
    # This form of the root keeps its digits, and is the one that lies between 0 and a t_rr.
    return 2.0 * charge / (linear + root)


ALLOWED = 0.15
"""Share by which a third figure may miss what the other two demand: the spread of a reading
from an oscilloscope or a printed curve (common practice, no source)."""
FIGURES = ("time", "charge", "peak")


@dataclass(frozen=True)
class DiodeFit:
    """Diode values and how well the given figures agree with each other.

    Fields
    ------
    diode : tau and T_M
    contradictions : one sentence per figure that cannot stand beside the other two, saying what
        it would have to be; empty when the figures agree or only two were given
    """

    diode: LumpedCharge
    contradictions: tuple[str, ...]


def fit_recovery(given: Given) -> DiodeFit:
    """Diode values from two or three figures of one recovery.

    Two figures are met exactly. With three, those values are taken that miss them by the least
    sum of squared relative deviations, and each figure that lies more than 15 % from what the
    other two demand is named, with what it would have to be.

    Errors: ValueError when fewer than two figures are given, or when no lumped-charge diode
    has the two that are (Q_rr must be below a t_rr^2/2; t_rr above I_RM/a; Q_rr above
    I_RM^2/(2a)). Units [s], [C], [A]. Source: least squares, own choice; the model of
    `ramp_recovery`, its range.
    """
    values = {name: getattr(given, name) for name in FIGURES}
    missing = [name for name, value in values.items() if value is None]
    if len(missing) > 1:
        raise ValueError("two of t_rr, Q_rr and I_RM are needed")
    if missing:
        diode = fit_pair(given, missing[0])
        if diode is None:
            raise ValueError(impossible(given, missing[0]))
        return DiodeFit(diode, ())
    pairs = {name: fit_pair(given, name) for name in FIGURES}
    found = [diode for diode in pairs.values() if diode is not None]
    if not found:
        raise ValueError("no two of t_rr, Q_rr and I_RM can be together: check them and di/dt")
    return DiodeFit(_closest(given, found), _contradictions(given, pairs))


def impossible(given: Given, leave_out: str) -> str:
    """Why the two figures other than the one left out cannot be together.

    A sentence with figures in [s], [C] and [A]. Source and range as for `fit_pair`.
    """
    slope = given.slope
    if leave_out == "peak":
        most = 0.5 * slope * (given.time or 0.0) ** 2
        return (
            f"Q_rr = {given.charge:.4g} C cannot be with t_rr = {given.time:.4g} s at "
            f"{slope:.4g} A/s: even an abrupt recovery has no more than a t_rr^2/2 = {most:.4g} C"
        )
    peak = given.peak or 0.0
    if leave_out == "charge":
        return (
            f"t_rr = {given.time:.4g} s cannot be with I_RM = {peak:.4g} A at {slope:.4g} A/s: "
            f"the current alone needs I_RM/a = {peak / slope:.4g} s to get there"
        )
    return (
        f"Q_rr = {given.charge:.4g} C cannot be with I_RM = {peak:.4g} A at {slope:.4g} A/s: "
        f"the rise alone carries I_RM^2/(2a) = {0.5 * peak**2 / slope:.4g} C"
    )


def figures(given: Given, diode: LumpedCharge) -> dict[str, float]:
    """t_rr [s], Q_rr [C] and I_RM [A] of a diode under the given conditions.

    Source and range as for `ramp_recovery`.
    """
    ramp = ramp_recovery(given.forward_current, given.slope, diode.lifetime, diode.transit_time)
    return {"time": ramp.time(given.definition), "charge": ramp.charge, "peak": ramp.peak}


def _closest(given: Given, starts: list[LumpedCharge]) -> LumpedCharge:
    from scipy.optimize import least_squares

    def misses(logs: np.ndarray) -> np.ndarray:
        got = figures(given, LumpedCharge(exp(logs[0]), exp(logs[1])))
        return np.array([log(got[name] / getattr(given, name)) for name in FIGURES])

    tries = [least_squares(misses, np.log([d.lifetime, d.transit_time])) for d in starts]
    best = min(tries, key=lambda result: float(result.cost))
    return LumpedCharge(exp(best.x[0]), exp(best.x[1]))


SYMBOLS = {"time": "t_rr", "charge": "Q_rr", "peak": "I_RM"}
UNITS = {"time": "s", "charge": "C", "peak": "A"}


def _contradictions(given: Given, pairs: dict[str, LumpedCharge | None]) -> tuple[str, ...]:
    sentences = []
    for name, diode in pairs.items():
        if diode is None:
            sentences.append(impossible(given, name))
            continue
        value, wanted = getattr(given, name), figures(given, diode)[name]
        if abs(value / wanted - 1.0) > ALLOWED:
            others = " and ".join(SYMBOLS[other] for other in FIGURES if other != name)
            sentences.append(
                f"{SYMBOLS[name]} = {value:.4g} {UNITS[name]} contradicts {others}: with those "
                f"it would have to be {wanted:.4g} {UNITS[name]}"
            )
    return tuple(sentences)
