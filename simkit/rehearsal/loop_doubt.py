"""What a drive's loop may do that the samples of a lift do not show: never within the limits then.

A self-oscillating drive that follows its bridge's output current follows the magnetising current in
it. A slow offset shifts the zeros of the sensed current so that the halves of its own sign last
longer, which adds to the offset: a negative resistance (`scout.loop_gain.offset_resistance`) of
half the load's impedance, against some tenths of an ohm in series. With a blocking capacitor the
two swing up at their resonance until the core saturates; a plain run of a lift on the demonstration
machine did so within 1.8 ms. What is sensed at the capacitor bank carries no offset. A run starts
without one and ends before one has grown, so the poles of the network with that resistance in it
decide (`scout.loop_gain.offset_growth`), before the event and on the load it ends with.

A loop whose gain the last load does not bear swings as well. How far depends on the smallest error
it begins with: a controller at 0.8 of deadbeat ended a lift at 56 degrees in a plain run, diodes
forced off on the way, and at 18 degrees in the fast model.
"""

from dataclasses import replace
from math import pi

from simkit.measure.point import OperatingPoint
from simkit.parameters.loop import Loop
from simkit.parameters.machine import Load, Machine
from simkit.rehearsal.findings import Rehearsal
from simkit.scout.loop_gain import loop_gain, offset_growth, offset_resistance
from simkit.scout.plant import plant_from_machine
from simkit.units import format_quantity

UNSURE = 1.25
"""A negative resistance counts for so much more [1]: it is derived for a sinusoidal current."""


def with_loop_doubt(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal; "no verdict" in place of within the limits where it may swing unseen."""
    verdict = rehearsal.verdict
    if verdict.outcome != "within_limits" or rehearsal.machine.drive.loop is None:
        return rehearsal
    said = _offset(rehearsal) or unstable(rehearsal)
    if not said:
        return rehearsal
    reason = f"{verdict.reason} But {said}"
    return replace(rehearsal, verdict=replace(verdict, outcome="no_verdict", reason=reason))


def _offset(rehearsal: Rehearsal) -> str:
    """What a self-oscillating drive does with an offset of its current; empty where damped."""
    machine, line = rehearsal.machine, rehearsal.line
    loop = machine.drive.loop
    if loop is None or loop.by != "self-oscillating":
        return ""
    last = Load(inductance=line.inductance.last, resistance=line.resistance.last)
    points = [(machine.load(rehearsal.scenario.start.load), rehearsal.before)]
    points += [(last, rehearsal.after)] if rehearsal.after else []
    said = (_swings(machine, loop, load, at) for load, at in points)
    return next((text for text in said if text), "")


def _swings(machine: Machine, loop: Loop, load: Load, at: OperatingPoint) -> str:
    plant = plant_from_machine(machine, load, at.supply_voltage_v)
    followed = at.primary_current_peak_a
    if loop.sensed == "bank":
        followed = 2.0 * pi * at.frequency_hz * plant.capacitance * at.tank_voltage_peak_v
    late = loop.lead_network or 0.0
    found = offset_resistance(plant.level, followed, at.frequency_hz, late)
    pace = offset_growth(plant, at.frequency_hz, UNSURE * found, loop.sensed)
    if pace <= 0.0:
        return ""
    whose = "output current, magnetising current and all"
    return (
        f"the drive follows the {whose if loop.sensed == 'current' else 'bank current'}: an "
        f"offset grows, by {found:.2g} ohm against {plant.series_resistance:.2g} ohm in series "
        f"and e-fold in {format_quantity(1.0 / pace, 's', 2)}, until the core saturates, and this "
        "run is too short to show it."
    )


def unstable(rehearsal: Rehearsal) -> str:
    """What the loop's gain does on the load the event ends with; empty where that bears it."""
    line, machine = rehearsal.line, rehearsal.machine
    if line.oscillator is None or rehearsal.is_whole:
        return ""
    load = Load(inductance=line.inductance.last, resistance=line.resistance.last)
    loop, name = machine.drive.loop, rehearsal.scenario.start.load
    angle = line.oscillator.angle + 2.0 * pi * line.frequency.first * line.oscillator.seconds
    found = loop_gain(machine, load, (loop.set_with if loop else None) or name, angle)
    if found is None or found.gain <= found.most:
        return ""
    return (
        f"on the load it ends with the drive's loop has {found.gain:.3g} of gain and is stable up "
        f"to {found.most:.3g}: it swings, which samples do not show."
    )
