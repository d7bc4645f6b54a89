"""First-order design numbers of a machine, each beside its limit; no circuit run.

Everything comes from the fast models at the drive's working margin above each load's resonance,
so the table seeds a judgement and gives none: a verdict comes from circuit runs only.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isfinite, sqrt

from simkit.figures.table import figures
from simkit.judge.limits import machine_limits
from simkit.parameters.machine import Load, Machine
from simkit.parts.working import load_at_margin
from simkit.scout.operating import OperatingPoint, operating_point
from simkit.studies.check.drive import gate_rows, loop_rows, supply_rows
from simkit.studies.check.heat import can_rows, coil_rows, core_rows, loss_rows, melting_rows
from simkit.studies.check.hotter import hotter_rows
from simkit.studies.check.row import CheckRow, Rows

__all__ = ["CheckRow", "check_machine"]
FAST = "fast model at drive.working_margin"
NAMES = {
    "supply_current": "supply current", "channel_current_peak": "primary current, peak",
    "drain_current_rms": "drain current, rms", "can_voltage_rms": "voltage per can, rms",
    "can_current_rms": "current per can, rms", "flux_peak": "flux swing, peak",
    "junction_peak": "junction temperature, estimate",
}  # fmt: skip
"""Names of judged figures in this table, where they differ from the figure's own."""
PIECE_OUT = ", piece out at this frequency"
"""At the end of a figure's name."""
OUT = ("supply_current", "channel_current_peak", "can_voltage_rms", "can_current_rms")
"""Figures shown with the piece out of the coil as well."""
FIRST = ("supply_current", "channel_current_peak", "drain_current_rms")


def check_machine(machine: Machine) -> tuple[CheckRow, ...]:
    """Design numbers of the empty coil, of every workpiece, and of the machine as a whole."""
    limits = {limit.quantity: limit for limit in machine_limits(machine)}
    found = list(_tank_rows(Rows("empty", limits), machine, machine.load("empty")))
    found += loop_rows(Rows("empty", limits), machine, "empty")
    powers = [0.0]
    for name in machine.workpieces:
        at = Working.of(machine, name)
        if at is None:
            found += _out_of_reach(Rows(name, limits), machine, machine.load(name))
            continue
        powers += [p for p in (at.point.input_power,) if isfinite(p)]
        found += _piece_rows(Rows(name, limits), machine, at)
        found += loop_rows(Rows(name, limits), machine, name)
    whole = Rows("machine", limits)
    return (*found, *gate_rows(whole, machine), *supply_rows(whole, machine, max(powers)))


@dataclass(frozen=True)
class Working:
    """A load at the drive's working margin: frequency [Hz] and the fast model's operating point."""

    load: Load
    frequency: float
    point: OperatingPoint

    @classmethod
    def of(cls, machine: Machine, name: str) -> "Working | None":
        """The working point of a workpiece by name; None where the dead time leaves none."""
        load = load_at_margin(machine, name, machine.drive.working_margin, machine.supply.voltage)
        frequency = working_frequency(machine, load)
        if machine.drive.dead_time >= 0.5 / frequency:
            return None
        return cls(load, frequency, operating_point(machine, load, frequency))


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
    point, frequency = at.point, at.frequency
    yield from _tank_rows(rows, machine, at.load)
    # Nobody runs the empty coil at full voltage near its resonance on purpose: pieces only.
    told = {row.quantity: row for row in _figure_rows(rows, machine, point)}
    yield _frequency_row(rows, machine, frequency)
    yield rows.plain("input power", "W", point.input_power, FAST)
    yield from (told.pop(NAMES[q]) for q in FIRST)
    yield rows.plain("coil current, peak", "A", point.coil_current_peak, FAST)
    if point.converged:  # else every figure is not evaluated, and so is what follows from it
        yield from coil_rows(rows, machine, point.coil_current_rms)
    yield from (told.pop(NAMES[q]) for q in ("can_voltage_rms", "can_current_rms"))
    if point.converged:
        yield from can_rows(rows, machine, frequency, point.bank_current_rms)
        yield from core_rows(rows, machine, frequency, point.flux_peak)
    yield told.pop(NAMES["flux_peak"])
    yield rows.plain("phase, current behind voltage", "deg", point.phase, FAST)
    yield rows.plain("turn-off current", "A", point.turn_off_current, FAST)
    yield from _window_rows(rows, point)
    yield from loss_rows(rows, machine, point)
    yield from told.values()
    yield from melting_rows(rows, machine)
    yield from hotter_rows(rows, machine, frequency)
    yield from _out_rows(rows, machine, frequency)


def _out_rows(rows: Rows, machine: Machine, frequency: float) -> Iterator[CheckRow]:
    """What a drive that stays where it is does when the piece is taken out, once that settled."""
    point = operating_point(machine, machine.load("empty"), frequency)
    for row in _figure_rows(rows, machine, point):
        if row.quantity in {NAMES[q] for q in OUT}:
            yield replace(row, quantity=f"{row.quantity}{PIECE_OUT}")


def _figure_rows(rows: Rows, machine: Machine, point: OperatingPoint) -> Iterator[CheckRow]:
    """Every judged figure that the fast model has in steady operation."""
    for name, figure in figures().items():
        if figure.fast.point is not None and name in rows.limits:
            title = NAMES.get(name, figure.full_name)
            yield rows.judged(title, figure.unit, figure.fast.point(machine, point), name)


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


def _window_rows(rows: Rows, point: OperatingPoint) -> Iterator[CheckRow]:
    """Dead time against the time the node needs to swing and the time until current reverses.

    All counted from the off command, the gates' delays in it: the dead time there is until the
    other switch's gate passes its threshold.
    """
    dead = point.dead_time_available
    told = "output charge moved, or the gate's own pace where that is slower; from the off command"
    needed = point.dead_time_needed
    yield rows.least("dead time against swing of the node", "s", dead, needed, told)
    told = "turn-off current until the sine's zero, from the off command"
    quantity = "dead time against reversal of the current"
    yield rows.most(quantity, "s", dead, point.reversal, told)
