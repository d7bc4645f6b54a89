"""A self-oscillating drive that follows its own output current: what its samples do not show.

The magnetising current is part of what it follows. A slow offset of it shifts the zeros of the
sensed current so that the halves of its own sign last longer, which adds to the offset: a negative
resistance (`scout.loop_gain.offset_resistance`) of half the load's impedance, against some tenths
of an ohm in series. With a blocking capacitor the two swing up at their resonance until the core
saturates; a plain run of a lift on the demonstration machine did so within 1.8 ms, and one whose
current was sensed behind the transformer did not. Samples start without an offset and end before
one has grown.
"""

from dataclasses import replace

from simkit.rehearsal.findings import Rehearsal
from simkit.scout.loop_gain import offset_resistance
from simkit.scout.plant import plant_from_machine


def with_offset_swing(rehearsal: Rehearsal) -> Rehearsal:
    """The rehearsal; without "within the limits checked" where an offset would grow."""
    loop, found = rehearsal.machine.drive.loop, rehearsal.verdict
    if loop is None or loop.by != "self-oscillating" or found.outcome != "within_limits":
        return rehearsal
    machine, at = rehearsal.machine, rehearsal.before
    plant = plant_from_machine(
        machine, machine.load(rehearsal.scenario.start.load), at.supply_voltage_v
    )
    grows = offset_resistance(
        plant.level, at.primary_current_peak_a, at.frequency_hz, loop.lead_network or 0.0
    )
    if grows <= plant.series_resistance:
        return rehearsal
    said = (
        f"{found.reason} But the drive follows the output current with the magnetising current in "
        f"it: an offset grows, by {grows:.2g} ohm against {plant.series_resistance:.2g} ohm in "
        "series, until the core saturates, and this run is too short to show it."
    )
    return replace(rehearsal, verdict=replace(found, outcome="no_verdict", reason=said))
