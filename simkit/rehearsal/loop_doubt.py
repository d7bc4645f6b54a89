"""What a drive's loop may do that the samples of a lift do not show: never within the limits then.

A self-oscillating drive follows its own output current, magnetising current and all. A slow offset
shifts the zeros of the sensed current so that the halves of its own sign last longer, which adds to
the offset: a negative resistance (`scout.loop_gain.offset_resistance`) of half the load's
impedance, against some tenths of an ohm in series. With a blocking capacitor the two swing up at
their resonance until the core saturates; a plain run of a lift on the demonstration machine did so
within 1.8 ms, and one whose current was sensed behind the transformer did not. A run starts without
an offset and ends before one has grown.

A loop whose gain the last load does not bear swings as well. How far depends on the smallest error
it begins with: a controller at 0.8 of deadbeat ended a lift at 57 degrees in a plain run, diodes
forced off on the way, and at 18 degrees in the fast model.
"""

from dataclasses import replace
from math import pi

from simkit.parameters.machine import Load
from simkit.rehearsal.findings import Rehearsal
from simkit.scout.loop_gain import loop_gain, offset_resistance
from simkit.scout.plant import plant_from_machine


def with_loop_doubt(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal; "no verdict" in place of within the limits where it may swing unseen."""
    verdict = rehearsal.verdict
    if verdict.outcome != "within_limits" or rehearsal.machine.drive.loop is None:
        return rehearsal
    said = _offset(rehearsal) or _unstable(rehearsal)
    if not said:
        return rehearsal
    reason = f"{verdict.reason} But {said}"
    return replace(rehearsal, verdict=replace(verdict, outcome="no_verdict", reason=reason))


def _offset(rehearsal: Rehearsal) -> str:
    """What a self-oscillating drive does with an offset of its current; empty where damped."""
    machine, at = rehearsal.machine, rehearsal.before
    loop = machine.drive.loop
    if loop is None or loop.by != "self-oscillating":
        return ""
    load = machine.load(rehearsal.scenario.start.load)
    plant = plant_from_machine(machine, load, at.supply_voltage_v)
    grows = offset_resistance(
        plant.level, at.primary_current_peak_a, at.frequency_hz, loop.lead_network or 0.0
    )
    if grows <= plant.series_resistance:
        return ""
    return (
        "the drive follows the output current with the magnetising current in it: an offset grows, "
        f"by {grows:.2g} ohm against {plant.series_resistance:.2g} ohm in series, until the core "
        "saturates, and this run is too short to show it."
    )


def _unstable(rehearsal: Rehearsal) -> str:
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
