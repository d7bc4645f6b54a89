"""From an IGBT's data-sheet numbers to circuit values, at a junction temperature.

The tail first (how long, and how much of the current), which gives the share that the channel
carries; then the saturation voltage, as a junction and a resistance in series; then threshold,
steepness and capacitances by the MOSFET's fit, with the channel's share of each current.

Source of the equations: `igbt`, `mosfet_fit`, `diode`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from simkit.parameters.part import CapacitancePoint, GateCharge, RecoveryPoint, Transfer
from simkit.parameters.part_igbt import Igbt, SaturationPoint, TurnOff
from simkit.parameters.switch import Bipolar, Channel, Switch, SwitchRatings
from simkit.parts import igbt, mosfet
from simkit.parts.diode import fit_recovery
from simkit.parts.mosfet_fit import (
    COLD,
    THERMAL_VOLTAGE,
    Sheet,
    body_diode,
    channel_start,
    fit_capacitances,
    fit_transfer,
    given_recovery,
    recovery_near,
)

EMISSION = 1.5
"""Emission coefficient of the series junction [1]: between low injection's 1 and high injection's
2 (textbook figures, recalled from memory). What it leaves of the curve goes into the resistance."""
FIRST_GAIN = 0.1
"""Bipolar over channel current with which the channel's turn-off is first estimated [1]."""
LEAST_TAIL, MOST_TAIL = 0.005, 0.9
"""Least and largest share of the current that a tail is taken to have [1]: where the energy given
asks for less or more, the fit says so and goes on with this."""
LEAST_DRIFT = 1e-4
"""[ohm]"""
LEAST_KNEE = 0.3
"""[V]"""


@dataclass(frozen=True)
class Tail:
    """A tail at a junction temperature.

    Fields
    ------
    decay : time in which it falls to 1/e [s]
    share : of the current, right after the channel is off, at the test's voltage [1]
    voltage : of the test [V]
    """

    decay: float
    share: float
    voltage: float


@dataclass(frozen=True)
class FittedIgbt:
    """Circuit values of one IGBT at one junction temperature.

    Fields
    ------
    switch : what a machine file would hold
    tail : what its charge was fitted to
    recovery : the recovery point the diode was fitted to
    contradictions : sentences on given figures that cannot be together
    """

    switch: Switch
    tail: Tail
    recovery: RecoveryPoint
    contradictions: tuple[str, ...]


def fit_igbt(part: Igbt, junction_temperature: float = COLD) -> FittedIgbt:
    """All circuit values of a part, at a junction temperature [degC].

    V_CE(sat), the tail's decay and E_off go straight between the temperatures given and on beyond
    them; the recovery point measured nearest counts; threshold, steepness and capacitances are
    those of 25 degC. Errors: ValueError for figures that allow no fit. Source: module heading.
    Range: between the given points.
    """
    said: list[str] = []
    tail = tail_at(part, junction_temperature, said)
    narrowed = _share_left(part, tail.voltage)
    transit = igbt.transit_time_for(tail.decay, tail.share, narrowed)
    feeding = 1.0 + tail.decay / transit
    points = saturation_at(part, junction_temperature)
    sheet = _sheet(part, feeding, _series_resistance(points))
    start = channel_start(sheet, *fit_transfer(sheet))
    knee, drift = _series(points, start, feeding)
    bipolar = _shape(part, tail.decay, transit).model_copy(
        update={"knee_voltage": knee, "knee_current": points[1].collector_current}
    )
    channel = fit_capacitances(sheet, start.model_copy(update={"drain_resistance": drift}))
    recovery = recovery_near(part.diode, junction_temperature)
    recovering = fit_recovery(given_recovery(recovery))
    switch = Switch(
        name=part.title, channel=channel, bipolar=bipolar,
        diode=body_diode(part.diode, recovering), package=part.package, ratings=ratings_of(part),
    )  # fmt: skip
    return FittedIgbt(switch, tail, recovery, (*said, *recovering.contradictions))


def between(at: float, low: tuple[float, float], high: tuple[float, float]) -> float:
    """Straight line through two points (axis, value), read at a place of the axis; values in
    [V], [s] or [1] over [degC], as the points are. Source: two-point form. Range: between the
    points, or somewhat beyond.
    """
    if low[0] == high[0]:
        return low[1]
    return low[1] + (high[1] - low[1]) * (at - low[0]) / (high[0] - low[0])


def saturation_at(part: Igbt, celsius: float) -> tuple[SaturationPoint, SaturationPoint]:
    """V_CE(sat) at the smallest and the largest current given, at a junction temperature [degC].

    Source: straight lines between the two temperatures. Range: as `between`.
    """
    temperatures = sorted({p.junction_temperature for p in part.saturation})

    def at(celsius_given: float, largest: bool) -> SaturationPoint:
        points = [p for p in part.saturation if p.junction_temperature == celsius_given]
        choose = max if largest else min
        return choose(points, key=lambda p: p.collector_current)

    found = []
    for largest in (False, True):
        cold, hot = (at(t, largest) for t in temperatures)
        voltage = between(celsius, (temperatures[0], cold.voltage), (temperatures[1], hot.voltage))
        found.append(cold.model_copy(update={"voltage": voltage}))
    return found[0], found[1]


def tail_at(part: Igbt, celsius: float, said: list[str]) -> Tail:
    """The tail at a junction temperature [degC]; what cannot be is added to `said`.

    Of every test the transit time is the one with which the turn-off's energy is E_off; decay and
    share then go straight between the tests. Source: `igbt.clamped_turn_off_energy` solved for it.
    Range: as that.
    """
    tests = sorted(part.turn_off, key=lambda t: t.junction_temperature)
    found = [(t.junction_temperature, _tail_of(part, t, said)) for t in tests]
    (low, first), (high, last) = found[0], found[-1]
    decay = between(celsius, (low, first.decay), (high, last.decay))
    share = between(celsius, (low, first.share), (high, last.share))
    quickest = min(t.tail_decay for t in tests)
    return Tail(max(decay, 0.3 * quickest), min(max(share, LEAST_TAIL), MOST_TAIL), first.voltage)


def _tail_of(part: Igbt, test: TurnOff, said: list[str]) -> Tail:
    from scipy.optimize import brentq

    channel = _trial(part)
    leads = part.package
    clamped = igbt.Clamped(
        test.collector_current, test.supply_voltage, test.gate_off,
        test.gate_resistor + part.gate_resistance,
        test.loop_inductance + 2.0 * (leads.drain_inductance + leads.common_source_inductance
                                      + leads.source_inductance),
        leads.common_source_inductance,
    )  # fmt: skip

    def bipolar(share: float) -> Bipolar:
        narrowed = _share_left(part, test.supply_voltage)
        transit = igbt.transit_time_for(test.tail_decay, share, narrowed)
        return _shape(part, test.tail_decay, transit)

    def miss(share: float) -> float:
        shape = bipolar(share)
        feeding = 1.0 + igbt.gain(shape, 0.0)
        steepness = channel.transconductance * (1.0 + FIRST_GAIN) / feeding
        scaled = channel.model_copy(update={"transconductance": steepness})
        return igbt.clamped_turn_off_energy(scaled, shape, clamped) - test.energy

    least, most = miss(LEAST_TAIL), miss(MOST_TAIL)
    if least >= 0.0 or most <= 0.0:
        limit, words = (least, "less than") if least >= 0.0 else (most, "more than")
        said.append(
            f"E_off of {test.energy * 1e3:.3g} mJ at {test.junction_temperature:g} degC is {words} "
            f"the {(limit + test.energy) * 1e3:.3g} mJ that gate resistor and tail decay allow"
        )
        share = LEAST_TAIL if least >= 0.0 else MOST_TAIL
    else:
        share = float(brentq(miss, LEAST_TAIL, MOST_TAIL, xtol=1e-4))
    return Tail(test.tail_decay, share, test.supply_voltage)


def _trial(part: Igbt) -> Channel:
    """A channel for the turn-off: what is given of it hangs on the share by a few per cent."""
    sheet = _sheet(part, 1.0 + FIRST_GAIN, part.saturation[0].voltage)
    return fit_capacitances(sheet, channel_start(sheet, *fit_transfer(sheet)))


def _shape(part: Igbt, lifetime: float, transit: float) -> Bipolar:
    return Bipolar(
        knee_voltage=1.0, knee_current=1.0, emission=EMISSION, lifetime=lifetime,
        transit_time=transit, reach_voltage=part.reach_voltage,
    )  # fmt: skip


def _share_left(part: Igbt, voltage: float) -> float:
    return float(igbt.base_share(_shape(part, 1e-6, 1e-6), voltage))


def _series(
    points: tuple[SaturationPoint, SaturationPoint], channel: Channel, feeding: float
) -> tuple[float, float]:
    """Drop of the series junction at the larger current [V], and the drift region [ohm].

    The two points give a junction and a resistance in series. Where the channel alone has more
    than that resistance, the junction gets what it leaves at the larger current, and the smaller
    one's deviation stands in the report. Errors: ValueError where nothing is left for it.
    """
    high = points[1]
    fed = high.collector_current / feeding
    inside = mosfet.channel_resistance(channel, high.gate_voltage, fed) + igbt.FEED_SENSE
    ohmic = _series_resistance(points) - igbt.KNEE_SERIES
    drift = max(ohmic * feeding - inside, LEAST_DRIFT)
    knee = high.voltage - igbt.KNEE_SERIES * high.collector_current - fed * (drift + inside)
    if knee <= LEAST_KNEE:
        raise ValueError(
            f"V_CE(sat) = {high.voltage:.3g} V at {high.collector_current:g} A leaves nothing for "
            f"the junction: the transfer curve needs {fed * inside:.2g} V of it at V_GE = "
            f"{high.gate_voltage:g} V; check threshold and transconductance"
        )
    return knee, drift


def _series_resistance(points: tuple[SaturationPoint, SaturationPoint]) -> float:
    """(V_2 - V_1 - n V_T ln(I_2/I_1))/(I_2 - I_1) [ohm]."""
    low, high = points
    junction = EMISSION * THERMAL_VOLTAGE * log(high.collector_current / low.collector_current)
    rise = high.voltage - low.voltage - junction
    return rise / (high.collector_current - low.collector_current)


def _sheet(part: Igbt, feeding: float, resistance: float) -> Sheet:
    given, charge = part.transfer, part.gate_charge
    return Sheet(
        gate_resistance=part.gate_resistance,
        on_resistance=resistance,
        breakdown_voltage=part.breakdown_voltage,
        transfer=Transfer(
            threshold=given.threshold,
            threshold_current=given.threshold_current / feeding,
            transconductance=given.transconductance / feeding,
            transconductance_current=given.transconductance_current / feeding,
        ),
        capacitance=tuple(
            CapacitancePoint(
                drain_voltage=p.collector_voltage, input=p.input, output=p.output,
                reverse=p.reverse,
            )
            for p in part.capacitance
        ),
        gate_charge=GateCharge(
            drain_voltage=charge.collector_voltage,
            drain_current=charge.collector_current / feeding,
            gate_voltage=charge.gate_voltage, total=charge.total,
            gate_source=charge.gate_emitter, gate_drain=charge.gate_collector,
            plateau=charge.plateau,
        ),
    )  # fmt: skip


def ratings_of(part: Igbt) -> SwitchRatings:
    """The part's ratings under the names that every switch has. In [V], [A], [s], [degC].

    Source: the part file. Exact.
    """
    given = part.ratings
    same = ("pulsed_current", "turn_off_current", "short_circuit_time", "gate_voltage",
            "recovery_dv_dt", "recovery_di_dt", "junction_temperature", "thermal_resistance",
            "transient")  # fmt: skip
    return SwitchRatings(
        drain_voltage=given.collector_voltage,
        drain_current=given.collector_current,
        **{name: getattr(given, name) for name in same},
    )
