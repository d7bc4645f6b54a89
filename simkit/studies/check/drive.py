"""Rows of `simkit check` on what no load changes: gate drive, rectifier, precharge."""

from collections.abc import Iterator
from math import inf, sqrt

from simkit.parameters.machine import Machine
from simkit.parameters.supply import PrechargePath, Rectifier
from simkit.parts.gate_drive import (
    GateLoop,
    drive_power,
    overshoot,
    peak_driver_current,
    suggested_resistor,
)
from simkit.parts.mosfet import carried, gate_charges
from simkit.parts.precharge import Lamp, lamp_from_rating, precharge
from simkit.parts.supply import Mains, rectifier_power
from simkit.scout.drive import dead_time_left
from simkit.studies.check.row import CheckRow, Rows

COARSE = 20
"""Steps of the precharge per mains period: time and heat are within 1 % of 200 steps (tests)."""


def gate_rows(rows: Rows, machine: Machine) -> Iterator[CheckRow]:
    """Power and peak current of one gate's driver, and whether its loop rings."""
    drive, channel = machine.drive, machine.switch.channel
    swing = drive.voltage_on - drive.voltage_off
    transformer = drive.transformer
    loop = GateLoop(
        inductance=drive.loop_inductance + (transformer.leakage_inductance if transformer else 0.0),
        input_capacitance=channel.gate_source_capacitance + channel.gate_drain_capacitance_max,
        driver_resistance=drive.source_resistance,
        internal_resistance=channel.gate_resistance,
        resistor=drive.gate_resistor,
    )
    current = carried(channel, drive.voltage_on, machine.switch.ratings.drain_current)
    charge = gate_charges(channel, machine.supply.voltage, current, drive.voltage_on)["total"]
    power = drive_power(charge, swing, drive.frequency_max)
    told = "gate charge times swing, at drive.frequency_max"
    yield rows.plain("gate drive power, each gate", "W", power, told)
    peak = peak_driver_current(loop, swing)
    yield rows.plain("driver current, peak", "A", peak, "step into the gate loop's R, L and C")
    lift = drive.voltage_on + overshoot(loop) * swing
    yield rows.judged("gate voltage at turn-on, peak", "V", lift, "gate_voltage_peak")
    least = suggested_resistor(loop)
    told = "critical damping of the gate loop; below it the gate rings"
    yield rows.plain("gate resistor for no overshoot", "ohm", least, told)
    left, told = (
        dead_time_left(machine),
        "less turn-off, plus turn-on of the gates; drive.edge_time",
    )
    yield rows.least("dead time left by the gates", "s", left, drive.edge_time, told)


def loop_rows(rows: Rows, machine: Machine, name: str) -> Iterator[CheckRow]:
    """The gain of the drive's loop on a load, beside the most at which it is stable."""
    from simkit.scout.loop_gain import angle_held, limit_gain, loop_gain

    limits = limit_gain(machine, machine.load(name))
    if limits is not None:
        told = f"stable up to here; it holds {limits.frequency / 1e3:.4g} kHz on this load"
        yield rows.most("current limit's bandwidth", "Hz", limits.gain, limits.most, told)
    loop, first = machine.drive.loop, next(iter(machine.workpieces), "empty")
    if loop is None or loop.holds in ("margin", "none"):
        return
    piece = loop.set_with or first
    found = loop_gain(machine, machine.load(name), piece, angle_held(machine, loop, piece))
    if found is None:
        return
    told = f"stable up to here; tank memory {found.memory:.3g} s, the same angle held"
    if loop.by == "sampled":
        yield rows.most("loop gain, 1 is deadbeat", "1", found.gain, found.most, told)
    else:
        yield rows.most("loop bandwidth", "Hz", found.gain, found.most, told)


def supply_rows(rows: Rows, machine: Machine, power: float) -> Iterator[CheckRow]:
    """Inrush, precharge and ripple of a rectifier; `power` is the largest drawn [W]."""
    rectifier = machine.supply.rectifier
    if rectifier is None:
        return
    peak = sqrt(2.0) * rectifier.mains_voltage
    series = rectifier.line_resistance + machine.supply.link.esr
    surge, told = rectifier.surge_current, "supply.rectifier.surge_current"
    path = rectifier.precharge
    if path is None:
        yield rows.most("inrush current, no precharge", "A", peak / series, surge, told)
    else:
        yield from _precharge_rows(rows, machine, rectifier, path)
        left = (1.0 - path.close_share) * peak / series
        yield rows.most("inrush when the relay closes", "A", left, surge, told)
    yield from _ripple_rows(rows, machine, peak, power)


def _precharge_rows(
    rows: Rows, machine: Machine, rectifier: Rectifier, path: PrechargePath
) -> Iterator[CheckRow]:
    element = charging_element(path)
    mains = Mains(
        rectifier.mains_voltage, rectifier.mains_frequency, rectifier.line_resistance,
        rectifier.diode_drop,
    )  # fmt: skip
    found = precharge(
        mains, machine.supply.link.capacitance, element, rectifier.bleeder or inf,
        path.close_share, steps=COARSE,
    )  # fmt: skip
    by = "lamp" if isinstance(element, Lamp) else "resistor"
    told = f"charging through the {by}, switched on at the peak of the mains"
    surge = rectifier.surge_current
    yield rows.most(
        f"charging current through the {by}, peak", "A", found.peak_current, surge, told
    )
    told = f"until {path.close_share:.0%} of the peak; infinite: it never gets there"
    yield rows.plain("time to close the relay", "s", found.close_time, told)
    yield rows.plain(f"heat in the {by} until then", "J", found.energy, told)


def charging_element(path: PrechargePath) -> Lamp | float:
    """The lamp, or the resistor [ohm]."""
    if path.resistor is not None:
        return path.resistor
    assert path.lamp_voltage is not None
    assert path.lamp_power is not None
    return lamp_from_rating(path.lamp_voltage, path.lamp_power)


def _ripple_rows(rows: Rows, machine: Machine, peak: float, power: float) -> Iterator[CheckRow]:
    rectifier, capacitance = machine.supply.rectifier, machine.supply.link.capacitance
    assert rectifier is not None
    if power <= 0.0:
        return
    told = "constant power drawn from supply.link between the mains' peaks"
    try:
        link = rectifier_power(peak, rectifier.mains_frequency, power, capacitance)
    except ValueError as error:
        yield rows.plain("link ripple, peak to peak", "V", float("nan"), str(error))
        return
    yield rows.plain("link ripple, peak to peak", "V", link.ripple, told)
    yield rows.plain("link voltage, lowest", "V", link.lowest, told)
