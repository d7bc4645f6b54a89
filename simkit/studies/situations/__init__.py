"""Everything that happens on the bench: a known set of situations, each for any machine.

A newcomer adds one by a small function in the file of its family that drafts the case for a
machine, and one `Situation` in that file's tuple.
"""

from simkit.parameters.machine import Machine
from simkit.studies.situations.base import Case, NotHere, Situation
from simkit.studies.situations.below_resonance import BELOW_RESONANCE
from simkit.studies.situations.cooling import COOLING
from simkit.studies.situations.dead_time import DEAD_TIME
from simkit.studies.situations.gate import GATE
from simkit.studies.situations.load_events import LOAD_EVENTS
from simkit.studies.situations.operating import OPERATING
from simkit.studies.situations.supply import SUPPLY
from simkit.studies.situations.wiring import WIRING

__all__ = ["SITUATIONS", "Case", "NotHere", "Situation", "cases", "named"]

SITUATIONS: tuple[Situation, ...] = (
    *OPERATING, *LOAD_EVENTS, *BELOW_RESONANCE, *DEAD_TIME, *GATE, *WIRING, *SUPPLY, *COOLING,
)  # fmt: skip


def named(name: str) -> Situation:
    """The situation of a name; KeyError when there is none."""
    for situation in SITUATIONS:
        if situation.name == name:
            return situation
    raise KeyError(name)


def cases(machine: Machine) -> dict[str, Case | NotHere]:
    """Every situation's case on a machine by name, or why it cannot happen there."""
    found: dict[str, Case | NotHere] = {}
    for situation in SITUATIONS:
        try:
            found[situation.name] = situation.build(machine)
        except NotHere as reason:
            found[situation.name] = reason
    return found
