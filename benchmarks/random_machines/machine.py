"""A random machine, laid out as a builder would: from the supply, a frequency, a power and a Q.

Everything is drawn from one seeded stream. Ratios that builders choose (turns, magnetising
current, dead time against the gate's time constant, ratings against what is expected) are drawn
around what is common, and now and then well beside it, since that is what is to be found out.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from math import exp, log, pi, sqrt
from typing import Any

from benchmarks.random_machines.switch import class_part, igbt_part, written_switch
from benchmarks.random_machines.written import quantity, rounded

IGBT_FROM = 500
"""Numbers from which on the switches are IGBTs: those below keep their draws, and references."""
TOPOLOGIES = ("full", "half-split", "half-blocking")
FEEDS = ("loop", "shunt")


@dataclass(frozen=True)
class Plan:
    """What a machine is laid out for; the scenario is drawn from it too."""

    topology: str
    feed: str
    frequency: float
    """Drive in the settled state [Hz]."""
    voltage: float
    """[V]"""
    q: float
    """Loaded, of the piece that the settled part holds [1]."""
    margin: float
    """Drive above the loaded resonance [1]."""
    dead_time: float
    """[s]"""
    frequency_max: float
    """[Hz]"""
    cans: int
    primary_rms: float
    """Expected [A]."""
    part: str | None
    """Name of a class part; None where the values are written out."""


def log_uniform(rng: random.Random, low: float, high: float) -> float:
    """Between two positive bounds, its logarithm uniform."""
    return exp(rng.uniform(log(low), log(high)))


def near(rng: random.Random, value: float, spread: float) -> float:
    """A value with a log-normal spread, a factor exp(spread) being one standard deviation."""
    return value * exp(rng.gauss(0.0, spread))


def machine(rng: random.Random, number: int) -> tuple[Plan, dict[str, Any]]:
    """A machine file's tables and the plan they follow; topology and feed go by the number."""
    topology, feed = TOPOLOGIES[number % 3], FEEDS[(number // 3 + number // 20) % 2]
    igbt = number >= IGBT_FROM
    frequency, q = log_uniform(rng, 21e3, 60e3 if igbt else 285e3), log_uniform(rng, 4.0, 120.0)
    voltage = log_uniform(rng, 200.0, 380.0) if igbt else log_uniform(rng, 30.0, 400.0)
    margin = _margin(rng, q)
    frequency = min(frequency, 290e3 / (1.0 + max(margin, 0.0)))
    f0 = frequency / (1.0 + margin)
    bridge = 4.0 / pi * voltage * (1.0 if topology == "full" else 0.5)
    current = log_uniform(rng, 2.0, 12.0) * sqrt(2.0)
    tank = _tank(rng, feed, f0, q, margin, bridge, current)
    drive, dead, top = _drive(rng, frequency)
    if igbt:
        drive["voltage_on"] = quantity(rng.uniform(14.0, 16.0), "V", 2)
    part = igbt_part(rng, voltage) if igbt else class_part(rng, voltage)
    plan = Plan(topology, feed, frequency, voltage, q, margin, dead, top, tank.cans,
                tank.primary_peak / sqrt(2.0), part)  # fmt: skip
    name = f"machine-{number}"
    tables = {
        "name": name,
        "title": f"Drawn at random, number {number}",
        "supply": _supply(rng, voltage, frequency, tank.power),
        "bridge": _bridge(rng, topology, frequency, bridge / tank.primary_peak),
        "switch": _switch(rng, part, voltage, 0.5 * tank.primary_peak),
        "drive": drive,
        "transformer": _transformer(rng, plan, tank, bridge),
        "tank": tank.table(rng),
        "coil": {"source": "measured"} | tank.empty(rng),
        "workpieces": {"bar": tank.piece(1.0, 1.0), "other": tank.other(rng)},
        "cooling": _cooling(rng, tank.power, topology),
        "limits": _limits(rng, tank.power / voltage),
    }
    return plan, tables


def _switch(rng: random.Random, part: str | None, voltage: float, rms: float) -> dict[str, Any]:
    """A part file's name, its junction given or left to the losses; or values written out."""
    if part is None:
        return written_switch(rng, voltage, rms)
    named = {"part": f"parts/{part}.toml"}
    if rng.random() < 0.4:
        warm = f"{rng.randint(60, 120)} degC"
        return {"source": "estimated", **named, "junction_temperature": warm}
    return named


def _margin(rng: random.Random, q: float) -> float:
    """Most heaters are driven above resonance; some sit on it or have slipped below."""
    way = rng.random()
    if way < 0.7:
        return rng.uniform(0.25, 2.5) / q + 0.002
    return rng.uniform(-0.25, 0.25) / q if way < 0.85 else -rng.uniform(0.2, 1.2) / q


@dataclass(frozen=True)
class Tank:
    """Coil, bank and turns that give about the wanted current at the primary."""

    feed: str
    frequency: float
    """Loaded resonance [Hz]."""
    inductance: float
    """Coil with the piece [H]."""
    resistance: float
    """[ohm]"""
    can: float
    """One can [F]."""
    cans: int
    turns: tuple[int, int]
    matching: float
    """[H]; 0 for a loop-fed tank."""
    primary_peak: float
    """Expected [A]."""
    power: float
    """Expected from the supply [W]."""
    bank_voltage: float
    """Expected peak [V]."""

    def table(self, rng: random.Random) -> dict[str, Any]:
        omega = 2.0 * pi * self.frequency
        volts = self.bank_voltage / sqrt(2.0)
        amperes = volts * omega * self.can
        found = {
            "feed": self.feed,
            "source": "datasheet class",
            "can_capacitance": quantity(self.can, "F"),
            "cans": self.cans,
            "can_esr": quantity(rng.uniform(2e-4, 2e-3) / (omega * self.can), "ohm", 2),
            "can_voltage": quantity(volts * rng.uniform(1.15, 3.5), "V", 2),
            "can_current": quantity(amperes * rng.uniform(1.15, 3.5), "A", 2),
        }
        if self.matching:
            loss = omega * self.matching / rng.uniform(80.0, 300.0)
            found["matching"] = {
                "source": "measured",
                "inductance": quantity(self.matching, "H"),
                "resistance": quantity(loss, "ohm", 2),
            }
        return found

    def empty(self, rng: random.Random) -> dict[str, str]:
        """The coil alone: another inductance, a fraction of the resistance."""
        change = rng.choice((rng.uniform(0.86, 0.99), rng.uniform(1.01, 1.25)))
        return {
            "inductance": quantity(self.inductance * change, "H"),
            "resistance": quantity(self.resistance * rng.uniform(0.15, 0.7), "ohm"),
        }

    def piece(self, inductance: float, resistance: float) -> dict[str, str]:
        return {
            "title": "A piece",
            "source": "measured",
            "inductance": quantity(self.inductance * inductance, "H", 4),
            "resistance": quantity(self.resistance * resistance, "ohm"),
            "travel": "60 mm",
        }

    def other(self, rng: random.Random) -> dict[str, str]:
        return self.piece(rng.uniform(0.9, 1.1), rng.uniform(0.4, 1.6))


def _tank(
    rng: random.Random, feed: str, f0: float, q: float, margin: float, bridge: float, current: float
) -> Tank:
    """Loop-fed: I = V/(n^2 R sqrt(1 + (2 Q m)^2)) at the primary, from the series loop.

    Shunt-fed, C = 1/(w^2 L L_m/(L + L_m)): the secondary's EMF E drives E/(w L_m) into the
    parallel resistance R_p = (w L)^2/R, so that the bank has E R_p/(w L_m) at resonance and takes
    half its square over R_p; the primary current is what that power needs.
    """
    omega, share = 2.0 * pi * f0, 1.0 / sqrt(1.0 + (2.0 * q * margin) ** 2)
    inductance = log_uniform(rng, 0.25e-6, 4e-6) * sqrt(100e3 / f0)
    matching = inductance * log_uniform(rng, 1.0, 4.0) if feed == "shunt" else 0.0
    whole = inductance * matching / (inductance + matching) if matching else inductance
    bank = 1.0 / (omega**2 * whole)
    cans = max(round(bank / log_uniform(rng, 0.1e-6, 0.68e-6)), 2)
    can = rounded(bank / cans, 3)
    if feed == "loop":
        resistance = omega * inductance / q
        ratio = sqrt(bridge * share / (current * resistance))
    else:
        parallel = q / (omega * bank)
        resistance = (omega * inductance) ** 2 / parallel
        power = bridge * current * 0.5
        ratio = bridge * share / (omega * matching) * sqrt(parallel / (2.0 * power))
    turns = _turns(ratio)
    n = turns[0] / turns[1]
    if feed == "loop":
        peak = bridge * share / (n**2 * resistance)
        power, volts = 0.5 * (n * peak) ** 2 * resistance, n * peak / (omega * can * cans)
    else:
        volts = bridge / n * share * parallel / (omega * matching)
        power = 0.5 * volts**2 / parallel
        peak = max(2.0 * power / bridge, 0.3 * bridge / (n**2 * omega * matching))
    return Tank(feed, f0, inductance, resistance, can, cans, turns, matching, peak, power, volts)


def _turns(ratio: float) -> tuple[int, int]:
    """Whole turns near a ratio: one secondary turn where that is near enough."""
    ratio = min(max(ratio, 0.6), 60.0)
    if ratio >= 4.0:
        return round(ratio), 1
    second = 2 if ratio >= 2.0 else 4
    return max(round(ratio * second), 2), second


def _supply(rng: random.Random, voltage: float, frequency: float, power: float) -> dict[str, Any]:
    current = max(power / voltage, 0.3)
    film = log_uniform(rng, 0.7, 3.0) * 4.7e-6 * sqrt(80e3 / frequency)
    return {
        "source": "estimated",
        "voltage": quantity(voltage, "V"),
        "source_resistance": quantity(rng.uniform(0.004, 0.03) * voltage / current, "ohm", 2),
        "bus_inductance": quantity(rng.uniform(30e-9, 120e-9), "H", 2),
        "bus_damping": quantity(rng.uniform(1.0, 4.0), "ohm", 2),
        "link": {
            "source": "datasheet class",
            "capacitance": quantity(log_uniform(rng, 220e-6, 2200e-6), "F", 2),
            "esr": quantity(rng.uniform(0.02, 0.15), "ohm", 2),
            "esl": quantity(rng.uniform(10e-9, 30e-9), "H", 2),
        },
        "film": {
            "source": "datasheet class",
            "capacitance": quantity(film, "F", 2),
            "esr": quantity(rng.uniform(0.003, 0.01), "ohm", 1),
            "esl": quantity(rng.uniform(8e-9, 20e-9), "H", 2),
        },
    }


def _bridge(
    rng: random.Random, topology: str, frequency: float, impedance: float
) -> dict[str, Any]:
    found: dict[str, Any] = {
        "topology": topology,
        "source": "estimated",
        "loop_inductance": quantity(rng.uniform(15e-9, 70e-9), "H", 2),
        "loop_damping": quantity(rng.uniform(3.0, 10.0), "ohm", 2),
    }
    if topology == "half-split":
        found["split_capacitance"] = quantity(_series(rng, frequency, impedance), "F", 2)
        found["split_esr"] = quantity(rng.uniform(0.004, 0.012), "ohm", 1)
    way = rng.random()
    if way < 0.5:
        place = "switch" if way < 0.3 else "leg"
        capacitance = log_uniform(rng, 220e-12, 2.2e-9) * (1.0 if place == "switch" else 5.0)
        found["snubber"] = {
            "source": "design choice",
            "place": place,
            "resistance": quantity(log_uniform(rng, 3.3, 33.0), "ohm", 2),
            "capacitance": quantity(capacitance, "F", 2),
        }
    return found


def _series(rng: random.Random, frequency: float, impedance: float) -> float:
    """A capacitor in series with the primary: a few per cent of its impedance [F]."""
    return 1.0 / (2.0 * pi * frequency * impedance * log_uniform(rng, 0.01, 0.08))


def _drive(rng: random.Random, frequency: float) -> tuple[dict[str, Any], float, float]:
    """Tables, dead time [s] and highest frequency [Hz]; the dead time is drawn regardless of the
    gate, so that some gates are slower."""
    top = rounded(frequency * rng.uniform(1.5, 2.0), 2)
    dead = rounded(min(log_uniform(rng, 0.25e-6, 1.5e-6), 0.2 / top), 2)
    edge = rounded(min(rng.uniform(15e-9, 50e-9), 0.3 * dead), 2)
    found: dict[str, Any] = {
        "source": "design choice",
        "frequency_min": quantity(frequency * rng.uniform(0.4, 0.6), "Hz", 2),
        "frequency_max": quantity(top, "Hz", 2),
        "working_margin": "4 %",
        "dead_time": quantity(dead, "s", 2),
        "voltage_on": quantity(rng.uniform(11.0, 15.0), "V", 2),
        "voltage_off": quantity(rng.choice((0.0, 0.0, -3.0, -5.0)), "V", 2),
        "edge_time": quantity(edge, "s", 2),
        "source_resistance": quantity(rng.uniform(0.8, 4.0), "ohm", 2),
        "sink_resistance": quantity(rng.uniform(0.6, 3.0), "ohm", 2),
        "gate_resistor": quantity(log_uniform(rng, 2.2, 33.0), "ohm", 2),
        "loop_inductance": quantity(rng.uniform(10e-9, 40e-9), "H", 2),
        "bleed_resistor": quantity(log_uniform(rng, 3.3e3, 22e3), "ohm", 2),
        "isolation": "ideal",
    }
    if rng.random() < 0.4:
        found["turn_off_resistor"] = quantity(log_uniform(rng, 1.5, 15.0), "ohm", 2)
    if rng.random() < 0.4:
        found["isolation"], found["voltage_off"] = "transformer", "0 V"
        found["transformer"] = {
            "source": "measured",
            "magnetising_inductance": quantity(near(rng, 1e-3, 0.3) * 80e3 / frequency, "H", 2),
            "leakage_inductance": quantity(rng.uniform(0.2e-6, 0.9e-6), "H", 2),
            "winding_resistance": quantity(rng.uniform(0.2, 1.0), "ohm", 2),
            "coupling_capacitance": quantity(log_uniform(rng, 0.47e-6, 2.2e-6), "F", 2),
        }
    return found, dead, top


def _transformer(rng: random.Random, plan: Plan, tank: Tank, bridge: float) -> dict[str, Any]:
    """Flux V/(4 f N A) at 30 to 75 % of what is allowed; magnetising current 3 to 15 %."""
    turns, second = tank.turns
    volts = 0.25 * pi * bridge  # of the square wave
    n, impedance = turns / second, bridge / tank.primary_peak
    saturation = rounded(rng.uniform(0.28, 0.36), 2)
    flux = 0.75 * saturation * rng.uniform(0.3, 0.75)
    area = volts / (4.0 * plan.frequency * turns * flux)
    magnetising = volts / (4.0 * plan.frequency * rng.uniform(0.03, 0.15) * tank.primary_peak)
    found: dict[str, Any] = {
        "source": "measured",
        "primary_turns": turns,
        "secondary_turns": second,
        "magnetising_inductance": quantity(magnetising, "H"),
        "leakage_inductance": quantity(rng.uniform(0.005, 0.05) * n**2 * tank.inductance, "H", 2),
        "primary_resistance": quantity(rng.uniform(0.002, 0.01) * impedance, "ohm", 2),
        "secondary_resistance": quantity(rng.uniform(0.002, 0.01) * impedance / n**2, "ohm", 2),
        "core_area": f"{rounded(area * 1e6):g} mm^2",
        "saturation_flux": quantity(saturation, "T", 2),
    }
    path = 12.0 * sqrt(area) * rng.uniform(0.5, 1.2)
    if rng.random() < 0.5 and 4e-7 * pi * turns**2 * area / path < 0.2 * magnetising:
        found["core_path"] = quantity(path, "m", 2)
    if plan.topology == "half-blocking" or rng.random() < 0.45:
        found["blocking_capacitance"] = quantity(_series(rng, plan.frequency, impedance), "F", 2)
    return found


def _cooling(rng: random.Random, power: float, topology: str) -> dict[str, str]:
    """Heatsink for two to six per cent of the power at 10 to 35 K."""
    loss = max(0.04 * power, 5.0)
    return {
        "source": "estimated",
        "ambient": f"{rng.randint(20, 40)} degC",
        "pad_resistance": quantity(rng.uniform(0.2, 0.6), "K/W", 2),
        "heatsink_resistance": quantity(rng.uniform(10.0, 35.0) / loss, "K/W", 2),
    }


def _limits(rng: random.Random, current: float) -> dict[str, Any]:
    return {
        "source": "design choice",
        "supply_current": quantity(max(current, 0.2) * rng.uniform(1.2, 3.5), "A", 2),
        "hold_time": "10 s",
        "threshold_margin": f"{rng.choice((0.3, 0.5, 1.0))} V",
        "derating": {
            "drain_voltage": 0.8,
            "current": 0.8,
            "gate_voltage": 0.8,
            "recovery": 0.8,
            "junction_rise": 0.8,
            "capacitor": 0.9,
            "flux": 0.75,
        },
    }
