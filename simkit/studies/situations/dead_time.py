"""Dead time too short, too long, and near its window's edges."""

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import Case, NotHere, Situation, draft, main_load, rounded

SHORT = 0.1
"""Of the machine's dead time [1]: the gates' own delays then overlap."""
LIGHT = 1.25
"""Drive over resonance with little current at the edge [1]."""


def _with_dead_time(machine: Machine, name: str, title: str, dead_time: float) -> Case:
    event = {"kind": "dead-time", "dead_time": rounded(dead_time), "at": 0.0}
    return draft(machine, name, title=title, events=[event])


def short(machine: Machine) -> Case:
    """A tenth of the dead time, from some moment on."""
    return _with_dead_time(
        machine, "dead-time-short", "Dead time falls to a tenth", SHORT * machine.drive.dead_time
    )


def none(machine: Machine) -> Case:
    """No dead time at all: what one gate loses in delay the other must not gain."""
    return _with_dead_time(machine, "dead-time-none", "No dead time", 0.0)


def long(machine: Machine) -> Case:
    """A fifth of the period: the current reverses within it and charges the node back."""
    longest = 0.2 / machine.drive.frequency_max
    if longest <= 1.5 * machine.drive.dead_time:
        raise NotHere("the dead time is as long already as the highest frequency allows")
    return _with_dead_time(machine, "dead-time-long", "Dead time far too long", longest)


def light(machine: Machine) -> Case:
    """The machine's own dead time where little current is left to swing the node."""
    load = main_load(machine)
    frequency = LIGHT * machine.resonance(machine.load(load).inductance)
    if frequency > machine.drive.frequency_max:
        frequency = machine.drive.frequency_max
    title = "Far above resonance: little current to swing the node"
    start = {"frequency": rounded(frequency), "load": load}
    return draft(machine, "dead-time-light-load", title=title, start=start)


FAMILY = "dead time"
DEAD_TIME = (
    Situation(
        "dead-time-short",
        FAMILY,
        "Dead time too short",
        "One switch turns on before the other is off: shoot-through, or hard switching at least.",
        short,
    ),
    Situation(
        "dead-time-none",
        FAMILY,
        "No dead time",
        "Both switches of a leg overlap by the difference of their delays.",
        none,
    ),
    Situation(
        "dead-time-long",
        FAMILY,
        "Dead time too long",
        "The current reverses, charges the node back, and the next switch turns on hard.",
        long,
    ),
    Situation(
        "dead-time-light-load",
        FAMILY,
        "Dead time at light load",
        "Little current takes long to swing the node; what is left is switched hard.",
        light,
    ),
)
