"""What the virtual test circuits read, defined as a data sheet's footnotes define it.

* R_DS(on), transfer, threshold, V_SD: voltage at the test current on a slow ramp.
* C_iss, C_oss, C_rss: current over slope in the middle of a ramp through the test voltage
  (quantities of IEC 60747-8, clauses 6.3.10 to 6.3.12: contents list read, not their text).
* Q_gs, Q_gd, plateau: two tangents (see `gate_charge`).
* Recovery: the diode's own current, output capacitance left out. I_RM its reverse peak; t_rr by
  the definition named (JEDEC JESD77-B and JESD282-B, alternatives 2 and 3); Q_rr its integral to
  the end; JEDEC's definition counts the capacitance's charge with it, ours does not.
* E_on, E_off: integral of drain voltage and drain current over the whole transition, from the
  command until both the voltage's and the current's change are over (our window).
* Avalanche: from turn-off until the current is gone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Vectors = dict[str, Array]


def at_level(axis: Array, values: Array, level: float, after: float = -np.inf) -> float:
    """Axis at which values first pass a level after an axis point, by straight line; NaN if never.

    The axis rises; units are those of the arguments.
    """
    over = values >= level
    passed = np.flatnonzero((over[1:] != over[:-1]) & (axis[1:] > after))
    if len(passed) == 0:
        return float("nan")
    k = int(passed[0])
    share = (level - values[k]) / (values[k + 1] - values[k])
    return float(axis[k] + share * (axis[k + 1] - axis[k]))


def at(axis: Array, values: Array, point: float) -> float:
    """Value at a point of the axis, by straight line."""
    return float(np.interp(point, axis, values))


def area(time: Array, values: Array) -> float:
    """Integral by trapezia."""
    return float(np.trapezoid(values, time))


def voltage_at_current(vectors: Vectors, number: int, current: float, sense: float) -> float:
    """Drain voltage of switch `number` of the output test where it carries a current [V].

    Parameters: current [A], sense resistor [ohm].
    """
    drain = vectors[f"v(d{number})"]
    carried = (vectors["v(ramp)"] - drain) / sense
    moment = at_level(vectors["time"], carried, current)
    return at(vectors["time"], drain, moment)


def forward_voltage(vectors: Vectors, current: float, resistor: float) -> float:
    """V_SD at a current through the output test's forward resistor [V]."""
    carried = (vectors["v(df)"] - vectors["v(fw)"]) / resistor
    moment = at_level(vectors["time"], carried, current)
    return -at(vectors["time"], vectors["v(df)"], moment)


def gate_voltage_at(vectors: Vectors, current: float) -> float:
    """V_GS at which the transfer test's drain carries a current [V]."""
    drain = (vectors["v(vdd)"] - vectors["v(d1)"]) / 1e-3
    moment = at_level(vectors["time"], drain, current)
    return at(vectors["time"], vectors["v(g1)"] - vectors["v(k1)"], moment)


def steepness(vectors: Vectors, current: float) -> float:
    """Transconductance at a current: slope of the transfer curve over a tenth around it [S]."""
    low, high = 0.95 * current, 1.05 * current
    return (high - low) / (gate_voltage_at(vectors, high) - gate_voltage_at(vectors, low))


def threshold(vectors: Vectors, current: float, sense: float) -> float:
    """V_GS(th), drain tied to gate, at a current through the sense resistor [V]."""
    carried = (vectors["v(th)"] - vectors["v(d2)"]) / sense
    moment = at_level(vectors["time"], carried, current)
    return at(vectors["time"], vectors["v(d2)"] - vectors["v(k2)"], moment)


def capacitances(
    vectors: Vectors,
    moments: tuple[float, float, float],
    slopes: tuple[float, float],
    sense: float,
) -> dict[str, float]:
    """C_iss ("input"), C_oss ("output"), C_rss ("reverse") at one voltage [F].

    The drain's leakage, read at rest, is taken off its current.

    Parameters: moments at rest, in the middle of the drain's ramp, and of the gate's [s]; slopes
    of drain and gate [V/s]; sense resistors [ohm].
    """
    time = vectors["time"]
    rest, drain_time, gate_time = moments
    into_drain = (vectors["v(vd)"] - vectors["v(d1)"]) / sense
    out_of_gate = (vectors["v(g1)"] - vectors["v(vg)"]) / sense
    displaced = at(time, into_drain, drain_time) - at(time, into_drain, rest)
    return {
        "input": -at(time, out_of_gate, gate_time) / slopes[1],
        "output": displaced / slopes[0],
        "reverse": at(time, out_of_gate, drain_time) / slopes[0],
    }


@dataclass(frozen=True)
class GateCharge:
    """Figures of the gate-charge test.

    Fields
    ------
    gate_source : Q_gs [C]
    gate_drain : Q_gd [C]
    total : Q_g [C]
    plateau : V_GS where V_DS is half the supply [V]
    charge, gate_voltage : the curve [C], [V]
    """

    gate_source: float
    gate_drain: float
    total: float
    plateau: float
    charge: Array
    gate_voltage: Array


def gate_charge(
    vectors: Vectors, gate_current: float, supply: float, gate_voltage: float
) -> GateCharge:
    """Gate charge by two tangents.

    Q_gs ends where the first straight rise (its slope between 30 and 70 % of the plateau) meets
    the plateau; Q_gd ends where the last one (slope over the last fifth of the way from the
    plateau to `gate_voltage`), extended back, meets it; Q_g is counted at `gate_voltage`.
    Common practice with printed curves, no source.

    Parameters: gate_current [A], supply V_DD [V], gate_voltage [V].
    """
    time, gate = vectors["time"], vectors["v(g1)"] - vectors["v(k1)"]
    steps = 0.5 * (vectors["v(gate)"][1:] + vectors["v(gate)"][:-1]) * np.diff(time)
    charge = np.concatenate(([0.0], np.cumsum(steps)))
    begin = at_level(time, vectors["v(gate)"], 0.5 * gate_current)
    middle = at_level(time, -vectors["v(d1)"], -0.5 * supply, begin)
    plateau = at(time, gate, middle)

    def charge_at(level: float) -> float:
        return at(time, charge, at_level(time, gate, level, begin))

    low, high = charge_at(0.3 * plateau), charge_at(0.7 * plateau)
    first = low + (high - low) * 0.7 / 0.4
    total = charge_at(gate_voltage)
    second = total - 5.0 * (total - charge_at(0.8 * gate_voltage + 0.2 * plateau))
    return GateCharge(first, second - first, total, plateau, charge, gate)


@dataclass(frozen=True)
class DiodeRecovery:
    """Recovery of the upper switch's body diode.

    Fields
    ------
    forward_current : just before the ramp [A]
    slope : di/dt from half the forward current to half of I_RM [A/s]
    peak : I_RM [A]
    charge : Q_rr of the diode alone [C]
    times : t_rr by each definition [s]
    """

    forward_current: float
    slope: float
    peak: float
    charge: float
    times: dict[str, float]


def diode_current(vectors: Vectors, number: int, series_resistance: float) -> Array:
    """Current of a switch's body diode, without its capacitance, forward positive [A]."""
    drop = vectors[f"v(xq{number}.si)"] - vectors[f"v(xq{number}.da)"]
    return drop / series_resistance


def diode_recovery(vectors: Vectors, command: float, series_resistance: float) -> DiodeRecovery:
    """Recovery after a command [s], from the diode's own current.

    Parameters: series_resistance of the diode [ohm].
    """
    time, current = vectors["time"], diode_current(vectors, 1, series_resistance)
    forward = at(time, current, command)
    zero = at_level(time, -current, 0.0, command)
    if np.isnan(zero):  # it never conducted, or never let go
        nothing = dict.fromkeys(("10 %", "25 %", "90/25 line"), np.nan)
        return DiodeRecovery(forward, np.nan, np.nan, np.nan, nothing)
    after = time > zero
    reverse, moments = -current[after], time[after]
    at_peak = int(np.argmax(reverse))
    peak, top = float(reverse[at_peak]), float(moments[at_peak])
    early = at_level(time, -current, -0.5 * forward, command)
    late = at_level(time, -current, 0.5 * peak, command)
    fallen = {share: at_level(moments, -reverse, -share * peak, top) for share in (0.9, 0.25, 0.1)}
    line = fallen[0.25] + (fallen[0.25] - fallen[0.9]) * 0.25 / 0.65
    ends = {"10 %": fallen[0.1], "25 %": fallen[0.25], "90/25 line": line}
    return DiodeRecovery(
        forward_current=forward,
        slope=0.5 * (forward + peak) / (late - early),
        peak=peak,
        charge=area(np.insert(moments, 0, zero), np.insert(reverse, 0, 0.0)),
        times={name: end - zero for name, end in ends.items()},
    )


@dataclass(frozen=True)
class SwitchingEnergy:
    """Energies of one double pulse.

    Fields
    ------
    turn_on : E_on [J]
    turn_off : E_off [J]
    peak_current : largest drain current at turn-on [A]
    peak_voltage : largest drain voltage, across the leads, at turn-off [V]
    """

    turn_on: float
    turn_off: float
    peak_current: float
    peak_voltage: float


def switching_energy(
    vectors: Vectors, turn_off: float, turn_on: float, window: float
) -> SwitchingEnergy:
    """Energies of the lower switch in a window [s] after its commands [s].

    The conduction loss after turn-on, at the last voltage and current of the window, is taken
    off; ringing counts, as it does in a real test.
    """
    time, voltage = vectors["time"], vectors["v(d2)"]
    current = (vectors["v(a)"] - voltage) / 1e-3
    on = (time >= turn_on) & (time <= turn_on + window)
    off = (time >= turn_off) & (time <= turn_off + window)
    rest = at(time, voltage * current, turn_on + window)
    fallen = at_level(time, -voltage, -0.05 * float(voltage[on].max()), turn_on)
    return SwitchingEnergy(
        turn_on=area(time[on], (voltage * current)[on]) - rest * (turn_on + window - fallen),
        turn_off=area(time[off], (voltage * current)[off]),
        peak_current=float(current[on].max()),
        peak_voltage=float(voltage[off].max()),
    )


def tail(vectors: Vectors, turn_off: float, lifetime: float) -> tuple[float, float]:
    """Time in which the lower switch's tail falls to 1/e [s], and its current one lifetime after
    the channel went off [A].

    From the collector current one and two lifetimes after it fell below half of what it was at
    turn_off [s]; lifetime [s] only says where to look. Source: two points of an exponential.
    """
    time = vectors["time"]
    current = (vectors["v(a)"] - vectors["v(d2)"]) / 1e-3
    begin = at_level(time, -current, -0.5 * at(time, current, turn_off), turn_off)
    first, second = (at(time, current, begin + k * lifetime) for k in (1.0, 2.0))
    return lifetime / float(np.log(first / second)), first


def bipolar_current(vectors: Vectors, number: int) -> Array:
    """Bipolar current of an IGBT, without its channel's [A]."""
    return (vectors[f"v(xq{number}.dj)"] - vectors[f"v(xq{number}.db)"]) / 1e-3


def tail_energy(vectors: Vectors, turn_off: float) -> float:
    """Energy of an IGBT's bipolar current from a command on [s], in [J]."""
    time = vectors["time"]
    volts = vectors["v(xq1.di)"] - vectors["v(xq1.si)"]
    after = time >= turn_off
    return area(time[after], (volts * bipolar_current(vectors, 1))[after])


@dataclass(frozen=True)
class Avalanche:
    """Figures of the unclamped inductive test.

    Fields
    ------
    voltage : mean drain voltage at the chip while the current falls from 90 to 10 % [V]
    energy : into the chip from turn-off until the current is gone [J]
    current : at turn-off [A]
    """

    voltage: float
    energy: float
    current: float


def avalanche(vectors: Vectors, turn_off: float) -> Avalanche:
    """Avalanche voltage, energy and current after turn-off [s]."""
    time = vectors["time"]
    current = (vectors["v(a)"] - vectors["v(d1)"]) / 1e-3
    voltage = vectors["v(xq1.di)"] - vectors["v(xq1.si)"]
    start = at(time, current, turn_off)
    high = at_level(time, -current, -0.9 * start, turn_off)
    low = at_level(time, -current, -0.1 * start, turn_off)
    end = at_level(time, -current, 0.0, turn_off)
    inside = (time >= high) & (time <= low)
    whole = (time >= turn_off) & (time <= end)
    return Avalanche(
        voltage=area(time[inside], voltage[inside]) / float(np.ptp(time[inside])),
        energy=area(time[whole], (voltage * current)[whole]),
        current=start,
    )
