"""Gate drive: resistor, delays, power, and the gate transformer.

The gate loop is taken as a resistance, an inductance and the input capacitance in series, as
it is while the drain stands still; on the plateau the charge Q_gd is moved at a fixed voltage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simkit.parts.inputs import not_negative, positive


@dataclass(frozen=True)
class GateLoop:
    """What lies in series between driver and gate.

    Fields
    ------
    inductance : leads and leakage of a gate transformer [H]
    input_capacitance : C_iss [F]
    driver_resistance : of the driver's output [ohm]
    internal_resistance : inside the switch [ohm]
    resistor : the external gate resistor [ohm]
    """

    inductance: float
    input_capacitance: float
    driver_resistance: float
    internal_resistance: float
    resistor: float

    def __post_init__(self) -> None:
        positive(inductance=self.inductance, input_capacitance=self.input_capacitance)
        rest = ("driver_resistance", "internal_resistance", "resistor")
        not_negative(**{name: getattr(self, name) for name in rest})

    @property
    def resistance(self) -> float:
        """All in series [ohm]."""
        return self.driver_resistance + self.internal_resistance + self.resistor


@dataclass(frozen=True)
class Delays:
    """An edge at the gate.

    Fields
    ------
    delay : from the driver's edge to the threshold (on) or to the plateau (off) [s]
    plateau : while the drain moves, Q_gd at the plateau's current [s]
    outside : notes on the range, see `ranged.Figure`
    """

    delay: float
    plateau: float
    outside: tuple[str, ...] = ()


def loop_damping(loop: GateLoop) -> float:
    """Damping ratio of the gate loop: zeta = (R/2) sqrt(C/L) [1].

    Source: series resonant circuit, textbook. Exact for constant L and C.
    """
    return 0.5 * loop.resistance * math.sqrt(loop.input_capacitance / loop.inductance)


def suggested_resistor(loop: GateLoop, damping: float = 1.0) -> float:
    """External resistor that damps the gate loop: 2 zeta sqrt(L/C) less what is there [ohm].

    `damping` zeta wanted [1]; 1 is critical: no overshoot. Never below 0. The loop's own
    resistor is left out of account. ValueError for a damping not above 0. Source: series
    resonant circuit, textbook. Range: C taken at its value with the drain low (the largest);
    with the drain high it is smaller and the loop less damped.
    """
    positive(damping=damping)
    whole = 2.0 * damping * math.sqrt(loop.inductance / loop.input_capacitance)
    return max(0.0, whole - loop.driver_resistance - loop.internal_resistance)


def ring_frequency(loop: GateLoop) -> float:
    """Frequency of the damped ring: sqrt(1 - zeta^2)/(2 pi sqrt(L C)) [Hz]; 0 when it does not.

    With the leakage of a gate transformer in L this is its leakage ring. Source: series
    resonant circuit, textbook. Exact for constant L and C.
    """
    free = 1.0 / (2.0 * math.pi * math.sqrt(loop.inductance * loop.input_capacitance))
    return free * math.sqrt(max(0.0, 1.0 - loop_damping(loop) ** 2))


def overshoot(loop: GateLoop) -> float:
    """First overshoot of the gate voltage over the driver's step [1].

    exp(-pi zeta/sqrt(1 - zeta^2)); 0 from critical damping on. Source: step response of a
    second-order system, textbook. Exact for constant L and C and an ideal step; a driver
    slower than the ring overshoots less.
    """
    zeta = loop_damping(loop)
    if zeta >= 1.0:
        return 0.0
    return math.exp(-math.pi * zeta / math.sqrt(1.0 - zeta**2))


def peak_driver_current(loop: GateLoop, step: float) -> float:
    """Largest current the driver must give for a step of its voltage [A].

    I = V sqrt(C/L) exp(-zeta t), t = atan(w/zeta)/w in units of sqrt(L C), the first peak of
    the series circuit, with w = sqrt(1 - zeta^2); above critical damping atanh for atan and
    w = sqrt(zeta^2 - 1). `step` V [V]. Source: current of a series resonant circuit, textbook.
    Exact for constant L and C; tends to V/R for large damping.
    """
    zeta = loop_damping(loop)
    scale = step * math.sqrt(loop.input_capacitance / loop.inductance)
    if math.isclose(zeta, 1.0, rel_tol=1e-6):
        return scale * math.exp(-1.0)
    root = math.sqrt(abs(1.0 - zeta**2))
    # tan(w t) = w/zeta at the peak; above critical damping tanh takes its place.
    time = math.atan2(root, zeta) / root if zeta < 1.0 else math.atanh(root / zeta) / root
    return scale * math.exp(-zeta * time)


def drive_power(charge: float, swing: float, frequency: float) -> float:
    """Power a driver spends on one gate: P = Q_g dV f [W].

    `charge` Q_g over the `swing` dV [C], [V], `frequency` [Hz]. ValueError for values below
    0. Source: energy from a fixed supply, common practice, no source. Exact; independent of
    the resistors, which share the heat.
    """
    not_negative(charge=charge, swing=swing, frequency=frequency)
    return charge * swing * frequency


def droop(magnetising: float, resistance: float, on_time: float) -> float:
    """Share of its step a transformer's output has lost at the end of the pulse [1].

    1 - exp(-R t/L_m), R the source and primary resistance as the magnetising current sees it
    (parallel to a reflected load). `magnetising` L_m [H], `resistance` R [ohm], `on_time` t
    [s]. ValueError for values not above 0. Source: step response of an RL circuit, textbook.
    Exact below saturation.
    """
    positive(magnetising=magnetising, resistance=resistance, on_time=on_time)
    return -math.expm1(-resistance * on_time / magnetising)
