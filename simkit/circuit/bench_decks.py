"""Decks of the virtual test circuits: one part on the bench, measured as its data sheet was.

Each builder renders one template of netlists/test_*.cir.j2. Times are chosen from the part's own
time constants, so that slow ramps are slow for it and ramps are resolved by their steps.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Any

from simkit.circuit.analysis import Analysis, switch_vectors
from simkit.circuit.netlist import Deck, render
from simkit.circuit.values import switch_values
from simkit.parameters.switch import Switch

STATIC = 10e-3
"""Length of the output test: its slope in the leads' inductance is a tenth of a millivolt [s]."""
SLOW = 20e-3
"""Length of the transfer ramps: charging the gate takes a few microamperes [s]."""
DRAIN_SENSE = 20e-3
"""Sense resistors of the output test [ohm]."""
QUASI_STATIC = "method=gear reltol=1e-4 trtol=1 abstol=1e-6 vntol=1e-6 chgtol=1e-12"
"""Options where nothing rings: the trapezoidal rule stops at the corners of slow curves."""
SENSE = 10.0
"""Sense resistors of the capacitance test [ohm]."""
FORWARD_DROP = 5.0
"""Voltage of the forward test's resistor at its largest current [V]."""
AVALANCHE_BEGIN = 2e-6
"""Turn-off of the unclamped inductive test [s]."""
EDGE = 2e-9
"""Edge of an ideal command [s]."""


def _deck(
    template: str,
    switch: Switch,
    test: dict[str, Any],
    saved: tuple[str, ...],
    step: float,
    stop: float,
    options: str,
) -> Deck:
    namespace = {
        "switch": switch_values(switch),
        "test": test,
        "analysis": {"options": options, "step": step, "stop": stop, "saved": " ".join(saved)},
    }
    return Deck(text=render(template, namespace), saved=saved, stop=stop)


def _options(step: float, reltol: float = 1e-4) -> str:
    return Analysis(step=step, reltol=reltol).options


def forward_resistor(current: float) -> float:
    """Resistor of the forward test, which drops FORWARD_DROP at the largest current [ohm]."""
    return FORWARD_DROP / current


def output_deck(
    switch: Switch, gate_voltages: tuple[float, ...], drain_voltage: float, forward: float
) -> Deck:
    """Output curve up to a drain voltage [V] at gate voltages [V], and the body diode's forward
    curve up to a current [A]; both over 10 ms.
    """
    numbers = range(1, len(gate_voltages) + 1)
    steps = [{"number": n, "gate_voltage": v} for n, v in zip(numbers, gate_voltages, strict=True)]
    test = {
        "ramp": [(0.0, 0.0), (STATIC, drain_voltage)],
        "forward": [(0.0, 0.0), (STATIC, -FORWARD_DROP - 2.0 * switch.diode.forward_voltage)],
        "forward_resistor": forward_resistor(forward),
        "steps": steps,
        "sense": DRAIN_SENSE,
    }
    saved = ("v(ramp)", *(f"v(d{n})" for n in numbers), "v(df)", "v(fw)")
    step = STATIC / 1000
    return _deck("test_output.cir.j2", switch, test, saved, step, STATIC, QUASI_STATIC)


def threshold_sense(current: float) -> float:
    """Resistor of the threshold test, which drops 2 V at the test current [ohm]."""
    return 2.0 / current


def transfer_deck(
    switch: Switch, gate_voltage: float, drain_voltage: float, threshold_current: float
) -> Deck:
    """Transfer curve up to a gate voltage [V] at a drain voltage [V]; threshold at a current [A].

    Both ramps take 20 ms.
    """
    sense = threshold_sense(threshold_current)
    test = {
        "drain_voltage": drain_voltage,
        "ramp": [(0.0, 0.0), (SLOW, gate_voltage)],
        "threshold_ramp": [(0.0, 0.0), (SLOW, 4.0 + 2.0 * switch.channel.threshold)],
        "threshold_sense": sense,
    }
    saved = ("v(vdd)", "v(d1)", "v(g1)", "v(k1)", "v(th)", "v(d2)", "v(k2)")
    step = SLOW / 2000
    options = QUASI_STATIC.replace("abstol=1e-6", "abstol=1e-9")
    return _deck("test_transfer.cir.j2", switch, test, saved, step, SLOW, options)


@dataclass(frozen=True)
class CapacitanceTest:
    """Deck of the capacitance test and the moments at which its currents are read.

    Fields
    ------
    deck : the deck
    voltages : drain voltages [V]
    rest_times : just before the drain's ramp at each voltage [s]
    drain_times : middle of that ramp [s]
    gate_times : middle of the gate's ramp at each voltage [s]
    drain_slope, gate_slope : of the ramps [V/s]
    sense : sense resistors [ohm]
    """

    deck: Deck
    voltages: tuple[float, ...]
    rest_times: tuple[float, ...]
    drain_times: tuple[float, ...]
    gate_times: tuple[float, ...]
    drain_slope: float
    gate_slope: float
    sense: float


def capacitance_test(switch: Switch, voltages: tuple[float, ...]) -> CapacitanceTest:
    """Capacitance against drain voltage at rising voltages [V].

    The ramps are 20 times longer than the gate resistor and the sense resistor take to charge
    the largest gate capacitance.
    """
    channel = switch.channel
    largest = channel.gate_source_capacitance + channel.gate_drain_capacitance_max
    lag = (SENSE + channel.gate_resistance) * largest
    length, rest = 20.0 * lag, 20.0 * lag
    drain_slope, gate_slope = 2.0 / length, 0.2 / length
    now, drain, gate = 0.0, [(0.0, 0.0)], [(0.0, 0.0)]
    moments: list[tuple[float, float, float]] = []
    for voltage in voltages:
        # The way there, rest, the ramp through the voltage, back to it, rest, the gate's ramp.
        reach = min(1.0, 0.5 * voltage)
        begin = now + 2.0 * rest
        drain += [(now + rest, voltage - reach), (begin, voltage - reach)]
        now = begin + 2.0 * reach / drain_slope
        drain += [(now, voltage + reach), (now + rest, voltage), (now + 4 * rest, voltage)]
        gate += [(now + rest, 0.0), (now + 2 * rest, -0.1)]
        gate += [(now + 3 * rest, 0.1), (now + 4 * rest, 0.0)]
        moments.append((begin - 0.05 * rest, begin + reach / drain_slope, now + 2.5 * rest))
        now += 4.0 * rest
    step = length / 100
    test = {"drain": drain, "gate": gate, "sense": SENSE}
    saved = ("v(vd)", "v(d1)", "v(vg)", "v(g1)")
    options = "method=trap reltol=1e-5 trtol=1 abstol=1e-9 vntol=1e-6 chgtol=1e-16"
    deck = _deck("test_capacitance.cir.j2", switch, test, saved, step, now, options)
    rests, drains, gates = zip(*moments, strict=True)
    return CapacitanceTest(deck, voltages, rests, drains, gates, drain_slope, gate_slope, SENSE)


@dataclass(frozen=True)
class CapacitanceSweep:
    """Deck of a slow ramp of the drain, the gate at rest.

    Fields
    ------
    deck : the deck
    begin : from when on the ramp is steady [s]
    slope : [V/s]
    sense : sense resistors [ohm]
    """

    deck: Deck
    begin: float
    slope: float
    sense: float


def capacitance_sweep(switch: Switch, voltage: float) -> CapacitanceSweep:
    """C_oss and C_rss from volt to volt up to a drain voltage [V].

    A volt takes ten times as long as the sense resistor takes to charge the largest capacitance.
    """
    channel = switch.channel
    largest = channel.gate_source_capacitance + channel.gate_drain_capacitance_max
    lag = (SENSE + channel.gate_resistance) * largest
    slope = 0.1 / lag
    begin, end = 10.0 * lag, 10.0 * lag + voltage / slope
    test = {"drain": [(0.0, 0.0), (begin, 0.0), (end, voltage)], "gate": [(0.0, 0.0), (end, 0.0)],
            "sense": SENSE}  # fmt: skip
    saved = ("v(vd)", "v(d1)", "v(vg)", "v(g1)")
    deck = _deck("test_capacitance.cir.j2", switch, test, saved, lag, end, _options(lag))
    return CapacitanceSweep(deck, begin + 10.0 * lag, slope, SENSE)


def gate_charge_deck(
    switch: Switch, drain_voltage: float, current: float, total: float
) -> tuple[Deck, float]:
    """Gate charge test and its gate current [A].

    Parameters: drain_voltage V_DD [V], current I_D [A], total Q_g expected [C]: the gate is
    charged by a third more in 13 us.
    """
    gate_current, begin = total / 10e-6, 2e-6
    stop = begin + 13e-6
    test = {
        "drain_voltage": drain_voltage,
        "load": [(0.0, 0.0), (1e-7, 0.0), (1e-6, current), (stop, current)],
        "gate": [(0.0, 0.0), (begin, 0.0), (begin + 1e-9, gate_current), (stop, gate_current)],
        "hold": [(0.0, 1.0), (begin - 1e-8, 1.0), (begin - 5e-9, 0.0), (stop, 0.0)],
    }
    saved = ("v(d1)", "v(g1)", "v(k1)", "v(gate)")
    step = 5e-9
    options = _options(step)
    deck = _deck("test_gate_charge.cir.j2", switch, test, saved, step, stop, options)
    return deck, gate_current


def recovery_deck(
    switch: Switch, forward: float, slope: float, reverse_voltage: float
) -> tuple[Deck, float]:
    """Recovery with the slope set by the loop inductance, and the moment of the command [s].

    L = (V_R + V_F)/(di/dt) in the whole loop, leads included; the lower switch is ideal, so that
    the ramp is straight. The diode has conducted for ten lifetimes before.

    Parameters: forward I_F [A], slope di/dt [A/s], reverse_voltage V_R [V].
    """
    diode, package = switch.diode, switch.package
    leads = package.drain_inductance + package.common_source_inductance + package.source_inductance
    loop = (reverse_voltage + diode.forward_voltage) / slope - leads
    if loop <= 0.0:
        raise ValueError(f"the leads alone slow {reverse_voltage:g} V below {slope:g} A/s")
    begin = 10.0 * diode.lifetime + 1.5e-6
    storage = forward / slope * (1.0 + diode.lifetime / diode.transit_time)
    decay = 1.0 / (1.0 / diode.lifetime + 1.0 / diode.transit_time)
    stop = begin + storage + 15.0 * decay
    step = min(decay, forward / slope) / 50
    capacitance = switch.channel.output_capacitance_zero / 5
    test = {
        "lower": "ideal",
        "supply_voltage": reverse_voltage,
        "loop_inductance": loop,
        "loop_damping": 5.0 * sqrt(loop / capacitance),
        "load": [(0.0, 0.0), (1e-6, forward), (stop, forward)],
        "short": 1.0,
        "command": [(0.0, 0.0), (begin, 0.0), (begin + EDGE, 1e3), (stop, 1e3)],
    }
    saved = switch_vectors(1, switch)
    # With an IGBT's charge the engine stops at the tighter one; the diode's figures are the same.
    options = _options(step, 1e-4 if switch.bipolar else 1e-5)
    return _deck("test_double_pulse.cir.j2", switch, test, saved, step, stop, options), begin


def tail_time(switch: Switch) -> float:
    """Time after which nothing of an IGBT's tail is left, nought for others [s]."""
    return 8.0 * switch.bipolar.lifetime if switch.bipolar else 0.0


@dataclass(frozen=True)
class DoublePulseTest:
    """Deck of the double pulse, and the moments of its commands.

    Fields
    ------
    deck : the deck
    turn_off : end of the first pulse [s]
    turn_on : start of the second pulse [s]
    """

    deck: Deck
    turn_off: float
    turn_on: float


def double_pulse_test(
    switch: Switch,
    supply_voltage: float,
    current: float,
    gate: tuple[float, float],
    gate_resistor: float,
    loop_inductance: float,
) -> DoublePulseTest:
    """Double pulse with the part as both switches.

    Parameters: supply_voltage V_DD [V], current [A], gate driver output off and on [V],
    gate_resistor [ohm], loop_inductance without the leads [H].
    """
    off, on = gate
    tail = tail_time(switch)
    first, pulse = 1.5e-6, 3e-6 + tail  # an IGBT's charge builds up with its lifetime too
    turn_off = first + pulse
    turn_on = turn_off + max(10.0 * switch.diode.lifetime, 1e-6, tail) + 1e-6
    stop = turn_on + 3e-6
    edge = 10e-9
    times = [(0.0, off), (first, off), (first + edge, on), (turn_off, on), (turn_off + edge, off)]
    times += [(turn_on, off), (turn_on + edge, on), (stop, on)]
    test = {
        "lower": "part",
        "supply_voltage": supply_voltage,
        "loop_inductance": loop_inductance,
        "loop_damping": 2.0 * sqrt(loop_inductance / (switch.channel.output_capacitance_zero / 5)),
        "load": [(0.0, 0.0), (1e-6, current), (stop, current)],
        "gate_resistor": gate_resistor,
        "short": gate_resistor,
        "command": times,
    }
    step = 2e-9
    saved = (
        *switch_vectors(1, switch),
        *switch_vectors(2, switch),
        "v(a)",
        "v(p)",
        "v(c2)",
        "v(k2)",
    )
    deck = _deck("test_double_pulse.cir.j2", switch, test, saved, step, stop, _options(step))
    return DoublePulseTest(deck, turn_off, turn_on)


def soft_turn_off_deck(
    switch: Switch,
    supply_voltage: float,
    current: float,
    gate: tuple[float, float],
    gate_resistor: float,
    capacitance: float,
) -> tuple[Deck, float]:
    """Turn-off of a constant current into a clamp, and the moment of its command [s].

    Parameters: supply_voltage of the clamp [V], current [A], gate driver output off and on [V],
    gate_resistor [ohm], capacitance across the switch [F], nought for none.
    """
    off, on = gate
    tail = tail_time(switch)
    begin = 2e-6 + 2.0 * tail
    rise = capacitance * supply_voltage / current
    stop = begin + 1e-6 + rise + 1.5 * tail
    test = {
        "supply_voltage": supply_voltage,
        "load": [(0.0, 0.0), (1e-6, current), (stop, current)],
        "capacitance": capacitance,
        "command": [(0.0, on), (begin, on), (begin + 1e-8, off), (stop, off)],
        "gate_resistor": gate_resistor,
    }
    saved = (*switch_vectors(1, switch), "v(a)", "v(k1)")
    step = 2e-9
    deck = _deck("test_soft_turn_off.cir.j2", switch, test, saved, step, stop, _options(step))
    return deck, begin


def avalanche_deck(
    switch: Switch, current: float, supply_voltage: float, energy: float
) -> tuple[Deck, float]:
    """Unclamped inductive switching, and its inductance [H].

    L = (2 E/I^2) (V_AV - V_DD)/V_AV puts the energy E into the chip when it clamps at V_AV.

    Parameters: current I_AS [A], supply_voltage V_DD [V], energy E_AS [J].
    """
    clamp = switch.channel.breakdown_voltage
    inductance = 2.0 * energy / current**2 * (clamp - supply_voltage) / clamp
    length = inductance * current / (clamp - supply_voltage)
    begin = AVALANCHE_BEGIN
    stop = begin + 1.3 * length + 1e-6
    on = 3.0 * switch.channel.threshold
    test = {
        "supply_voltage": supply_voltage,
        "inductance": inductance,
        "current": current,
        "command": [(0.0, on), (begin, on), (begin + 5e-8, 0.0), (stop, 0.0)],
        "gate_resistor": 10.0,
    }
    saved = (*switch_vectors(1, switch), "v(a)", "v(k1)")
    step = length / 1000
    deck = _deck("test_avalanche.cir.j2", switch, test, saved, step, stop, _options(step, 1e-5))
    return deck, inductance
