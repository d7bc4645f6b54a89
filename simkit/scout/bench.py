"""What instruments show at one setting of a machine, by the fast models.

A setting is a load, a voltage and a drive frequency; what is shown are the readings of
`simkit.parameters.readings`. No verdict: the circuit runs of `studies.bench_point` correct these.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi, sqrt
from typing import TYPE_CHECKING

import numpy as np

from simkit.parts.igbt import conducting_resistance
from simkit.parts.working import load_at, load_at_margin
from simkit.scout.phasor import Complex, Harmonics, input_impedance, solve
from simkit.scout.plant import Array, plant_from_machine

if TYPE_CHECKING:
    from simkit.parameters.machine import Load, Machine

POWERED = frozenset(
    {"supply_current", "tank_voltage", "tank_scope", "primary_current", "current_scope", "phase",
     "heatsink"}
)  # fmt: skip
"""Readings that need the bridge to run."""


@dataclass(frozen=True)
class Setting:
    """What a person sets.

    Fields: load by name; supply_voltage at the bridge's rails under load, or, with `at_source`,
    of the source with no load [V]; frequency [Hz], None where none matters; margin above the
    machine's own resonance [1], which counts instead of the frequency where it is given.
    """

    load: str
    supply_voltage: float
    frequency: float | None = None
    margin: float | None = None
    at_source: bool = False

    def drive(self, machine: Machine) -> float:
        """Drive frequency on a machine [Hz]. Raises ValueError when none is set."""
        if self.margin is not None:
            return (1.0 + self.margin) * resonance(machine, self)
        if self.frequency is None:
            raise ValueError("the setting has neither frequency nor margin")
        return self.frequency


def load_of(machine: Machine, setting: Setting) -> Load:
    """The load as the setting drives it: steel shows other L and R at another current."""
    voltage = setting.supply_voltage
    if setting.margin is None and setting.frequency is not None:
        return load_at(machine, setting.load, setting.frequency, voltage)
    return load_at_margin(machine, setting.load, setting.margin or 0.0, voltage)


def resonance(machine: Machine, setting: Setting) -> float:
    """Frequency at which bridge current and voltage are in phase [Hz].

    Zero of the angle of the input impedance, looked for around the lossless network's; that
    itself where the bridge never sees a resistance (behind a large matching inductor).
    """
    from scipy.optimize import brentq

    load = load_of(machine, replace(setting, frequency=None, margin=0.0))
    plant = plant_from_machine(machine, load, setting.supply_voltage)
    middle = machine.resonance(load.inductance)
    grid = middle * np.linspace(0.8, 1.25, 181)
    angles = input_impedance(plant, grid).imag
    rising = np.flatnonzero((angles[:-1] < 0.0) & (angles[1:] >= 0.0))
    if not rising.size:
        return middle
    at = rising[np.argmin(np.abs(grid[rising] - middle))]

    def reactance(frequency: float) -> float:
        return float(input_impedance(plant, frequency).imag)

    return float(brentq(reactance, grid[at], grid[at + 1], xtol=1e-7 * middle))


def settled(machine: Machine, setting: Setting) -> Harmonics:
    """Harmonic solution at a setting; the rails sag behind the source where it says so."""
    load, voltage = load_of(machine, setting), setting.supply_voltage
    frequency = setting.drive(machine)
    found = solve(plant_from_machine(machine, load, voltage), frequency)
    if not setting.at_source:
        return found
    # The network is linear: current goes with voltage.
    sag = 1.0 + machine.supply.source_resistance * found.supply_current / voltage
    return solve(plant_from_machine(machine, load, voltage / sag), frequency)


def fast_readings(
    machine: Machine, setting: Setting, names: frozenset[str] | None = None
) -> dict[str, float]:
    """Readings the fast models can tell at a setting, by name, in the reading's unit.

    All of them, or those asked for. What they cannot tell is not in it: a ringing that its
    damping leaves no cycle, what a scope shows on a machine without `[probes]`, a powered reading
    without a frequency.
    """
    found = unpowered(machine, setting, names)
    set_up = setting.frequency is not None or setting.margin is not None
    if set_up and (names is None or names & POWERED):
        found |= of_state(machine, setting, settled(machine, setting))
    return found if names is None else {k: v for k, v in found.items() if k in names}


def of_state(machine: Machine, setting: Setting, state: Harmonics) -> dict[str, float]:
    """Powered readings of a harmonic solution. Coil voltage: (R + j w L) times the coil current."""
    load = load_of(machine, setting)
    omega = 2.0 * np.pi * state.frequency * state.order
    coil = state.outputs["coil_current"] * (load.resistance + 1j * omega * load.inductance)
    legs = machine.bridge.legs
    on = legs * conducting_resistance(machine.switch, machine.drive.voltage_on)
    loss = on * state.rms("primary_current") ** 2
    found = {
        "supply_current": state.supply_current,
        "tank_voltage": peak(coil, state.order),
        "primary_current": peak(state.outputs["primary_current"], state.order),
        "phase": state.phase_deg,
        "heatsink": machine.cooling.ambient + machine.cooling.heatsink_resistance * loss,
    }
    return found | on_scope(machine, found)


def peak(amplitudes: Complex, order: Array) -> float:
    """Largest value over half a period of a sum of odd harmonics, to 4e-5 of it."""
    return float(np.abs((_turns(tuple(order.tolist())) @ amplitudes).real).max())


@lru_cache(maxsize=4)
def _turns(order: tuple[float, ...]) -> Complex:
    """Phase factors at every degree of half a period."""
    return np.asarray(np.exp(1j * np.pi * np.outer(np.linspace(0.0, 1.0, 181), order)))


def on_scope(machine: Machine, found: dict[str, float]) -> dict[str, float]:
    """The same amplitudes as the person's scope shows them; empty without `[probes]`."""
    probes = machine.probes
    if probes is None:
        return {}
    return {
        "tank_scope": found["tank_voltage"] / probes.tank_divider,
        "current_scope": found["primary_current"] * probes.current_transformer.volts_per_ampere,
    }


def unpowered(
    machine: Machine, setting: Setting, names: frozenset[str] | None = None
) -> dict[str, float]:
    """Resonance, ring-down, ringing of node and gate, dead time, gate voltage."""
    load = load_of(machine, setting)
    found = {"dead_time": machine.drive.dead_time, "gate_voltage": machine.drive.voltage_on}
    if names is None or "resonance" in names:
        found["resonance"] = resonance(machine, setting)
    if names is None or any(n.startswith("ring_down") for n in names):
        found |= ring_down(machine, load.inductance, load.resistance)
    if names is None or any("ringing" in n for n in names):
        found |= ringing(machine, setting.supply_voltage)
    return found


def ring_down(machine: Machine, inductance: float, resistance: float) -> dict[str, float]:
    """Tank ringing alone: Q = sqrt(L/C)/(R + ESR), f = f0 sqrt(1 - 1/(4 Q^2)) [Hz], [1].

    Series L, R, C (textbook). Nothing where it does not ring (Q below 1/2).
    """
    quality = sqrt(inductance / machine.tank.capacitance) / (resistance + machine.tank.esr)
    if quality <= 0.5:
        return {}
    natural = 1.0 / (2.0 * pi * sqrt(inductance * machine.tank.capacitance))
    frequency = natural * sqrt(1.0 - 0.25 / quality**2)
    return {"ring_down_frequency": frequency, "ring_down_q": quality}


def ringing(machine: Machine, voltage: float) -> dict[str, float]:
    """Ringing of the bridge node and of the gate after their edges, where there is one.

    Node: the loop inductance L1 with its parallel damping R1, in series with the packages' and
    the film capacitor's inductance L2, against the output capacitance C of the switches that are
    off; poles of the third-order loop L1||R1 + L2 s + 1/(C s) = 0, that is
    s^3 L1 L2 C + s^2 R1 C (L1 + L2) + s L1 + R1 = 0. Gate: series L, R, C with the input
    capacitance C_gs + C_gd(min). Range: small swing about the given voltage [V].
    """
    found: dict[str, float] = {}
    pole = node_pole(machine, voltage)
    if pole is not None:
        found["node_ringing_frequency"] = pole.imag / (2.0 * pi)
        found["node_ringing_decay"] = -1.0 / pole.real
    gate = _gate_ringing(machine)
    return found | ({"gate_ringing_frequency": gate} if gate else {})


def output_capacitance(machine: Machine, voltage: float) -> float:
    """Small-signal output capacitance of one switch [F]: C0/(1 + v/Vj)^m + C_gd(min)."""
    channel = machine.switch.channel
    junction: float = (1.0 + voltage / channel.junction_potential) ** channel.junction_grading
    return channel.output_capacitance_zero / junction + channel.gate_drain_capacitance_min


def node_pole(machine: Machine, voltage: float) -> complex | None:
    """Ringing pole of the commutation loop [1/s]; None when it decays within half a cycle."""
    package, bridge = machine.switch.package, machine.bridge
    leads = package.drain_inductance + package.common_source_inductance + package.source_inductance
    legs = bridge.legs
    # Both legs hang on one loop; in each, one switch is on and the other's capacitance charges.
    other = 2.0 * leads / legs + machine.supply.film.esl
    farads = legs * output_capacitance(machine, voltage)
    loop, damping = bridge.loop_inductance, bridge.loop_damping
    poles = np.roots([loop * other * farads, damping * farads * (loop + other), loop, damping])
    ringing = [p for p in poles if p.imag > 0.0 and -p.real * pi < p.imag]
    return complex(ringing[0]) if ringing else None


def _gate_ringing(machine: Machine) -> float | None:
    drive, channel = machine.drive, machine.switch.channel
    farads = channel.gate_source_capacitance + channel.gate_drain_capacitance_min
    resistance = drive.source_resistance + drive.gate_resistor + channel.gate_resistance
    rate = 0.5 * resistance / drive.loop_inductance
    square = 1.0 / (drive.loop_inductance * farads) - rate**2
    visible = square > 0.0 and sqrt(square) > pi * rate
    return sqrt(square) / (2.0 * pi) if visible else None
