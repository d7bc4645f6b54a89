"""What a load worked out beyond its method's range takes from a rehearsal's figures.

Within the range L and R are worth what the finite elements of the tests say, and stand among the
machine's tolerances. Beyond it nobody has tested them that far: then every figure carries what
their doubt does to the coil's current, so that none near its limit is called.
"""

from __future__ import annotations

from collections.abc import Iterable

from simkit.circuit.timeline import Timeline
from simkit.parameters.coil import Load
from simkit.parameters.machine import Machine
from simkit.parameters.scenario import Scenario
from simkit.parts.working import coil_current


def loads_of(scenario: Scenario) -> tuple[str, ...]:
    """Every load that is in the coil at some time of a scenario."""
    later = (str(event.load) for event in scenario.events if event.load is not None)
    return tuple(dict.fromkeys((scenario.start.load, *later)))


def load_share(machine: Machine, names: Iterable[str], frequency: float, voltage: float) -> float:
    """Largest change of the coil's current that the loads' doubt allows, as a share of it [1].

    At `frequency` [Hz] and link `voltage` [V], over both ends of R and of L; 0 where every load is
    within its range or measured.
    """
    worst = 0.0
    for name in names:
        piece = machine.workpieces.get(name)
        if piece is None or piece.doubt is None or not piece.doubt.beyond:
            continue
        known = coil_current(machine, piece, frequency, voltage)
        for up in (1.0, -1.0):
            for more in (1.0, -1.0):
                other = Load(
                    inductance=piece.inductance * (1.0 + up * piece.doubt.inductance),
                    resistance=piece.resistance * (1.0 + more * piece.doubt.resistance),
                )
                changed = coil_current(machine, other, frequency, voltage)
                worst = max(worst, abs(changed / known - 1.0))
    return worst


def scene_share(machine: Machine, scenario: Scenario, line: Timeline) -> float:
    """`load_share` of a rehearsal's loads at its first frequency and voltage [1]."""
    return load_share(machine, loads_of(scenario), line.frequency.first, line.voltage.first)
