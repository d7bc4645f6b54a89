"""From data-sheet numbers to circuit values: least squares with bounds, section by section.

Threshold and steepness first (they stand alone), then the drift region from R_DS(on), then the
capacitances together with the gate charge, then the body diode.

Source of the equations: `mosfet` and `diode`. Every residual is the logarithm of obtained over
given, so that a picofarad and a nanofarad weigh alike; the threshold counts ten times, because
a gate drive lives on tenths of a volt there (our choice).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

import numpy as np

from simkit.parameters.part import (
    CapacitancePoint,
    Diode,
    GateCharge,
    Mosfet,
    RecoveryPoint,
    Transfer,
)
from simkit.parameters.switch import BodyDiode, Channel, Switch, Warming
from simkit.parts import mosfet
from simkit.parts.diode import DiodeFit, Given, fit_recovery

THERMAL_VOLTAGE = 0.025864922
"""k T / q at 300.15 K, the engine's default temperature [V]."""
COLD = 25.0
"""Junction temperature of the data sheet's figures [degC]."""
ZERO_CELSIUS = 273.15
THRESHOLD_WEIGHT = 10.0


@dataclass(frozen=True)
class Sheet:
    """What a channel is fitted to, whatever the kind of switch.

    Fields
    ------
    gate_resistance : inside the chip [ohm]
    on_resistance : of channel and drift region, a first guess for the capacitances [ohm]
    breakdown_voltage : [V]
    transfer, capacitance, gate_charge : as a part file has them, currents those of the channel
    """

    gate_resistance: float
    on_resistance: float
    breakdown_voltage: float
    transfer: Transfer
    capacitance: tuple[CapacitancePoint, ...]
    gate_charge: GateCharge


def sheet_of(part: Mosfet) -> Sheet:
    """The channel's part of a MOSFET's data sheet [all SI]. Source: the part file. Exact."""
    return Sheet(
        part.gate_resistance, part.on_resistance.cold, part.avalanche.voltage, part.transfer,
        part.capacitance, part.gate_charge,
    )  # fmt: skip


@dataclass(frozen=True)
class Fitted:
    """Circuit values of one MOSFET at one junction temperature.

    Fields
    ------
    switch : what a machine file would hold
    recovery : the recovery point the diode was fitted to
    contradictions : sentences on given figures that cannot be together
    """

    switch: Switch
    recovery: RecoveryPoint
    contradictions: tuple[str, ...]


def switch_from_part(part: Mosfet, junction_temperature: float = COLD) -> Switch:
    """The part as the switch of a machine file [all SI].

    Parameters: junction_temperature [degC], that of R_DS(on) and of the recovery figures
    chosen. Source and range as for `fit`.
    """
    return fit(part, junction_temperature).switch


def fit(part: Mosfet, junction_temperature: float = COLD) -> Fitted:
    """All circuit values of a part, at a junction temperature [degC].

    R_DS(on) moves with temperature (`resistance_exponent`); of several recovery points the one
    measured nearest to the temperature counts. Threshold, transconductance and capacitances are
    those of 25 degC.

    Errors: ValueError when two recovery figures cannot be together, or the channel cannot
    carry the test current. Source: the laws of `mosfet` and `diode`; least squares, own
    choice. Range: between the part's given points; what the circuit then returns is what
    `simkit part` reports.
    """
    channel = fit_channel(part, junction_temperature)
    recovery = nearest_recovery(part, junction_temperature)
    recovering = fit_recovery(given_recovery(recovery))
    switch = Switch(
        name=part.title,
        channel=channel,
        diode=body_diode(part.diode, recovering),
        package=part.package,
        ratings=part.ratings,
        warming=Warming(
            junction_temperature=junction_temperature,
            resistance_exponent=resistance_exponent(part),
        ),
    )
    return Fitted(switch, recovery, recovering.contradictions)


def fit_channel(part: Mosfet, junction_temperature: float = COLD) -> Channel:
    """Channel, drift region and capacitances at a junction temperature [degC].

    Source and range as for `fit`.
    """
    sheet = sheet_of(part)
    threshold, steepness = fit_transfer(sheet)
    start = channel_start(sheet, threshold, steepness)
    test = part.on_resistance
    wanted = test.cold * _kelvin_ratio(junction_temperature) ** resistance_exponent(part)
    channel = mosfet.channel_resistance(start, test.gate_voltage, test.drain_current)
    if channel >= wanted:
        raise ValueError(
            f"R_DS(on) = {wanted:.4g} ohm is less than the {channel:.4g} ohm that the transfer "
            f"curve leaves at V_GS = {test.gate_voltage:g} V: check threshold and transconductance"
        )
    return fit_capacitances(sheet, start.model_copy(update={"drain_resistance": wanted - channel}))


def resistance_exponent(part: Mosfet) -> float:
    """Exponent x of R_DS(on) = R_25 (T/298.15 K)^x through the two given points [1].

    A power law of the absolute temperature, as the mobility follows (2.2 to 2.5 for
    electrons in lightly doped silicon: Sze, Physics of Semiconductor Devices, recalled from
    memory). Source: as named. Range: between the two given
    temperatures, or somewhat beyond.
    """
    test = part.on_resistance
    return log(test.hot / test.cold) / log(_kelvin_ratio(test.hot_temperature))


def _kelvin_ratio(celsius: float) -> float:
    return (celsius + ZERO_CELSIUS) / (COLD + ZERO_CELSIUS)


def fit_transfer(part: Sheet) -> tuple[float, float]:
    """V_TO [V] and KP [A/V^2] from threshold, transconductance, points and plateau.

    Source: the square law of `mosfet`. Range: the given currents; far above them a real
    part carries less.
    """
    from scipy.optimize import least_squares

    given, charge = part.transfer, part.gate_charge
    points = [(p.gate_voltage, p.drain_current) for p in given.points]
    if charge.plateau is not None:
        points.append((charge.plateau, charge.drain_current))
    slope, slope_current = given.transconductance, given.transconductance_current

    def misses(x: np.ndarray) -> np.ndarray:
        channel = channel_start(part, float(x[0]), exp(float(x[1])))
        at_threshold = mosfet.gate_voltage_for(channel, given.threshold_current)
        found = [THRESHOLD_WEIGHT * log(at_threshold / given.threshold)]
        found += [log(mosfet.gate_voltage_for(channel, i) / v) for v, i in points]
        if slope is not None and slope_current is not None:
            found.append(log(mosfet.transconductance(channel, slope_current) / slope))
        return np.array(found)

    start = [given.threshold, log(10.0)]
    bounds = ([0.3 * given.threshold, log(1e-2)], [1.3 * given.threshold, log(5e3)])
    result = least_squares(misses, start, bounds=bounds)
    return float(result.x[0]), exp(float(result.x[1]))


def channel_start(part: Sheet, threshold: float, steepness: float) -> Channel:
    """A channel of V_TO [V] and KP [A/V^2] with its capacitances at a first guess [F].

    Source: own choice. Range: a start for `fit_capacitances`, no more.
    """
    points = part.capacitance
    reverse = min(p.reverse for p in points if p.reverse)
    inputs = max(p.input for p in points if p.input)
    output = max((p for p in points if p.output), key=lambda p: p.output or 0.0)
    per_volt = part.gate_charge.gate_drain / max(part.transfer.threshold, 1.0)
    return Channel(
        threshold=threshold,
        transconductance=steepness,
        drain_resistance=0.9 * part.on_resistance,
        gate_resistance=part.gate_resistance,
        gate_source_capacitance=inputs,
        gate_drain_capacitance_max=max(0.5 * per_volt, 10.0 * reverse),
        gate_drain_capacitance_min=0.5 * reverse,
        gate_drain_slope=0.5,
        output_capacitance_zero=(output.output or 0.0) * (1.0 + output.drain_voltage) ** 0.5,
        junction_potential=1.0,
        junction_grading=0.5,
        breakdown_voltage=part.breakdown_voltage,
    )


FREE: dict[str, tuple[float, float]] = {
    "gate_source_capacitance": (1e-12, 5e-7),
    "gate_drain_capacitance_max": (1e-12, 5e-7),
    "gate_drain_capacitance_min": (1e-14, 1e-8),
    "gate_drain_slope": (1e-3, 5.0),
    "output_capacitance_zero": (1e-12, 5e-7),
    "junction_potential": (0.3, 3.0),
    "junction_grading": (0.2, 0.94),
}
"""Values the capacitance fit moves, with their bounds. A built-in potential lies below the band
gap, 1.1 V in silicon and 3.2 V in silicon carbide (textbook figures, recalled from memory); above
5 V the engine's junction has no solution in forward conduction (measured, ngspice 39)."""
PULL = 0.01
"""Weight that draws values the data leaves free towards the first guess (our choice, small
against a residual of a per cent)."""


def fit_capacitances(part: Sheet, channel: Channel) -> Channel:
    """Capacitances from the C points and the gate charge together.

    All in [F] and [C]. Source: the laws of `mosfet`. Range: between the given voltages.
    """
    from scipy.optimize import least_squares

    names = list(FREE)
    low, high = np.log(np.array([FREE[n] for n in names])).T
    start = np.clip(np.log([getattr(channel, n) for n in names]), low + 1e-6, high - 1e-6)

    def placed(x: np.ndarray) -> Channel:
        values = {name: exp(float(value)) for name, value in zip(names, x, strict=True)}
        return channel.model_copy(update=values)

    def misses(x: np.ndarray) -> np.ndarray:
        return np.array([*_capacitance_misses(part, placed(x)), *(PULL * (x - start))])

    best = least_squares(misses, start, bounds=(low, high), x_scale=1.0, max_nfev=2000)
    return placed(best.x)


def _capacitance_misses(part: Sheet, channel: Channel) -> list[float]:
    found = []
    for point in part.capacitance:
        got = mosfet.capacitances(channel, point.drain_voltage)
        for kind, value in got.items():
            given = getattr(point, kind)
            if given is not None:
                found.append(log(value / given))
    test = part.gate_charge
    charges = mosfet.gate_charges(
        channel, test.drain_voltage, test.drain_current, test.gate_voltage
    )
    for kind in ("total", "gate_source", "gate_drain"):
        # A trial far off may have no charge left for the plateau: a large, finite miss.
        found.append(log(max(charges[kind], 1e-15) / getattr(test, kind)))
    return found


def nearest_recovery(part: Mosfet, junction_temperature: float) -> RecoveryPoint:
    """The recovery point measured nearest to a junction temperature [degC].

    Source: own choice. Exact.
    """
    return recovery_near(part.diode, junction_temperature)


def recovery_near(diode: Diode, junction_temperature: float) -> RecoveryPoint:
    """As `nearest_recovery`, of a diode [degC]. Source: own choice. Exact."""
    return min(diode.recovery, key=lambda p: abs(p.junction_temperature - junction_temperature))


def given_recovery(point: RecoveryPoint) -> Given:
    """A recovery point as the fit takes it.

    Units as the part's [A], [A/s], [s], [C]. Source: definition of the tail, IEC 60747-2 or
    as the point says. Exact.
    """
    return Given(
        point.forward_current, point.di_dt, point.definition, point.time, point.charge, point.peak
    )


def body_diode(diode: Diode, fitted: DiodeFit) -> BodyDiode:
    """Body diode, or an IGBT's anti-parallel one, from the forward points and the fitted recovery.

    V = n V_T ln(I/I_0) + I R through the first and the last point gives R = (V_2 - V_1 - n
    V_T ln(I_2/I_1))/(I_2 - I_1); where that is not positive, the curve is steeper than the
    junction's own and R is a hundredth of V/I. Units [V], [A], [ohm]. Source: Shockley's
    law with a series resistance. Range: between the first and the last forward point.
    """
    first, last = diode.forward[0], diode.forward[-1]
    junction = diode.emission * THERMAL_VOLTAGE * log(last.current / first.current)
    series = (last.voltage - first.voltage - junction) / (last.current - first.current)
    return BodyDiode(
        lifetime=fitted.diode.lifetime,
        transit_time=fitted.diode.transit_time,
        forward_voltage=last.voltage,
        forward_current=last.current,
        series_resistance=max(series, 0.01 * last.voltage / last.current),
        emission=diode.emission,
    )
