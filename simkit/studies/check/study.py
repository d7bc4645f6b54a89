"""First-order design numbers of a machine, each beside its limit; no circuit run.

Everything comes from the fast models at the drive's working margin above each load's resonance,
so the table seeds a judgement and gives none: a verdict comes from circuit runs only.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi, sqrt

from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Load, Machine
from simkit.parts.charge import DeadTime, dead_time_window
from simkit.parts.transformer import square_flux
from simkit.scout.halfwave import Edges
from simkit.scout.operating import operating_point
from simkit.scout.plant import plant_from_machine, swing_charge
from simkit.scout.steady import SteadyState, steady
from simkit.studies.check.drive import gate_rows, supply_rows
from simkit.studies.check.heat import can_rows, coil_rows, core_rows, junction_rows, melting_rows
from simkit.studies.check.row import CheckRow, Rows

__all__ = ["CheckRow", "check_machine"]
FAST = "fast model at drive.working_margin"


def check_machine(machine: Machine) -> tuple[CheckRow, ...]:
    """Design numbers of the empty coil, of every workpiece, and of the machine as a whole."""
    limits = {limit.quantity: limit for limit in machine_limits(machine)}
    found = list(_tank_rows(Rows("empty", limits), machine, machine.load("empty")))
    powers = [0.0]
    for name in machine.workpieces:
        at = Working.of(machine, name)
        if at is None:
            found += _out_of_reach(Rows(name, limits), machine, machine.load(name))
            continue
        powers.append(at.state.input_power)
        found += _piece_rows(Rows(name, limits), machine, at)
    whole = Rows("machine", limits)
    return (*found, *gate_rows(whole, machine), *supply_rows(whole, machine, max(powers)))


@dataclass(frozen=True)
class Working:
    """A load at the drive's working margin: frequency [Hz] and the fast model's steady state."""

    load: Load
    frequency: float
    state: SteadyState

    @classmethod
    def of(cls, machine: Machine, name: str) -> "Working | None":
        """The working point of a workpiece by name; None where the dead time leaves none."""
        load = machine.load(name)
        frequency = working_frequency(machine, load)
        if machine.drive.dead_time >= 0.5 / frequency:
            return None
        return cls(load, frequency, working_state(machine, load, frequency))


def working_frequency(machine: Machine, load: Load) -> float:
    """The drive's working margin above a load's resonance [Hz]."""
    return (1.0 + machine.drive.working_margin) * machine.resonance(load.inductance)


def _out_of_reach(rows: Rows, machine: Machine, load: Load) -> Iterator[CheckRow]:
    """Of a load whose working frequency lies so far beyond the drive's that no half period is
    longer than the dead time."""
    yield from _tank_rows(rows, machine, load)
    yield _frequency_row(rows, machine, working_frequency(machine, load))


def _frequency_row(rows: Rows, machine: Machine, frequency: float) -> CheckRow:
    highest = machine.drive.frequency_max
    told = f"{FAST}; drive.frequency_max"
    return rows.most("working frequency", "Hz", frequency, highest, told)


def _piece_rows(rows: Rows, machine: Machine, at: Working) -> Iterator[CheckRow]:
    state, frequency, tank = at.state, at.frequency, machine.tank
    yield from _tank_rows(rows, machine, at.load)
    # Nobody runs the empty coil at full voltage near its resonance on purpose: pieces only.
    voltage = state.tank_voltage_peak / sqrt(2.0)
    current = 2.0 * pi * frequency * tank.can_capacitance * voltage
    flux = flux_swing(machine, frequency)
    yield _frequency_row(rows, machine, frequency)
    yield rows.plain("input power", "W", state.input_power, FAST)
    yield rows.judged("supply current", "A", state.supply_current, "supply_current")
    yield rows.judged(
        "primary current, peak", "A", state.primary_current_peak, "channel_current_peak"
    )
    rms = state.primary_current_rms / sqrt(2.0)
    yield rows.judged("drain current, rms", "A", rms, "drain_current_rms")
    yield rows.plain("coil current, peak", "A", state.coil_current_peak, FAST)
    yield from coil_rows(rows, machine, state.coil_current_peak / sqrt(2.0))
    yield rows.judged("voltage per can, rms", "V", voltage, "can_voltage_rms")
    yield rows.judged("current per can, rms", "A", current, "can_current_rms")
    yield from can_rows(rows, machine, frequency, tank.cans * current)
    yield rows.judged("flux swing, peak", "T", flux, "flux_peak")
    yield from core_rows(rows, machine, frequency, flux)
    yield rows.plain("phase, current behind voltage", "deg", state.phase_deg, FAST)
    yield rows.plain("turn-off current", "A", state.turn_off_current, FAST)
    yield from _window_rows(rows, machine, state)
    yield from junction_rows(rows, machine, operating_point(machine, at.load, frequency))
    yield from melting_rows(rows, machine)


def _tank_rows(rows: Rows, machine: Machine, load: Load) -> Iterator[CheckRow]:
    resonance = machine.resonance(load.inductance)
    impedance = sqrt(load.inductance / machine.tank.capacitance)
    worked_out = "L, C and leakage"
    reached = f"{worked_out}; the drive must reach above it (drive.frequency_min)"
    lowest = machine.drive.frequency_min
    yield rows.least("resonant frequency f0", "Hz", resonance, lowest, reached)
    yield rows.plain("characteristic impedance Z0", "ohm", impedance, worked_out)
    empty = machine.load("empty")
    unloaded = sqrt(empty.inductance / machine.tank.capacitance) / empty.resistance
    yield rows.plain("Q unloaded", "1", unloaded, "Z0 over R of the empty coil")
    if rows.load != "empty":
        told = "Z0 over R with the piece in the coil"
        yield rows.plain("Q loaded", "1", impedance / load.resistance, told)


def _window_rows(rows: Rows, machine: Machine, state: SteadyState) -> Iterator[CheckRow]:
    """Dead time against the time the node needs to swing and the time until current reverses."""
    window = dead_window(machine, state)
    dead = machine.drive.dead_time
    told = "output charge moved by the falling sine from turn-off on"
    yield rows.least("dead time against swing of the node", "s", dead, window.needed, told)
    told = "turn-off current until the sine's zero"
    quantity = "dead time against reversal of the current"
    yield rows.most(quantity, "s", dead, window.available, told)


def working_state(machine: Machine, load: Load, frequency: float) -> SteadyState:
    """Fast model's steady state of a machine at a drive frequency [Hz]."""
    edges = Edges(machine.drive.dead_time, swing_charge(machine))
    return steady(plant_from_machine(machine, load), frequency, edges)


def flux_swing(machine: Machine, frequency: float) -> float:
    """Peak flux density under the bridge's square voltage [T]; V is half the link's at a half
    bridge. Source and range: `transformer.square_flux`.
    """
    level = machine.supply.voltage * (1.0 if machine.bridge.topology == "full" else 0.5)
    transformer = machine.transformer
    return square_flux(level, frequency, transformer.primary_turns, transformer.core_area)


def dead_window(machine: Machine, state: SteadyState) -> DeadTime:
    """Time the node needs to swing, and time until the current reverses [s].

    Source and range: `charge.dead_time_window`; infinite and zero when the current does not lag.
    """
    peak = max(state.primary_current_peak, state.turn_off_current)
    charge, dead = swing_charge(machine), machine.drive.dead_time
    return dead_time_window(charge, peak, state.turn_off_current, state.frequency, dead)
