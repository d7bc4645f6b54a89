"""Circuit values: the numbers the templates need, worked out from machine and timeline.

All arithmetic is here, none in the templates. Each builder fills the namespace of one template.
"""

from dataclasses import dataclass
from math import exp
from typing import Any

from simkit.circuit.commands import command
from simkit.circuit.faults import closing, fading, of_kind, opening, resting
from simkit.circuit.gate_start import gate_start
from simkit.circuit.timeline import Timeline
from simkit.parameters.machine import BodyDiode, Drive, Machine, Switch, Transformer
from simkit.parts.core import SaturableCore, excess_current, transformer_core
from simkit.parts.igbt import knee_saturation

THERMAL_VOLTAGE = 0.025864922
"""k T / q at 300.15 K, the engine's default temperature [V]."""

Namespace = dict[str, Any]
Points = list[tuple[float, float]]


@dataclass(frozen=True)
class Seed:
    """Slow states at the moment the deck starts; the fast ones settle during the run-in."""

    link_voltage: float
    """Across the link capacitor [V]."""
    film_voltage: float | None = None
    """Across the film capacitor [V]; as the link's when not given."""
    primary_current: float = 0.0
    """Out of bridge node a, through the leakage inductance [A]."""
    load_current: float = 0.0
    """Out of the transformer's secondary [A]."""
    coil_current: float = 0.0
    """[A]"""
    tank_voltage: float = 0.0
    """Across the capacitor bank, in the direction of its current [V]."""
    blocking_voltage: float = 0.0
    """Across all capacitance in series with the primary, less its rest [V]: a blocking capacitor's
    and that of split capacitors, where there are both."""
    linkage: float | None = None
    """Flux linkage of the primary [Wb]; when not given, that of a linear core with the magnetising
    current that primary and load current leave."""


@dataclass(frozen=True)
class SwitchPlace:
    """Where one switch sits and which half period it belongs to."""

    number: int
    drain: str
    source: str
    first: bool
    """On during the half period that holds time zero."""


def places(machine: Machine) -> tuple[SwitchPlace, ...]:
    """Switches of the bridge, upper before lower, leg a before leg b."""
    leg_a = (SwitchPlace(1, "p", "a", True), SwitchPlace(2, "a", "0", False))
    if machine.bridge.legs == 1:
        return leg_a
    return (*leg_a, SwitchPlace(3, "p", "b", False), SwitchPlace(4, "b", "0", True))


def saturation_current(diode: BodyDiode) -> float:
    """Saturation current of the junction that carries q_E/T_M [A].

    In steady forward conduction q_M = tau i, so that the junction carries i (1 + tau/T_M); it
    drops the forward voltage less the ohmic part at the given point
    (Lauritzen and Ma, IEEE Trans. Power Electronics 6(2), 1991, equations 5 and 6 with dq/dt = 0).
    """
    current = diode.forward_current * (1.0 + diode.lifetime / diode.transit_time)
    voltage = diode.forward_voltage - diode.forward_current * diode.series_resistance
    return current / (exp(voltage / (diode.emission * THERMAL_VOLTAGE)) - 1.0)


def switch_values(switch: Switch) -> Namespace:
    """Namespace of switch.cir.j2; the stored charge is counted in microcoulombs."""
    channel, diode, package = switch.channel, switch.diode, switch.package
    return {
        **model_values(switch),
        "vto": channel.threshold,
        "kp": channel.transconductance,
        "rd": channel.drain_resistance,
        "rgi": channel.gate_resistance,
        "cgs": channel.gate_source_capacitance,
        "cgdmax": channel.gate_drain_capacitance_max,
        "cgdmin": channel.gate_drain_capacitance_min,
        "a": channel.gate_drain_slope,
        "cjo": channel.output_capacitance_zero,
        "vj": channel.junction_potential,
        "m": channel.junction_grading,
        "bv": channel.breakdown_voltage,
        "diode_is": saturation_current(diode),
        "diode_n": diode.emission,
        "diode_rs": diode.series_resistance,
        "per_rs": 1.0 / diode.series_resistance,
        "per_transit": 1e-6 / diode.transit_time,
        "charge_leak": diode.lifetime / 1e-6,
        **bipolar_values(switch),
        "ld": package.drain_inductance,
        "lcs": package.common_source_inductance,
        "lsp": package.source_inductance,
        "lead_damping": package.lead_damping,
    }


class NormalForm(str):
    """Lines of a model in normal form, each of them checked by `SwitchModel`."""

    __slots__ = ()


def model_values(switch: Switch) -> Namespace:
    """The part of the switch's namespace that a model file brings."""
    if switch.model is None:
        return {"model": False, "diode_alone": False}
    lines = NormalForm("\n".join(switch.model.lines))
    alone = switch.model.diode_alone
    return {"model": not alone, "diode_alone": alone, "model_lines": lines,
            "model_nodes": switch.model.nodes}  # fmt: skip


KNEE_TO_OUTPUT = 10.0
"""Capacitance of an IGBT's series junction over C_oes at no voltage [1]: while it blocks, the
channel's node follows the collector to a tenth."""


def bipolar_values(switch: Switch) -> Namespace:
    """The part of the switch's namespace that an IGBT has."""
    bipolar = switch.bipolar
    if bipolar is None:
        return {"bipolar": False}
    return {
        "bipolar": True,
        "knee_is": knee_saturation(bipolar),
        "knee_n": bipolar.emission,
        "knee_cjo": KNEE_TO_OUTPUT * switch.channel.output_capacitance_zero,
        "base_leak": bipolar.lifetime / 1e-6,
        "per_base_transit": 1e-6 / bipolar.transit_time,
        "per_reach": 1.0 / bipolar.reach_voltage,
    }


def supply_values(machine: Machine, line: Timeline, seed: Seed) -> Namespace:
    """Namespace of supply.cir.j2."""
    supply, bridge = machine.supply, machine.bridge
    return {
        "steps": not line.voltage.constant,
        "one_way": not line.voltage.constant or bool(opens(line, "link-capacitor-open")),
        "voltage": line.voltage.first,
        "points": line.voltage.points(line.begin, line.stop),
        "source_resistance": supply.source_resistance,
        "link": supply.link.model_dump(),
        "link_opens": opens(line, "link-capacitor-open"),
        "fuse": opens(line, "fuse"),
        "film": supply.film.model_dump(),
        "link_voltage": seed.link_voltage,
        "film_voltage": seed.link_voltage if seed.film_voltage is None else seed.film_voltage,
        "bus_inductance": supply.bus_inductance,
        "bus_damping": supply.bus_damping,
        "loop_inductance": bridge.loop_inductance,
        "loop_damping": bridge.loop_damping,
    }


def series_shares(machine: Machine) -> tuple[float, float]:
    """Shares of split capacitors and blocking capacitor in the voltage across both [1].

    The same current charges them, so that each takes 1/C of it; the split capacitors count as
    parallel. Zero for one that is not there.
    """
    split, blocking = machine.bridge.split_capacitance, machine.transformer.blocking_capacitance
    parts = (0.5 / split if split else 0.0, 1.0 / blocking if blocking else 0.0)
    return parts[0] / (sum(parts) or 1.0), parts[1] / (sum(parts) or 1.0)


def bridge_values(machine: Machine, line: Timeline, seed: Seed) -> Namespace:
    """Namespace of bridge.cir.j2 and of the gate templates' loop over switches."""
    bridge, drive, snubber = machine.bridge, machine.drive, machine.bridge.snubber
    on, off = drive.voltage_on, drive.voltage_off
    if drive.isolation == "transformer":
        off = 0.0
    split = series_shares(machine)[0] * seed.blocking_voltage
    switches = [
        {
            "number": p.number,
            "drain": p.drain,
            "source": p.source,
            "told": "gu" if p.first else "gl",
            "untold": "gl" if p.first else "gu",
            **_commands(line, drive, p, on, off),
            "start_voltage": 0.0 if p.first else seed.link_voltage,
            "lead": lead_values(line, p.number),
            "gate": gate_start(machine, line, p.first),
        }
        for p in places(machine)
    ]
    return {
        "topology": bridge.topology,
        "switches": switches,
        "legs": list(bridge.form.nodes),
        "rest": rests(line),
        "snubber": snubber.place if snubber else None,
        "snubber_resistance": snubber.resistance if snubber else None,
        "snubber_capacitance": snubber.capacitance if snubber else None,
        "split_capacitance": bridge.split_capacitance,
        "split_esr": bridge.split_esr,
        "split_voltage_high": 0.5 * seed.link_voltage - split,
        "split_voltage_low": 0.5 * seed.link_voltage + split,
    }


def _commands(
    line: Timeline, drive: Drive, p: SwitchPlace, on: float, off: float
) -> dict[str, str | None]:
    """Sources of a switch's command and of the other half period's; none where a loop commands."""
    if line.inside:
        return {"command": None, "opposite": None}
    return {
        "command": command(line, drive, p.number, p.first, on, off),
        "opposite": command(line, drive, p.number, not p.first, on, off, opposite=True),
    }


def oscillator_values(machine: Machine, line: Timeline) -> Namespace:
    """Namespace of oscillator.cir.j2; empty where the commands are laid out in advance."""
    if not line.inside or line.oscillator is None:
        return {}
    phase, frequency = line.phase(line.begin), line.frequency.at(line.begin)
    return line.oscillator.values(machine, line.begin, phase, frequency)


def lead_values(line: Timeline, switch: int) -> Points | None:
    """Break points of a gate lead that opens, None when it holds."""
    fault = next((f for f in line.faults if f.kind == "gate-open" and f.hits(switch)), None)
    return opening(fault).points(line.begin, line.stop) if fault else None


def opens(line: Timeline, kind: str) -> Points | None:
    """Break points of a contact that opens in a fault of a kind, None without that fault."""
    fault = of_kind(line.faults, kind)
    return opening(fault).points(line.begin, line.stop) if fault else None


def rests(line: Timeline) -> Points | None:
    """Break points of what holds the bridge's nodes until a start, None without one to come."""
    fault = of_kind(line.faults, "start")
    if fault is None or line.begin >= fault.start:
        return None
    return resting(fault).points(line.begin, line.stop)


def fades(line: Timeline) -> Points | None:
    """Break points of the drivers' share of conductance, None while they have their supply."""
    fault = of_kind(line.faults, "driver-unpowered")
    return fading(fault).points(line.begin, line.stop) if fault else None


def gate_values(drive: Drive, line: Timeline) -> Namespace:
    """Namespace of the gate templates."""
    values: Namespace = {
        "isolation": drive.isolation,
        "source_conductance": 1.0 / drive.source_resistance,
        "sink_conductance": 1.0 / drive.sink_resistance,
        "resistor": drive.gate_resistor,
        "turn_off_diode": drive.turn_off_resistor is not None,
        "turn_off_resistor": drive.turn_off_resistor,
        "loop_inductance": drive.loop_inductance,
        "bleed_resistor": drive.bleed_resistor,
        "unpowered": fades(line),
        "loop": line.inside,
        "off": drive.voltage_off,
        "swing": drive.voltage_on - (drive.voltage_off if drive.isolation == "ideal" else 0.0),
    }
    return values | (drive.transformer.model_dump() if drive.transformer else {})


def coupling_values(machine: Machine, seed: Seed) -> Namespace:
    """Namespace of coupling.cir.j2; the secondary inductance is the magnetising one over n^2.

    Linkages are in microwebers. The flux is what the seed hands on: the current that a saturated
    core takes at it comes on top.
    """
    transformer = machine.transformer
    blocking = transformer.blocking_capacitance
    rest = machine.bridge.form.rest_share * seed.link_voltage
    core = transformer_core(transformer)
    current, extra, linkage = _primary_currents(transformer, core, seed)
    return {
        "blocking": blocking is not None,
        "blocking_capacitance": blocking,
        "blocking_voltage": rest + series_shares(machine)[1] * seed.blocking_voltage,
        "primary_resistance": transformer.primary_resistance,
        "leakage_inductance": transformer.leakage_inductance,
        "leakage_current": current + extra,
        "primary_current": current,
        "magnetising_inductance": transformer.magnetising_inductance,
        "secondary_inductance": transformer.magnetising_inductance / transformer.ratio**2,
        "minus_secondary_current": -seed.load_current,
        "secondary_resistance": transformer.secondary_resistance,
        "saturates": core is not None,
        "linkage": linkage * 1e6,
        "core_low": core.low * 1e6 if core else None,
        "core_high": core.high * 1e6 if core else None,
        "core_knee": core.linkage * 1e6 if core else None,
        "core_bend": core.bend * 1e-12 if core else None,
        "core_slope": core.steeper * 1e-6 if core else None,
    }


def _primary_currents(
    transformer: Transformer, core: SaturableCore | None, seed: Seed
) -> tuple[float, float, float]:
    """Primary current with a linear core, what saturation adds [A], and the linkage [Wb]."""
    load = seed.load_current / transformer.ratio
    if seed.linkage is None:
        linkage = transformer.magnetising_inductance * (seed.primary_current - load)
        current = seed.primary_current
    else:
        linkage = seed.linkage
        current = linkage / transformer.magnetising_inductance + load
    return current, excess_current(core, linkage) if core else 0.0, linkage


def lost_cans(machine: Machine, line: Timeline) -> int:
    """Cans that a fault of the timeline opens [1]."""
    fault = of_kind(line.faults, "can-open")
    return min(int(fault.event.cans or 0), machine.tank.cans) if fault else 0


def tank_values(machine: Machine, line: Timeline, seed: Seed) -> Namespace:
    """Namespace of the tank templates; cans that fail open are a branch of their own."""
    tank = machine.tank
    lost = lost_cans(machine, line)
    left = tank.cans - lost
    return {
        "feed": tank.feed,
        "capacitance": tank.can_capacitance * left,
        "esr": tank.can_esr / left,
        "opens": opens(line, "can-open"),
        "lost_capacitance": tank.can_capacitance * lost,
        "lost_esr": tank.can_esr / lost if lost else None,
        "voltage": seed.tank_voltage,
        "matching_inductance": tank.matching.inductance if tank.matching else None,
        "matching_resistance": tank.matching.resistance if tank.matching else None,
        "matching_current": seed.load_current,
    }


def coil_values(line: Timeline, seed: Seed) -> Namespace:
    """Namespace of coil.cir.j2: microhenries, milliohms, microwebers."""
    fault = of_kind(line.faults, "ground-fault")
    earth = closing(fault, float(fault.event.resistance or 0.0)) if fault else None
    scaled = [
        [(t, value * factor) for t, value in profile.points(line.begin, line.stop)]
        for profile, factor in ((line.inductance, 1e6), (line.resistance, 1e3))
    ]
    return {
        "moves": not (line.inductance.constant and line.resistance.constant),
        "inductance": scaled[0][0][1],
        "resistance": scaled[1][0][1],
        "inductance_points": scaled[0],
        "resistance_points": scaled[1],
        "earth": earth.points(line.begin, line.stop) if earth else None,
        "flux": seed.coil_current * line.inductance.at(line.begin) * 1e6,
    }
