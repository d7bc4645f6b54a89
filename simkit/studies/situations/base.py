"""What a situation is, and how its scenario is drafted for a machine."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from simkit.circuit.timeline import start_frequency
from simkit.parameters.instead import replaced
from simkit.parameters.machine import Machine, Workpiece
from simkit.parameters.scenario import Scenario

SETTLED = 4
"""Cycles of the settled part that are shown before a fault [1]. A whole number: at time zero, and
so at the end of the settled part, switches 1 and 4 are in the middle of their half period."""
TAIL = 1.2e-4
"""What is shown after a fault [s]: it decides within a few cycles, or not at once."""


HAND = 1.0
"""Speed at which a hand lifts a piece [m/s]: 60 mm take 60 ms; common practice, no source."""


class NotHere(Exception):
    """The situation cannot happen on this machine; the text says why, for a person."""


@dataclass(frozen=True)
class Case:
    """A situation on one machine: the machine as it is then, and what happens to it."""

    machine: Machine
    """With the scenario's replaced values in it."""
    scenario: Scenario


@dataclass(frozen=True)
class Situation:
    """Something that happens on the bench."""

    name: str
    family: str
    title: str
    expects: str
    """What the trade expects of it and why (common practice, no source); the run decides."""
    build: Callable[[Machine], Case]
    """The case for a machine; NotHere when the machine lacks what it is about."""


def draft(
    machine: Machine,
    name: str,
    *,
    title: str = "",
    load: str | None = None,
    events: Sequence[Mapping[str, Any]] = (),
    instead: Mapping[str, Any] | None = None,
    settled: float | None = None,
    tail: float = TAIL,
    start: Mapping[str, Any] | None = None,
    **more: Any,
) -> Case:
    """A case: the machine's first piece in the coil, drive at the working margin, unless told."""
    begin = {"load": load or main_load(machine), "settled": settled or 1e-4} | dict(start or {})
    if "margin" not in begin and "frequency" not in begin:
        begin["margin"] = machine.drive.working_margin
    changed = replaced(machine, instead or {})
    content: dict[str, Any] = {
        "name": name,
        "title": title,
        "machine": "machine.toml",
        "instead": dict(instead or {}),
        "start": begin,
        "events": [dict(event) for event in events],
        "tail": tail,
    }
    scenario = Scenario.model_validate(content | more)
    if settled is None:  # only the drive's frequency says how long so many cycles take
        begin["settled"] = float(f"{SETTLED / start_frequency(changed, scenario):.6g}")
        scenario = Scenario.model_validate(content | more)
    return Case(changed, scenario)


def main_load(machine: Machine) -> str:
    """Name of the piece the machine is for: the first of its file."""
    if not machine.workpieces:
        raise NotHere("the machine file names no workpiece")
    return next(iter(machine.workpieces))


def change_of_inductance(machine: Machine, piece: Workpiece) -> float:
    """By how much a piece raises the empty coil's inductance, as a share [1]."""
    return piece.inductance / machine.coil.inductance - 1.0


def raising(machine: Machine) -> str | None:
    """Name of the piece that raises L most, None when none does."""
    pieces = machine.workpieces
    best = max(pieces, key=lambda n: pieces[n].inductance, default=None)
    if best is None or change_of_inductance(machine, pieces[best]) <= 0.0:
        return None
    return best


def lowering(machine: Machine) -> str | None:
    """Name of the piece that lowers L most, None when none does."""
    pieces = machine.workpieces
    best = min(pieces, key=lambda n: pieces[n].inductance, default=None)
    if best is None or change_of_inductance(machine, pieces[best]) >= 0.0:
        return None
    return best


def all_switches(machine: Machine) -> list[int]:
    """Numbers of the bridge's switches."""
    return list(range(1, machine.bridge.switches + 1))


SPECIFIC = 300.0
"""Heat capacity of a heatsink times its resistance to air [s]: five minutes, common practice for a
heatsink with a fan, no source. Taken where a machine file does not say its capacity."""


def heatsink(machine: Machine) -> float:
    """Heat capacity of the machine's heatsink, or as common practice has it [J/K]."""
    given = machine.cooling.heatsink_heat_capacity
    if given is not None:
        return given
    return float(f"{SPECIFIC / machine.cooling.heatsink_resistance:.4g}")


def rounded(value: float) -> float:
    """A value to six digits, as it will stand in a file."""
    return float(f"{value:.6g}")


def reachable(machine: Machine, frequency: float) -> float:
    """The nearest frequency the drive reaches [Hz]."""
    return min(max(frequency, machine.drive.frequency_min), machine.drive.frequency_max)
