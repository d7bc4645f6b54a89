"""First-order design numbers of a machine, each beside its limit; no circuit run.

Everything comes from the fast models at the drive's working margin above each load's resonance,
so the table seeds a judgement and gives none: a verdict comes from circuit runs only.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi, sqrt

from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Load, Machine
from simkit.scout.halfwave import Edges
from simkit.scout.plant import plant_from_machine, swing_charge
from simkit.scout.steady import SteadyState, steady


@dataclass(frozen=True)
class CheckRow:
    """One design number; value and limit in `unit`."""

    load: str
    quantity: str
    unit: str
    value: float
    limit: float | None
    low: bool
    """Whether the limit is a least value instead of a largest."""
    source: str

    @property
    def status(self) -> str:
        """ok, over, or "" where there is no limit."""
        if self.limit is None:
            return ""
        return "over" if (self.value < self.limit) == self.low else "ok"


def check_machine(machine: Machine) -> tuple[CheckRow, ...]:
    """Design numbers of the empty coil and of every workpiece."""
    names = ["empty", *machine.workpieces]
    return tuple(row for name in names for row in _of_load(machine, name))


def _of_load(machine: Machine, name: str) -> Iterator[CheckRow]:
    load = machine.load(name)
    yield from _tank_rows(machine, name, load)
    if name == "empty":
        return  # nobody runs the empty coil at full voltage near its resonance on purpose
    frequency = (1.0 + machine.drive.working_margin) * machine.resonance(load.inductance)
    state = working_state(machine, load, frequency)
    limits = {limit.quantity: limit for limit in machine_limits(machine)}
    tank = machine.tank
    voltage = state.tank_voltage_peak / sqrt(2.0)
    current = 2.0 * pi * frequency * tank.can_capacitance * voltage
    flux = flux_swing(machine, frequency)

    def row(quantity: str, unit: str, value: float, limit: str | None = None) -> CheckRow:
        bound = limits[limit] if limit else None
        source = bound.source if bound else "fast model at drive.working_margin"
        return CheckRow(name, quantity, unit, value, bound.bound if bound else None, False, source)

    yield row("working frequency", "Hz", frequency)
    yield row("input power", "W", state.input_power)
    yield row("supply current", "A", state.supply_current, "supply_current")
    yield row("primary current, peak", "A", state.primary_current_peak, "channel_current_peak")
    yield row("drain current, rms", "A", state.primary_current_rms / sqrt(2.0), "drain_current_rms")
    yield row("coil current, peak", "A", state.coil_current_peak)
    yield row("voltage per can, rms", "V", voltage, "can_voltage_rms")
    yield row("current per can, rms", "A", current, "can_current_rms")
    yield row("flux swing, peak", "T", flux, "flux_peak")
    yield row("phase, current behind voltage", "deg", state.phase_deg)
    yield row("turn-off current", "A", state.turn_off_current)
    yield from _window_rows(machine, name, state)


def _tank_rows(machine: Machine, name: str, load: Load) -> Iterator[CheckRow]:
    resonance = machine.resonance(load.inductance)
    impedance = sqrt(load.inductance / machine.tank.capacitance)
    drive = machine.drive
    worked_out = "L, C and leakage"
    yield CheckRow(
        name,
        "resonant frequency f0",
        "Hz",
        resonance,
        drive.frequency_min,
        True,
        f"{worked_out}; the drive must reach above it (drive.frequency_min)",
    )
    yield CheckRow(name, "characteristic impedance Z0", "ohm", impedance, None, False, worked_out)
    quality = impedance / load.resistance
    yield CheckRow(name, "Q of the tank", "1", quality, None, False, worked_out)


def _window_rows(machine: Machine, name: str, state: SteadyState) -> Iterator[CheckRow]:
    """Dead time against the time the node needs to swing and the time until current reverses."""
    needed, reversal = dead_time_window(machine, state)
    dead = machine.drive.dead_time
    yield CheckRow(
        name,
        "dead time against swing of the node",
        "s",
        dead,
        needed,
        True,
        "output charge over turn-off current",
    )
    yield CheckRow(
        name,
        "dead time against reversal of the current",
        "s",
        dead,
        reversal,
        False,
        "turn-off current over the current's slope",
    )


def working_state(machine: Machine, load: Load, frequency: float) -> SteadyState:
    """Fast model's steady state of a machine at a drive frequency [Hz]."""
    edges = Edges(machine.drive.dead_time, swing_charge(machine))
    return steady(plant_from_machine(machine, load), frequency, edges)


def flux_swing(machine: Machine, frequency: float) -> float:
    """Peak flux density under the bridge's square voltage, V/(4 f N A) [T].

    A rectangle of half period T/2 moves the flux linkage by V T/2 from one peak to the other
    (Faraday's law); for a half bridge V is half the link voltage.
    """
    level = machine.supply.voltage * (1.0 if machine.bridge.topology == "full" else 0.5)
    area = machine.transformer.primary_turns * machine.transformer.core_area
    return level / (4.0 * frequency * area)


def dead_time_window(machine: Machine, state: SteadyState) -> tuple[float, float]:
    """Time the node needs to swing, and time until the current reverses [s].

    Needed: swing charge over turn-off current (constant current: valid while short against the
    period). Reversal: turn-off current over the slope of a sine of that peak and lag at its zero.
    Infinite and zero when the current does not lag.
    """
    current = state.turn_off_current
    if current <= 0.0:
        return float("inf"), 0.0
    peak = max(state.primary_current_peak, current * (1.0 + 1e-9))
    from math import asin

    omega = 2.0 * pi * state.frequency
    return swing_charge(machine) / current, asin(min(current / peak, 1.0)) / omega
